import { join } from 'node:path'
import { recordedConversation } from './conversation.ts'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import { type Flushing, type MeasuredRedis, startRedis } from './redis-server.ts'
import { interleaved } from './rounds.ts'
import { maker, opened, run } from './steps.ts'
import type { AreaContext } from './subject.ts'
import { twoProcesses } from './two-processes.ts'

const STEPS_A_CASE = 8
/** Cases a round, by how many are in flight. */
const CASES = { 1: 16, 64: 64 } as const
const ROUNDS = 7

/**
 * What a step costs where cases lie in Redis: one call of a script, sealed, with everything that a step writes. Beside the
 * barest call that carries as much: one SET of as many bytes by the same client.
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
  const store = await subject.openRedisStore(join(folder, 'data'), redis.port)
  const made = maker(conversation)
  const bare = bareCalls(redis, bytesAStep(conversation.of('any', STEPS_A_CASE + 1).slice(1)))
  const ours = async (inFlight: 1 | 64) =>
    run(store, await opened(store, made, CASES[inFlight], STEPS_A_CASE), inFlight)
  const rate = await interleaved(
    {
      one: () => ours(1),
      bareOne: () => bare.run(CASES[1] * STEPS_A_CASE, 1),
      many: () => ours(64),
      bareMany: () => bare.run(CASES[64] * STEPS_A_CASE, 64),
    },
    { what: `redis, appendfsync ${flushing}`, progress, rounds: ROUNDS },
  )
  await store.close()
  redis.stop()
  ground.removeFolder(folder)
  const a = (values: readonly number[]) => median(values).toFixed(0)
  const figure = (inFlight: number, own: readonly number[], peers: readonly number[]) =>
    figureOf(
      {
        area: 'redis',
        name: `sealed steps a second on Redis, ${inFlight} in flight, appendfsync ${flushing}`,
        unit: 'times',
        bound: 'least',
        target: 0.7,
        against: `one SET of ${bare.bytes} bytes a call, ${redis.name}: ${a(own)} beside ${a(peers)}`,
      },
      ratios(own, peers),
    )
  return [figure(1, rate.one, rate.bareOne), figure(64, rate.many, rate.bareMany)]
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
