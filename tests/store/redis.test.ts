import { Redis } from 'ioredis'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import type { Layout } from '../../src/store/redis/layout.ts'
import { openRedisStore, type RedisStore, type RedisStoreOptions } from '../../src/store/redis/redis-store.ts'
import { rowsIn } from '../../src/store/redis/rows.ts'
import { scripts } from '../../src/store/redis/scripts.ts'
import type { Taken } from '../../src/store/redis/shares.ts'
import { dropProxy } from '../support/drop-proxy.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { storeContract } from './contract/store-contract.ts'
import { storeAgreesWithModel } from './contract/store-model.ts'
import { alarms, at, night, row, step } from './step-record.ts'

let server: RedisServer
let lines = 0
beforeAll(async () => {
  server = await redisServer()
})
afterAll(() => server.discard())

const options = (line: string): RedisStoreOptions => ({
  addresses: [{ host: '127.0.0.1', port: server.port }],
  durability: 'always',
  line,
  shards: 4,
})

/** A store that acts for every shard, as one process alone does. */
async function opened(line: string, more: Partial<RedisStoreOptions> = {}): Promise<RedisStore> {
  const store = await openRedisStore({ ...options(line), ...more })
  await store.shares.start()
  return store
}

const open = async () => {
  const line = nextLine()
  let store = await opened(line)
  return {
    store,
    reopen: async () => {
      await store.close()
      store = await opened(line)
      return store
    },
    discard: () => store.close(),
  }
}

storeContract('the Redis store', open)
storeAgreesWithModel('the Redis store', open, 12)

/** The same server by a client of its own, to look and to spoil. */
async function looking<T>(work: (redis: Redis) => Promise<T>): Promise<T> {
  const redis = new Redis({ host: '127.0.0.1', port: server.port, protocol: 2 })
  try {
    return await work(redis)
  } finally {
    redis.disconnect()
  }
}

const nextLine = (): string => {
  lines += 1
  return `t${lines}-`
}

describe('a command of the Redis store that comes twice', () => {
  test('changes nothing and is answered as the first was: a step', async () => {
    const store = await opened(nextLine(), { shards: 1 })
    const args = (operation: string) => [
      ...[store.shares.fenceOf(0) ?? '', operation, 'sun', 'web', 'family', 0, night, 0, 'tstate', 'event', 'web\nd1'],
      ...[0, 1, 'check', at(9), 'sun/1/0', 'page', 'q', 't{}', night],
    ]
    const run = (operation: string) => store.nodes.run(0, scripts.commit, args(operation)).then(String)
    await store.nodes.ask(0, 'HSET', `${store.prefixOf(0)}directory`, 'sun', '0')
    expect([await run('a'), await run('a'), await run('a'), await run('b')]).toEqual([
      ...['committed', 'committed', 'committed', 'duplicate'],
    ])
    expect((await store.load('sun'))?.seq).toBe(1)
    expect(await store.outboxOf('sun')).toHaveLength(1)
    expect(await store.claim('page', night, 1_000, 9)).toHaveLength(1)
    expect(await store.due(at(9), 9)).toHaveLength(1)
    await store.close()
  })

  test('a claim: the same rows once more, with one try counted', async () => {
    const store = await opened(nextLine(), { shards: 1 })
    await store.commit(step('sun', 0, { outbox: [row('a1', 'a'), row('b1', 'b'), row('c1', 'c')] }))
    const claim = () =>
      store.nodes.run(0, scripts.claim, [store.shares.fenceOf(0) ?? '', 'one', 'family', night, at(60), 2])
    const [first, second] = [rowsIn(await claim()), rowsIn(await claim())]
    expect(first.map(({ row }) => [row.effectId, row.tries])).toEqual([
      ['a1', 1],
      ['b1', 1],
    ])
    expect(second).toEqual(first)
    await store.close()
  })

  test('scripts that a restart forgot are given to it again', async () => {
    const store = await opened(nextLine())
    await store.commit(step('sun', 0))
    await looking(redis => redis.script('FLUSH'))
    expect(await store.commit(step('sun', 1))).toBe('committed')
    await store.close()
  })
})

