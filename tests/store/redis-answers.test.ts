import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { Redis } from 'ioredis'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { openRedisStore, type RedisStore } from '../../src/store/redis/redis-store.ts'
import { watchReplicas } from '../../src/store/redis/replicas.ts'
import { KEPT, type RedisServer, redisServer } from '../support/redis-server.ts'
import { refusingRedis } from '../support/refusing-redis.ts'
import { step } from './step-record.ts'

let own: RedisServer
beforeEach(async () => {
  own = await redisServer([...KEPT, '--enable-debug-command', 'yes', '--enable-protected-configs', 'yes'])
})
afterEach(() => own.discard())

/** @param callMs  what is to be told at once is told so on a busy machine too: a call may then last long */
async function over(port: number, callMs = 800): Promise<RedisStore> {
  const store = await openRedisStore({
    ...{ addresses: [{ host: '127.0.0.1', port }], line: 's', shards: 4, durability: 'always', leaseMs: 60_000 },
    ...{ answerMs: callMs === 800 ? 250 : 2_000, callMs },
  })
  await store.shares.start()
  return store
}

/** A client of its own, on the server itself. */
async function onServer<T>(port: number, work: (redis: Redis) => Promise<T>): Promise<T> {
  const redis = new Redis({ host: '127.0.0.1', port, protocol: 2 })
  try {
    return await work(redis)
  } finally {
    redis.disconnect()
  }
}

// The words of each error as Redis 7 sends it (its source, server.c and networking.c; from memory). The first word decides.
const PASSING = [
  'LOADING Redis is loading the dataset in memory',
  'CLUSTERDOWN The cluster is down',
  'CLUSTERDOWN Hash slot not served',
  'TRYAGAIN Multiple keys request during rehashing of slot',
  "MASTERDOWN Link with MASTER is down and replica-serve-stale-data is set to 'no'.",
  "READONLY You can't write against a read only replica.",
  'BUSY Redis is busy running a script. You can only call SCRIPT KILL or SHUTDOWN NOSAVE.',
  'ERR max number of clients reached',
]
const REFUSED: readonly (readonly [string, RegExp])[] = [
  ["OOM command not allowed when used memory > 'maxmemory'.", /its memory is full/],
  ['MISCONF Errors writing to the AOF file: No space left on device', /cannot write to its disk/],
  ['NOREPLICAS Not enough good replicas to write.', /too few replicas/],
  ['NOAUTH Authentication required.', /wants a password/],
  ['NOPERM User night has no permissions to run the evalsha command', /allow it the commands/],
  ["ERR unknown command 'EVALSHA'", /look at its log/],
]

describe('what Redis answers instead of doing it', () => {
  test('passes, is waited for, and then the step is written, once', async () => {
    const stand = await refusingRedis(own.port)
    const store = await over(stand.port)
    for (const [seq, words] of PASSING.entries()) {
      const before = stand.refused
      stand.saying = words
      const writing = store.commit(step('sun', seq))
      await expect.poll(() => stand.refused, { interval: 2 }).toBeGreaterThan(before)
      stand.saying = undefined
      expect(await writing, words).toBe('committed')
    }
    expect((await store.load('sun'))?.seq).toBe(PASSING.length)
    expect(await store.history('sun')).toHaveLength(PASSING.length)
    await store.close()
    await stand.close()
  })

  test('does not pass in the time of one call: it is told with its word, and nothing counts as kept', async () => {
    const stand = await refusingRedis(own.port)
    const store = await over(stand.port)
    await store.commit(step('sun', 0))
    for (const words of ['LOADING Redis is loading the dataset in memory', 'CLUSTERDOWN The cluster is down']) {
      stand.saying = words
      await expect(store.commit(step('sun', 1))).rejects.toThrow(
        new RegExp(`did not answer "commit" within 800 ms \\(${words.split(' ')[0]}\\)`),
      )
      stand.saying = undefined
      expect((await store.load('sun'))?.seq).toBe(1)
    }
    await store.close()
    await stand.close()
  })

  test.each(REFUSED)('is no passing thing: "%s" is told at once, with what to do', async (words, todo) => {
    const stand = await refusingRedis(own.port)
    const store = await over(stand.port, 6_000)
    stand.saying = words
    const from = performance.now()
    await expect(store.commit(step('sun', 0))).rejects.toThrow(todo)
    expect(performance.now() - from).toBeLessThan(4_000)
    stand.saying = undefined
    expect(await store.commit(step('sun', 0))).toBe('committed')
    await store.close()
    await stand.close()
  })
})

