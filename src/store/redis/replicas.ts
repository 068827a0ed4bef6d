import type { SharingFigures } from '../store.ts'
import type { Nodes } from './nodes.ts'
import { listOf } from './rows.ts'

export interface ReplicaWatch {
  /** Looks now; never rejects. */
  look(): Promise<void>
  figures(): NonNullable<SharingFigures['replicas']>
}

/** Looks at how many replicas the servers have that keep the shards: each of them has its own. */
export function watchReplicas(nodes: Nodes, wanted: number, onFault: (error: unknown) => void): ReplicaWatch {
  let connected: number | undefined
  let missingSince: number | undefined

  async function look(): Promise<void> {
    try {
      const counts = await Promise.all(
        [...new Set(nodes.owners)].map(async address => replicasIn(await nodes.askNode(address, 'ROLE'))),
      )
      connected = Math.min(...counts)
      missingSince = connected < wanted ? (missingSince ?? performance.now()) : undefined
    } catch (error) {
      // What does not answer at all is told by the store's own watch.
      onFault(error)
    }
  }

  return {
    look,
    figures: () => ({
      wanted,
      connected,
      missingMs: missingSince === undefined ? undefined : performance.now() - missingSince,
    }),
  }
}

/** `ROLE` of a master: its name, its offset, and one entry a replica that is connected. */
const replicasIn = (role: Parameters<typeof listOf>[0]): number => {
  const [name, , replicas] = listOf(role)
  return String(name) === 'master' ? listOf(replicas).length : 0
}
