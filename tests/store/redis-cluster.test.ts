import { setTimeout as pause } from 'node:timers/promises'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { openRedisStore, type RedisStore } from '../../src/store/redis/redis-store.ts'
import { type RedisCluster, redisCluster } from '../support/redis-cluster.ts'
import { converse, missing } from './cluster-conversations.ts'
import { storeContract } from './contract/store-contract.ts'

let cluster: RedisCluster
let lines = 0
beforeAll(async () => {
  cluster = await redisCluster()
})
afterAll(() => cluster.discard())

async function opened(line: string): Promise<RedisStore> {
  const store = await openRedisStore({
    addresses: cluster.servers.slice(0, 2).map(({ port }) => ({ host: '127.0.0.1', port })),
    durability: 'always',
    line,
    shards: 6,
    replicas: 1,
  })
  await store.shares.start()
  return store
}

const nextLine = (): string => {
  lines += 1
  return `c${lines}-`
}

storeContract('the Redis store on a cluster', async () => {
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
})

// Redis cluster specification, "Manual failover": the replica takes over once it has everything; the election after a
// master's death promotes a replica that may be behind, which WAIT makes unlikely and never impossible.
describe('a cluster whose servers change while families write', () => {
  test('spreads the shards over its masters', async () => {
    const store = await opened(nextLine())
    expect(store.nodes.isCluster).toBe(true)
    expect(new Set(store.nodes.owners).size).toBeGreaterThan(1)
    await store.close()
  })

  test('loses nothing in a planned failover', async () => {
    const store = await opened(nextLine())
    const { replica } = await cluster.keepers(`${store.prefixOf(0)}x`)
    const talking = converse(store, 40, 6, 20)
    await pause(60)
    await cluster.cli(replica.port, 'CLUSTER', 'FAILOVER')
    const found = await talking
    expect(await missing(store, found)).toEqual({ lost: 0, doubled: 0 })
    console.log(`planned failover: 240 steps, 0 lost, longest wait ${Math.round(found.longestMs)} ms`)
    await store.close()
  })

  test('loses nothing when a master is killed: with a replica waited for after each step', async () => {
    const store = await opened(nextLine())
    const { master } = await cluster.keepers(`${store.prefixOf(0)}x`)
    const talking = converse(store, 40, 6, 20)
    await pause(60)
    await master.kill()
    const found = await talking
    expect(await missing(store, found)).toEqual({ lost: 0, doubled: 0 })
    expect(store.nodes.owners).not.toContain(`127.0.0.1:${master.port}`)
    console.log(
      `killed master: 240 steps, 0 lost, ${found.again} calls made again, ` +
        `longest wait ${Math.round(found.longestMs)} ms, ${store.nodes.alone} steps kept by a master alone`,
    )
    await store.close()
    await master.start()
  })
})