describe('alarms of the Redis store that are due', () => {
  test.each([1, 3, 4, 7, 12, 40])(
    'come in order from all shards, however unevenly they lie: the first %i',
    async limit => {
      const store = await opened(nextLine())
      // Nearly all in the shard of one chat, some early and some late; a few elsewhere, in between and at the same instants.
      const many = Object.fromEntries(Array.from({ length: 24 }, (_, n) => [`n${n}`, at(n < 12 ? n : 100 + n)]))
      await store.commit(step('many', 0, { alarms: alarms(many) }))
      for (const [n, caseId] of ['ash', 'elm', 'fir', 'oak', 'yew'].entries())
        await store.commit(step(caseId, 0, { alarms: alarms({ one: at(5), two: at(50 + n), late: at(900) }) }))
      const all = await store.due(at(899), 1_000)
      expect(all).toHaveLength(24 + 2 * 5)
      expect(all.map(({ due }) => due)).toEqual(all.map(({ due }) => due).toSorted((a, b) => a - b))
      expect(await store.due(at(899), limit)).toEqual(all.slice(0, limit))
      await store.close()
    },
  )
})

describe('a shard of the Redis store', () => {
  const asleep = { leaseMs: 60_000 }

  /** Two processes on one line, of which the first has all shards and sleeps past its lease. */
  async function takenOver() {
    const line = nextLine()
    const sleeper = await opened(line, { ...asleep, member: 'sleeper' })
    await sleeper.commit(
      step('sun', 0, { outbox: ['a', 'b', 'c'].map(id => row(`${id}1`, id)), alarms: alarms({ check: at(5) }) }),
    )
    const claimed = await sleeper.claim('family', night, 60_000, 2)
    await sleeper.rendered('a1', 'Cover it', night)
    await looking(async redis => {
      for (const key of await redis.keys(`{${line}*}:owner`)) await redis.hset(key, 'until', 1)
      await redis.del(`{${line}0}:members`)
    })
    const next = await opened(line, { member: 'next' })
    return { sleeper, next, claimed }
  }

  test('is written by its owner only: who slept past its lease changes nothing when it wakes', async () => {
    const { sleeper, next, claimed } = await takenOver()
    expect(next.shares.owned).toHaveLength(4)
    const before = [await next.load('sun'), await next.outboxOf('sun')]
    const late: Promise<unknown>[] = [
      sleeper.commit(step('sun', 1, { outbox: [row('late', 'l')] })),
      sleeper.commit(step('moon', 0)),
      sleeper.rendered('b1', 'late', at(1)),
      sleeper.settle('a1', { kind: 'again', notBefore: at(99), outcomeUnknown: false }, 1),
      sleeper.settle('b1', { kind: 'given-up', at: at(1), reason: 'late' }, 1),
    ]
    for (const one of late) await expect(one).rejects.toThrow(/another process/)
    expect(await sleeper.claim('family', at(999), 60_000, 9)).toEqual([])
    expect([await next.load('sun'), await next.outboxOf('sun')]).toEqual(before)
    expect(await next.load('moon')).toBeUndefined()
    // What it sent did arrive, and is not sent again.
    await sleeper.settle(claimed[0]?.effectId ?? '', { kind: 'sent', at: at(2) }, 1)
    expect(await next.releaseLeases()).toBe(1)
    expect((await next.claim('family', at(3), 60_000, 9)).map(one => [one.effectId, one.tries])).toEqual([
      ['b1', 2],
      ['c1', 1],
    ])
    expect(await next.due(at(5), 9)).toHaveLength(1)
    await sleeper.close()
    await next.close()
  })

  test('goes to others at once when its process leaves, and is shared evenly among those that live', async () => {
    const line = nextLine()
    const one = await opened(line, asleep)
    const two = await opened(line, asleep)
    expect([one.shares.owned.length, two.shares.owned.length]).toEqual([4, 0])
    await one.shares.round()
    await two.shares.round()
    expect([one.shares.owned.length, two.shares.owned.length]).toEqual([2, 2])
    expect(new Set([...one.shares.owned, ...two.shares.owned]).size).toBe(4)
    await one.close()
    await two.shares.round()
    expect(two.shares.owned).toHaveLength(4)
    await two.close()
  })

  test('whose taking a failover has lost gives no two processes one fence', async () => {
    const line = nextLine()
    const one = await opened(line, { ...asleep, shards: 1, member: 'one' })
    // The replica that takes over never heard of it.
    await looking(redis => redis.del(`{${line}0}:owner`, `{${line}0}:members`))
    const two = await opened(line, { ...asleep, shards: 1, member: 'two' })
    await expect(one.commit(step('sun', 0))).rejects.toThrow(/another process/)
    expect(await two.commit(step('sun', 0))).toBe('committed')
    await one.close()
    await two.close()
  })

  test('says when its owner was last heard of, and only its owner sees its alarms and rows', async () => {
    const line = nextLine()
    const [one, two] = [await opened(line), await openRedisStore(options(line))]
    await one.commit(step('sun', 0, { outbox: [row('a1', 'a')], alarms: alarms({ check: at(1) }) }))
    expect(await two.load('sun')).toEqual(await one.load('sun'))
    expect(await two.due(at(9), 9)).toEqual([])
    expect(await two.nextDue()).toBeUndefined()
    expect(await two.claim('family', night, 1_000, 9)).toEqual([])
    const heard = new Promise<readonly Taken[]>(resolve => two.shares.onTaken(resolve))
    await one.close()
    await two.shares.start()
    for (const { heardAt } of await heard) expect(Math.abs((heardAt ?? 0) - Date.now())).toBeLessThan(30_000)
    expect(await two.nextDue()).toBe(at(1))
    await two.close()
  })

  test('keeps all that belongs to a case in one slot of a cluster', async () => {
    const line = nextLine()
    const store = await opened(line)
    await store.commit(
      step('sun', 0, {
        delivery: { channel: 'web', deliveryId: '1' },
        outbox: [row('a1', 'a'), row('p1', 'p', { lane: 'page' })],
        alarms: alarms({ check: at(1) }),
      }),
    )
    await store.claim('family', night, 1_000, 9)
    await store.rendered('a1', 'said', night)
    const keys = await looking(redis => redis.keys(`{${line}*`))
    const shard = /^\{[^}]+\}/.exec(keys.find(key => key.endsWith('case:sun')) ?? '')?.[0] ?? 'none'
    const mine = keys.filter(key => !/:(owner|members|layout|directory|probe)$/.test(key))
    expect(mine.length).toBeGreaterThan(10)
    // Redis cluster specification, "Hash tags": what stands between the first braces alone decides the slot.
    expect(mine.filter(key => !key.startsWith(shard))).toEqual([])
    await store.close()
  })

  test('takes a case in one chat only', async () => {
    const store = await opened(nextLine())
    await store.commit(step('sun', 0))
    const other = step('sun', 1, { chat: { channel: 'web', chat: 'another' } })
    await expect(store.commit(other)).rejects.toThrow(/stays in its chat/)
    expect((await store.load('sun'))?.seq).toBe(1)
    await store.close()
  })
})