describe('a real server driven into it', () => {
  test('that cannot save its snapshot refuses to write, in words, and goes on when it can', async () => {
    const store = await over(own.port)
    await store.commit(step('sun', 0))
    await onServer(own.port, async redis => {
      // Its snapshot cannot take the place of a folder that is not empty.
      mkdirSync(join(own.folder, 'taken.rdb', 'full'), { recursive: true })
      await redis.config('SET', 'dbfilename', 'taken.rdb')
      await redis.config('SET', 'save', '3600 1')
      await redis.bgsave()
      await expect
        .poll(() => redis.info('persistence'), { interval: 20, timeout: 20_000 })
        .toMatch(/rdb_last_bgsave_status:err/)
      await expect(store.commit(step('sun', 1))).rejects.toThrow(/MISCONF.*cannot write to its disk/)
      expect((await store.load('sun'))?.seq).toBe(1)
      await redis.config('SET', 'save', '')
    })
    expect(await store.commit(step('sun', 1))).toBe('committed')
    await store.close()
  })

  test('that runs a long command is waited for as long as a call may last', async () => {
    const store = await over(own.port)
    await onServer(own.port, async redis => {
      const sleeping = redis.call('DEBUG', 'SLEEP', '0.4')
      await pause(20)
      expect(await store.commit(step('sun', 0))).toBe('committed')
      await sleeping
    })
    expect(await store.history('sun')).toHaveLength(1)
    await store.close()
  })

  test('that has lost its replica is known to have, and known to have it back', async () => {
    const store = await over(own.port)
    const faults: unknown[] = []
    const watch = watchReplicas(store.nodes, 1, error => faults.push(error))
    expect(watch.figures()).toEqual({ wanted: 1, connected: undefined, missingMs: undefined })
    await watch.look()
    expect(watch.figures()).toMatchObject({ wanted: 1, connected: 0 })
    const { missingMs = Number.NaN } = watch.figures()
    await pause(5)
    await watch.look()
    expect(watch.figures().missingMs).toBeGreaterThan(missingMs)
    const replica = await redisServer([...KEPT, '--replicaof', `127.0.0.1 ${own.port}`])
    await onServer(own.port, redis =>
      expect.poll(() => redis.info('replication'), { interval: 10, timeout: 20_000 }).toMatch(/state=online/),
    )
    await watch.look()
    expect(watch.figures()).toEqual({ wanted: 1, connected: 1, missingMs: undefined })
    expect(faults).toEqual([])
    await replica.discard()
    await store.close()
  })

  test('a cluster with a slot that nobody keeps: told, and written once somebody does', async () => {
    const cluster = await redisServer([...KEPT, '--cluster-enabled', 'yes'])
    try {
      await onServer(cluster.port, async redis => {
        await redis.call('CLUSTER', 'ADDSLOTSRANGE', '0', '16383')
        await expect
          .poll(() => redis.call('CLUSTER', 'INFO'), { interval: 10, timeout: 20_000 })
          .toContain('cluster_state:ok')
        const store = await over(cluster.port)
        await store.commit(step('sun', 0))
        const slot = String(await redis.call('CLUSTER', 'KEYSLOT', `${store.prefixOf(0)}x`))
        await redis.call('CLUSTER', 'DELSLOTS', slot)
        await expect
          .poll(() => redis.call('CLUSTER', 'INFO'), { interval: 10, timeout: 20_000 })
          .toContain('cluster_state:fail')
        await expect(store.commit(step('sun', 1))).rejects.toThrow(/did not answer.*CLUSTERDOWN/)
        await redis.call('CLUSTER', 'ADDSLOTS', slot)
        await expect
          .poll(() => redis.call('CLUSTER', 'INFO'), { interval: 10, timeout: 20_000 })
          .toContain('cluster_state:ok')
        expect(await store.commit(step('sun', 1))).toBe('committed')
        expect(await store.history('sun')).toHaveLength(2)
        await store.close()
      })
    } finally {
      await cluster.discard()
    }
  })
})
