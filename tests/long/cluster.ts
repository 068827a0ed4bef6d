import { setTimeout as pause } from 'node:timers/promises'
import { openRedisStore } from '../../src/store/redis/redis-store.ts'
import { converse, missing } from '../store/cluster-conversations.ts'
import { redisCluster } from '../support/redis-cluster.ts'
import type { SuiteResult } from './world.ts'

export interface ClusterOptions {
  readonly conversations: number
  readonly progress: (share: number, line: string) => void
}

const STEPS = 10
const AT_ONCE = 64
/** When the next change comes, in milliseconds after the one before has been got over. */
const CALM_MS = 1_500

/**
 * Conversations on a real cluster of six servers, every write on disk before its answer and a replica waited for, while masters
 * are changed by plan and killed in turn until they have all been said.
 */
export async function clusterSuite({ conversations, progress }: ClusterOptions): Promise<SuiteResult> {
  const cluster = await redisCluster()
  const changes: string[] = []
  try {
    const store = await openRedisStore({
      addresses: cluster.servers.map(({ port }) => ({ host: '127.0.0.1', port })),
      ...{ durability: 'always' as const, replicas: 1 },
    })
    await store.shares.start()
    let isOver = false
    const startedAt = performance.now()
    const talking = converse(store, conversations, STEPS, AT_ONCE, (done, all) =>
      progress(done / all, `${done} of ${all} steps, ${changes.length} changes`),
    ).finally(() => {
      isOver = true
    })
    for (let turn = 0; !isOver; turn += 1) {
      await Promise.race([pause(CALM_MS), talking])
      if (isOver) break
      const { master, replica } = await cluster.keepers(`${store.prefixOf(turn % 16)}x`)
      if (turn % 2 === 0) {
        await cluster.cli(replica.port, 'CLUSTER', 'FAILOVER')
        changes.push('planned failover')
      } else {
        await master.kill()
        changes.push('master killed')
        await pause(CALM_MS)
        await master.start()
        await cluster.whole()
      }
    }
    const found = await talking
    const seconds = (performance.now() - startedAt) / 1_000
    const { lost, doubled } = await missing(store, found)
    const count = (what: string) => changes.filter(one => one === what).length
    const figures = {
      ...{ conversations, steps: conversations * STEPS, atOnce: AT_ONCE, lost, doubled },
      plannedFailovers: count('planned failover'),
      mastersKilled: count('master killed'),
      callsMadeAgain: found.again,
      longestWaitMs: Math.round(found.longestMs),
      keptByOneServer: store.nodes.alone,
      seconds: Math.round(seconds),
    }
    await store.close()
    return {
      isWell: lost === 0 && doubled === 0 && changes.length > 1,
      figures,
      table: Object.entries(figures).map(([name, value]) => `${name.padEnd(20)} ${value}`),
    }
  } finally {
    await cluster.discard()
  }
}