describe('a Redis that forgets', () => {
  test.each([
    [{ appendonly: 'no' }, 'always', /appendonly yes/],
    [{ 'maxmemory-policy': 'allkeys-lru' }, 'always', /noeviction/],
    [{ appendfsync: 'everysec' }, 'always', /appendfsync always.*power-cut-may-lose/],
    [{ appendfsync: 'no' }, 'everysec', /appendfsync always/],
    [{ appendfsync: 'everysec' }, 'everysec', undefined],
    [{ appendonly: 'no', 'maxmemory-policy': 'allkeys-lru' }, 'nothing', undefined],
  ] as const)(
    'set to %j is refused where %s is wanted, in words that say what to set: %s',
    async (set, wanted, words) => {
      await looking(async redis => {
        for (const [name, value] of Object.entries(set)) await redis.config('SET', name, value)
      })
      try {
        const opening = openRedisStore({ ...options(nextLine()), durability: wanted })
        if (words === undefined) await (await opening).close()
        else await expect(opening).rejects.toThrow(words)
      } finally {
        await looking(async redis => {
          await redis.config('SET', 'appendonly', 'yes')
          await redis.config('SET', 'maxmemory-policy', 'noeviction')
          await redis.config('SET', 'appendfsync', 'always')
        })
      }
    },
  )

  test('of a newer layout is refused and left as it is', async () => {
    const line = nextLine()
    await looking(redis => redis.hset(`{${line}0}:layout`, 'schema', 99, 'shards', 4))
    await expect(openRedisStore(options(line))).rejects.toThrow(/layout 99 .* newer program/)
    expect(await looking(redis => redis.hget(`{${line}0}:layout`, 'schema'))).toBe('99')
  })
})

