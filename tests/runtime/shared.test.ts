import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { openRedisStore, type RedisStore } from '../../src/store/redis/redis-store.ts'
import type { Store } from '../../src/store/store.ts'
import { minutes, seconds } from '../../src/time/instant.ts'
import { type HandClock, handClock } from '../support/hand-clock.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { NIGHT, type World, wordsOf, world } from '../support/world.ts'

let server: RedisServer
let nights = 0
beforeAll(async () => {
  server = await redisServer()
})
afterAll(() => server.discard())

/** One process of the line: its runtime and its own connection. */
interface Process {
  readonly night: World
  readonly store: RedisStore
}

let clock: HandClock
let open: RedisStore[]
beforeEach(() => {
  clock = handClock(NIGHT)
  nights += 1
  open = []
})
afterEach(async () => {
  for (const store of open) await store.close()
})

async function process(seed: number): Promise<Process> {
  const store = await openRedisStore({
    addresses: [{ host: '127.0.0.1', port: server.port }],
    durability: 'always',
    line: `night${nights}-`,
    // Rounds by hand: what is shown must not hang on how busy the machine is.
    leaseMs: 600_000,
    member: `process-${seed}`,
  })
  open.push(store)
  const night = await world({ through: () => store as Store, clock, seed }).start()
  return { night, store }
}

/** Another process has joined: each takes and leaves its share. */
async function shareOut(...all: readonly Process[]): Promise<void> {
  for (const { store } of all) await store.shares.round()
  for (const { store } of all) await store.shares.round()
  for (const { night } of all) await night.runtime.idle()
}

/** Lets time pass by itself in small steps while `work` is under way, as what waits for another process needs. */
async function passing<T>(work: Promise<T>): Promise<T> {
  let isOver = false
  const over = () => {
    isOver = true
  }
  work.then(over, over)
  while (!isOver) {
    await clock.advance(20, async () => undefined)
    await new Promise(resolve => setTimeout(resolve, 2))
  }
  return work
}

const chats = Array.from({ length: 12 }, (_, n) => `family-${n}`)
const isOf = ({ store }: Process, chat: string) => store.sharing.isOurs({ channel: 'web', chat })

describe('two processes on one Redis', () => {
  it('act each for their own chats, whichever of them a message comes to, and never both for one', async () => {
    const [one, two] = [await process(1), await process(2)]
    await shareOut(one, two)
    expect([one.store.shares.owned.length, two.store.shares.owned.length]).toEqual([8, 8])
    for (const chat of chats) {
      await passing(one.night.say('the tube is out', { chat }))
      await passing(two.night.say('person please', { chat }))
    }
    await passing(Promise.all([one.night.runtime.idle(), two.night.runtime.idle()]))
    await passing(new Promise(resolve => setTimeout(resolve, 300)))
    for (const chat of chats) {
      const cases = await one.store.casesOf({ channel: 'web', chat })
      expect(cases).toHaveLength(1)
      const history = await two.store.history(cases[0]?.caseId ?? '')
      expect(history.map(({ seq }) => seq)).toEqual(history.map((_, index) => index + 1))
      const said = (process: Process) =>
        process.night.delivered.filter(each => each.chat === chat).map(each => wordsOf(each)[0])
      const [mine, other] = isOf(one, chat) ? [one, two] : [two, one]
      expect(said(mine)).toEqual(['hold', 'personWanted'])
      expect(said(other)).toEqual([])
    }
    expect(new Set(chats.map(chat => isOf(one, chat)))).toEqual(new Set([true, false]))
    expect([one.store.sharing.isLead, two.store.sharing.isLead].filter(Boolean)).toHaveLength(1)
    expect([...one.night.faults, ...two.night.faults].map(({ code }) => code)).toEqual([])
    await one.night.runtime.stop()
    await two.night.runtime.stop()
  })

  it('answer a clinician at either door, and only one of two takes a page', async () => {
    const [one, two] = [await process(1), await process(2)]
    await shareOut(one, two)
    for (const chat of chats.slice(0, 6)) {
      await passing(one.night.say('person please', { chat }))
      const caseId = await caseOf(one, chat)
      const taken = (by: string) => ({ kind: 'pageAcknowledged', by: { id: by, name: by, role: 'nurse' } }) as never
      const answers = await passing(
        Promise.all([one.night.runtime.act(caseId, taken('amara')), two.night.runtime.act(caseId, taken('ben'))]),
      )
      expect(answers.map(({ kind }) => kind).sort()).toEqual(['already-taken-by', 'done'])
    }
    await one.night.runtime.stop()
    await two.night.runtime.stop()
  })

  it('lose nothing when one dies: the other takes its chats, sends what waited and fires what came due', async () => {
    const [one, two] = [await process(1), await process(2)]
    await shareOut(one, two)
    two.night.deliver = () => new Promise(() => undefined)
    const ofTwo = chats.filter(chat => isOf(two, chat))
    expect(ofTwo.length).toBeGreaterThan(2)
    for (const chat of ofTwo) await passing(two.night.say('the tube is out', { chat }))
    // It dies: nothing more of it moves, its shards stay with it until their leases end.
    for (const shard of two.store.shares.owned) await expire(two, shard)
    await one.store.nodes.ask(0, 'ZREM', `${one.store.prefixOf(0)}members`, 'process-2')
    await one.store.shares.round()
    expect(one.store.shares.owned).toHaveLength(16)
    await passing(new Promise(resolve => setTimeout(resolve, 200)))
    await clock.advance(minutes(10) + seconds(1), one.night.runtime.idle)
    await passing(new Promise(resolve => setTimeout(resolve, 400)))
    for (const chat of ofTwo) {
      const said = one.night.delivered.filter(each => each.chat === chat).map(each => wordsOf(each))
      // What the dead one had in its hands may have arrived, so it says that it comes again.
      expect(said[0]?.[0]).toBe('repeat-label')
      expect(said.flat()).toContain('hold')
      expect(said.flat()).toContain('alarm')
    }
    await one.night.runtime.stop()
  })

  it('keep what was handed to one that died for the next, and count it once', async () => {
    const [one, two] = [await process(1), await process(2)]
    await shareOut(one, two)
    const chat = chats.find(each => isOf(two, each)) ?? ''
    await two.night.runtime.stop()
    const incoming = {
      channel: 'web',
      chat,
      deliveryId: 'd1',
      at: clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    } as const
    // No answer comes, yet it is kept.
    await passing(one.night.runtime.receive(incoming))
    expect(await one.store.casesOf({ channel: 'web', chat })).toEqual([])
    for (const shard of two.store.shares.owned) await expire(two, shard)
    await one.store.nodes.ask(0, 'ZREM', `${one.store.prefixOf(0)}members`, 'process-2')
    await one.store.shares.round()
    await passing(one.night.runtime.receive(incoming))
    await passing(new Promise(resolve => setTimeout(resolve, 1_300)))
    const cases = await one.store.casesOf({ channel: 'web', chat })
    expect(cases.map(({ seq }) => seq)).toEqual([1])
    await one.night.runtime.stop()
  })
})

async function caseOf({ store }: Process, chat: string): Promise<string> {
  const [latest] = await store.casesOf({ channel: 'web', chat })
  return latest?.caseId ?? ''
}

/** Its lease is over, as if it had not been heard of for so long. */
const expire = ({ store }: Process, shard: number) =>
  store.nodes.ask(shard, 'HSET', `${store.prefixOf(shard)}owner`, 'until', '1')
