import { StoreUnusable } from '../store.ts'
import type { Nodes } from './nodes.ts'
import { listOf } from './rows.ts'
import { scripts } from './scripts.ts'

/** What the keys of one shard become, so that a newer program can use them. */
export interface Migration {
  /** The layout it leads to, from the one before. */
  readonly to: number
  /** May be cut off anywhere and begun again: what was changed already it must know. */
  run(nodes: Nodes, shard: number, prefix: string): Promise<void>
}

export interface Layout {
  readonly schema: number
  /** One for each layout after the first, in order. */
  readonly migrations: readonly Migration[]
}

/** How the keys of this program lie. */
export const LAYOUT: Layout = { schema: 1, migrations: [] }

/** The number of shards, and how the keys lie; both written down by whoever comes first. */
export interface Found {
  readonly schema: number
  readonly shards: number
}

/** @throws StoreUnusable when the keys are of a newer program */
export async function layoutIn(nodes: Nodes, prefix: string, shards: number, { schema }: Layout): Promise<Found> {
  const key = `${prefix}layout`
  await nodes.ask(0, 'HSETNX', key, 'schema', String(schema))
  await nodes.ask(0, 'HSETNX', key, 'shards', String(shards))
  const [found = schema, count = shards] = listOf(await nodes.ask(0, 'HMGET', key, 'schema', 'shards')).map(Number)
  if (!(found <= schema))
    throw new StoreUnusable(
      `Redis: its layout ${found} is not layout ${schema} of this program; start the newer program, or restore a backup made before the upgrade`,
    )
  return { schema: found, shards: count }
}

/** How long a shard is held while its keys are changed, in milliseconds. */
const HELD_MS = 60_000

/**
 * Brings the keys from an older layout to this program's, shard by shard, while no process acts for any of them: each is
 * taken first, so that one that still runs with the older program is found, and one that wakes is fenced off. Cut off, the
 * next start does it again.
 *
 * @throws StoreUnusable while a process of the line lives
 */
export async function migrate(
  nodes: Nodes,
  prefixOf: (shard: number) => string,
  found: Found,
  { schema, migrations }: Layout,
  member: string,
): Promise<void> {
  const all = Array.from({ length: found.shards }, (_, shard) => shard)
  const own = (shard: number, act: string, fence: string) =>
    nodes.run(shard, scripts.own, [act, member, HELD_MS, fence]).then(listOf)
  const held = new Map<number, string>()
  try {
    for (const shard of all) {
      const [done, fence] = await own(shard, 'take', '')
      if (done !== 1)
        throw new StoreUnusable(
          `Redis: its layout ${found.schema} is older than layout ${schema} of this program, and a process of the line still runs with it. Stop every process, then start this one first`,
        )
      held.set(shard, String(fence))
    }
    for (const migration of migrations.filter(({ to }) => to > found.schema && to <= schema))
      for (const shard of all) await migration.run(nodes, shard, prefixOf(shard))
    await nodes.ask(0, 'HSET', `${prefixOf(0)}layout`, 'schema', String(schema))
  } finally {
    await Promise.allSettled([...held].map(([shard, fence]) => own(shard, 'leave', fence)))
  }
}