describe('keys of an older layout', () => {
  /** Gives each open case a mark of its own; one that has it stays as it is. */
  const marks: Layout = {
    schema: 2,
    migrations: [
      {
        to: 2,
        async run(nodes, shard, prefix) {
          const open = (await nodes.ask(
            shard,
            'EVAL',
            "return redis.call('SMEMBERS', KEYS[1])",
            1,
            `${prefix}open`,
          )) as Buffer[]
          for (const id of open) await nodes.ask(shard, 'HSETNX', `${prefix}case:${id}`, 'mark', 'new')
        },
      },
    ],
  }
  const written = async (line: string) => {
    const store = await opened(line)
    await store.commit(step('sun', 0))
    const shard = await store.places.ofCase('sun')
    await store.close()
    return `{${line}${shard}}:case:sun`
  }
  const schemaOf = (line: string) => looking(redis => redis.hget(`{${line}0}:layout`, 'schema'))

  test('are brought to this program’s by the line itself, once, and its cases go on; the older program is then refused', async () => {
    const line = nextLine()
    const key = await written(line)
    await expect(openRedisStore({ ...options(line), layout: marks })).rejects.toThrow(
      /older than layout 2.*smallhours serve/,
    )
    expect(await schemaOf(line)).toBe('1')
    const store = await opened(line, { layout: marks, migrates: true })
    expect(await schemaOf(line)).toBe('2')
    expect(await looking(redis => redis.hget(key, 'mark'))).toBe('new')
    expect(await store.commit(step('sun', 1))).toBe('committed')
    await store.close()
    await expect(openRedisStore(options(line))).rejects.toThrow(/layout 2 .* newer program/)
  })

  test('stay as they are while a process still runs with the older program', async () => {
    const line = nextLine()
    const key = await written(line)
    const older = await opened(line)
    await expect(openRedisStore({ ...options(line), layout: marks, migrates: true })).rejects.toThrow(
      /a process of the line still runs.*Stop every process/,
    )
    expect(await looking(redis => redis.hget(key, 'mark'))).toBeNull()
    expect(await older.commit(step('sun', 1))).toBe('committed')
    await older.close()
  })

  test('half brought over are brought over whole by the next start', async () => {
    const line = nextLine()
    const key = await written(line)
    const cut: Layout = {
      schema: 2,
      migrations: [
        {
          to: 2,
          async run(_nodes, shard) {
            if (shard === 2) throw new Error('cut off')
          },
        },
      ],
    }
    await expect(openRedisStore({ ...options(line), layout: cut, migrates: true })).rejects.toThrow('cut off')
    expect(await schemaOf(line)).toBe('1')
    await (await opened(line, { layout: marks, migrates: true })).close()
    expect([await schemaOf(line), await looking(redis => redis.hget(key, 'mark'))]).toEqual(['2', 'new'])
  })
})

