import { join } from 'node:path'
import { recordedConversation } from './conversation.ts'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import { recorded, repeater } from './redis-calls.ts'
import { type Flushing, type MeasuredRedis, startRedis } from './redis-server.ts'
import { interleaved } from './rounds.ts'
import { type Committing, maker, opened, run } from './steps.ts'
import type { AreaContext, Subject } from './subject.ts'
import { twoProcesses } from './two-processes.ts'

const STEPS_A_CASE = 8
/** Cases a round, by how many are in flight. */
const CASES = { 1: 16, 64: 64 } as const
const ROUNDS = 7

/**
 * What a step costs where cases lie in Redis: one call of a script with everything that a step writes. Beside the bare call,
 * which writes the same with nothing of a store around it: the store alone, and with the sealing of what it is given. And
 * beside the least call that carries as many bytes.
 */
export async function redisArea(context: AreaContext): Promise<readonly Measured[]> {
  const figures: Measured[] = []
  for (const flushing of ['always', 'everysec'] as const) figures.push(...(await besideBareCalls(context, flushing)))
  figures.push(await twoProcesses(context))
  return figures
}

async function besideBareCalls({ subject, ground, progress }: AreaContext, flushing: Flushing) {
  const conversation = await recordedConversation(subject, ground, subject.clock.now())
  const redis = await startRedis(ground, flushing, subject.clock)
  const folder = ground.folder()
  const made = maker(conversation)
  const sealed = await subject.openRedisStore(join(folder, 'data'), redis.port)
  const asked = await askedFor(subject, redis.port, made)
  const unsealed = await subject.openUnsealedRedisStore(redis.port)
  const set = bareCalls(redis, bytesAStep(conversation.of('any', STEPS_A_CASE + 1).slice(1)))
  const same = repeater(redis)
  const stepsOf = async (store: Committing, inFlight: 1 | 64) =>
    run(store, await opened(store, made, CASES[inFlight], STEPS_A_CASE), inFlight)
  const rate = (inFlight: 1 | 64) =>
    interleaved(
      {
        ours: () => stepsOf(unsealed, inFlight),
        sealed: () => stepsOf(sealed, inFlight),
        same: () => same(asked.slice(0, CASES[inFlight]), inFlight),
        set: () => set.run(CASES[inFlight] * STEPS_A_CASE, inFlight),
      },
      { what: `redis, appendfsync ${flushing}, ${inFlight} in flight`, progress, rounds: ROUNDS },
    )
  const rates = { 1: await rate(1), 64: await rate(64) }
  await Promise.all([sealed.close(), unsealed.close()])
  redis.stop()
  ground.removeFolder(folder)

  const a = (values: readonly number[]) => median(values).toFixed(0)
  const beside = (inFlight: 1 | 64, what: 'ours' | 'sealed', peer: 'same' | 'set') => {
    const [own, peers] = [rates[inFlight][what], rates[inFlight][peer]]
    const against =
      peer === 'set'
        ? `one SET of ${set.bytes} bytes a call`
        : 'the same calls of the same script with the same bytes, by the client alone'
    return figureOf(
      {
        area: 'redis',
        name: `${what === 'sealed' ? 'sealed steps' : 'steps'} a second on Redis, ${inFlight} in flight, appendfsync ${flushing}${peer === 'set' ? ', beside SET' : ''}`,
        unit: 'times',
        bound: 'least',
        target: 0.7,
        against: `${against}, ${redis.name}: ${a(own)} beside ${a(peers)}`,
      },
      ratios(own, peers),
    )
  }
  return ([1, 64] as const).flatMap(inFlight => [
    beside(inFlight, 'ours', 'same'),
    beside(inFlight, 'sealed', 'same'),
    beside(inFlight, 'sealed', 'set'),
  ])
}

/** What the store asks of Redis for as many cases as are measured, case by case. */
async function askedFor(subject: Subject, port: number, made: ReturnType<typeof maker>) {
  const names: string[] = []
  const calls = await recorded(port, async through => {
    const store = await subject.openUnsealedRedisStore(through)
    const cases = await opened(store, made, CASES[64], STEPS_A_CASE)
    names.push(...cases.flatMap(([step]) => step?.caseId ?? []))
    await run(store, cases, 1)
    await store.close()
  })
  const asked = calls.of(names)
  const few = asked.findIndex(({ length }) => length !== STEPS_A_CASE + 1)
  if (few >= 0 || asked.length !== CASES[64]) {
    throw new Error(
      `measure: ${asked[few]?.length} calls were seen for ${STEPS_A_CASE + 1} steps of a case; one call a step was expected`,
    )
  }
  return asked
}

/** The bytes of content that a step hands to the store, at the middle step. */
function bytesAStep(steps: readonly { state: string; event: string; effects: string }[]): number {
  return Math.round(
    median(steps.map(({ state, event, effects }) => Buffer.byteLength(state) + Buffer.byteLength(event + effects))),
  )
}

function bareCalls(redis: MeasuredRedis, bytes: number) {
  const client = redis.client()
  const value = Buffer.alloc(bytes, 'x')
  return {
    bytes,
    async run(calls: number, inFlight: number): Promise<number> {
      const started = performance.now()
      const lane = async (first: number) => {
        for (let call = first; call < calls; call += inFlight) await client.set(`bare:${call}`, value)
      }
      await Promise.all(Array.from({ length: inFlight }, (_, first) => lane(first)))
      return (calls * 1_000) / (performance.now() - started)
    },
  }
}
