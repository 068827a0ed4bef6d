/** What holds of every flow, watched while it is walked: nothing lowers a case by itself, and every step and row is used. */
import type { Edge, Watch } from '../model/explore.ts'
import type { Mover } from '../model/flat-step.ts'
import type { FlatFlow } from '../model/tables.ts'
import type { Seen } from './rule-watch.ts'

/**
 * Moves after which less may be decided than before: talk goes its way with another answer, or begins anew with none. The
 * same happens after "can't travel" of a family that had left, and only of such a one: that is looked at by itself.
 */
const MAY_LOWER: ReadonlySet<string> = new Set(['restarted', 'wrong-tap', 'corrected'])

export interface WalkWatch {
  readonly begin: Watch['begin']
  readonly end: Watch['end']
  readonly listen: (mover: Mover) => void
  /** @returns whether somebody was paged on this edge */
  readonly onEdge: (edge: Edge) => boolean
  /** The first time a case was lowered by itself, and a talk ended undecided. */
  readonly lowered: () => Seen | undefined
  readonly endedUndecided: () => Seen | undefined
  /** Steps entered, by node, and rows taken, by node and row. */
  readonly entered: Uint8Array
  readonly taken: readonly Uint8Array[]
}

export function walkWatch(flat: FlatFlow): WalkWatch {
  const { fields: F, nodes } = flat
  const entered = new Uint8Array(nodes.length)
  const taken = nodes.map(node => new Uint8Array(node.step.rows.length))
  const none = new Int32Array(0)
  let lowered: Seen | undefined
  let endedUndecided: Seen | undefined
  let isPaging = false
  let wasPaging = false
  const mayLower = ({ kind }: Edge['move'], before: Int32Array) =>
    MAY_LOWER.has(kind) || (kind === 'travel-refused' && before[F.left] === 1)
  const urgencyIn = (state: Int32Array) => Math.max(state[F.decided] as number, state[F.floor] as number)
  return {
    entered,
    taken,
    lowered: () => lowered,
    endedUndecided: () => endedUndecided,
    begin: () => {
      isPaging = false
    },
    end: () => {
      wasPaging = isPaging
      return none
    },
    listen(mover) {
      const { onEntered, onRouted } = mover
      mover.onEntered = (node, state, how) => {
        onEntered(node, state, how)
        entered[node] = 1
        if (nodes[node]?.page !== undefined) isPaging = true
      }
      mover.onRouted = (node, row) => {
        onRouted(node, row)
        const rows = taken[node]
        if (rows !== undefined && row >= 0) rows[row] = 1
      }
    },
    onEdge({ from, move, before, after }) {
      const stand = after[F.talk] as number
      const urgency = urgencyIn(after)
      if (before !== undefined && !mayLower(move, before) && urgency < urgencyIn(before)) {
        lowered ??= { from, move, node: stand }
      }
      if (nodes[stand]?.ends === true && urgency === 0) endedUndecided ??= { from, move, node: stand }
      return wasPaging
    },
  }
}