describe('a Redis in trouble', () => {
  let own: RedisServer
  beforeEach(async () => {
    own = await redisServer()
  })
  afterEach(() => own.discard())
  const over = async (port: number) => {
    const store = await openRedisStore({
      ...options('s'),
      addresses: [{ host: '127.0.0.1', port }],
      ...{ answerMs: 250, callMs: 1_500 },
    })
    await store.shares.start()
    return store
  }

  // The safety notes' finding: a client's own resending doubled 20 of 20 increments, without an error.
  test.each(['answer-and-line', 'answer'] as const)(
    'whose every seventh answer is lost (%s) doubles nothing and hangs nobody',
    async how => {
      const proxy = await dropProxy(own.port)
      const store = await over(proxy.port)
      proxy.drop = answered => (answered % 7 === 0 ? how : 'nothing')
      const count = how === 'answer' ? 6 : 24
      for (let n = 0; n < count; n += 1) {
        const one = step('sun', n, { outbox: [row(`sun/${n}`, `q${n}`)], alarms: alarms({ [`a${n}`]: at(n) }) })
        expect(await store.commit({ ...one, delivery: { channel: 'web', deliveryId: `${n}` } })).toBe('committed')
        const [claimed] = await store.claim('family', night, 60_000, 1)
        expect(claimed).toMatchObject({ effectId: `sun/${n}`, tries: 1 })
        await store.settle(`sun/${n}`, { kind: 'sent', at: at(n) }, 1)
      }
      proxy.drop = () => 'nothing'
      expect(proxy.dropped).toBeGreaterThan(3)
      expect((await store.load('sun'))?.seq).toBe(count)
      expect(await store.history('sun')).toHaveLength(count)
      expect((await store.outboxOf('sun')).map(one => [one.effectId, one.status, one.tries])).toEqual(
        Array.from({ length: count }, (_, n) => [`sun/${n}`, 'sent', 1]),
      )
      expect(await store.due(at(999), 999)).toHaveLength(count)
      console.log(`lost answers (${how}): ${proxy.dropped} of ${count * 3} calls, 0 doubled, 0 hung`)
      await store.close()
      await proxy.close()
    },
  )

  test('killed and started again has everything it acknowledged, and is used again without being told', async () => {
    const store = await over(own.port)
    const acked: string[] = []
    const writing = (async () => {
      for (let n = 0; ; n += 1) {
        if ((await store.commit(step(`c${n}`, 0))) === 'committed') acked.push(`c${n}`)
      }
    })().catch(error => String(error))
    await expect.poll(() => acked.length, { interval: 5, timeout: 20_000 }).toBeGreaterThan(50)
    await own.kill()
    expect(await writing).toMatch(/RedisSilent.*within 1500 ms/)
    await own.start()
    for (const one of acked) expect((await store.load(one))?.seq).toBe(1)
    expect(await store.commit(step('after', 0))).toBe('committed')
    await store.close()
  })

  test('that is away or stands still is told within the time of one call', async () => {
    const store = await over(own.port)
    const timed = async (work: Promise<unknown>) => {
      const from = performance.now()
      await expect(work).rejects.toThrow(/did not answer "commit"|did not answer "HSETNX"/)
      return performance.now() - from
    }
    own.signal('SIGSTOP')
    expect(await timed(store.commit(step('still', 0)))).toBeLessThan(4_000)
    own.signal('SIGCONT')
    await own.kill()
    expect(await timed(store.commit(step('away', 0)))).toBeLessThan(4_000)
    await own.start()
    expect(await store.commit(step('still', 0))).toMatch(/committed|conflict/)
    await store.close()
  })

  test('out of memory, unable to write its file, or without replicas refuses in words and loses nothing', async () => {
    const store = await over(own.port)
    await store.commit(step('sun', 0))
    const redis = new Redis({ host: '127.0.0.1', port: own.port, protocol: 2 })
    const refusals: [name: string, set: string, back: string, words: RegExp][] = [
      ['maxmemory', '1', '0', /memory is full/],
      ['min-replicas-to-write', '1', '0', /too few replicas/],
    ]
    for (const [name, set, back, words] of refusals) {
      await redis.config('SET', name, set)
      await expect(store.commit(step('sun', 1))).rejects.toThrow(words)
      await redis.config('SET', name, back)
      expect((await store.load('sun'))?.seq).toBe(1)
    }
    await redis.replicaof('127.0.0.1', '1')
    await expect(store.commit(step('sun', 1))).rejects.toThrow(/did not answer/)
    await redis.replicaof('NO', 'ONE')
    expect(await store.commit(step('sun', 1))).toBe('committed')
    redis.disconnect()
    await store.close()
  })
})
