/** What a step does not see in a replay, because talk has not reached it there. */
import { LEFT, UNANSWERED } from '../../flow/steps.ts'
import { reachIn } from './steps-ahead.ts'
import { type FlatFlow, type FlatNode, RESUME } from './tables.ts'

/**
 * The facts that a step reads and that a replay has not reached there: asked neither at a turning step nor before it. The
 * step is that one, or one passed right after it.
 */
export function laterFields(flat: FlatFlow): (turning: number, at: number) => readonly number[] {
  const { nodes, cells } = flat
  const reach = reachIn(flat)
  const isAfterAny = new Set(
    [UNANSWERED, LEFT].flatMap(name => {
      const alarm = flat.alarms[flat.alarmOf.get(name) ?? -1]
      return alarm === undefined ? [] : unasked(flat, alarm.target)
    }),
  )
  const known = new Map<number, readonly number[]>()
  return (turning, at) => {
    const key = turning * nodes.length + at
    const found = known.get(key)
    if (found !== undefined) return found
    // What follows a page that ran out, or "we have left", may come after any question.
    if (isAfterAny.has(turning)) return []
    const read = new Set((nodes[at]?.rows ?? []).flatMap(row => row.tests.flatMap(test => test.fields)))
    const isBefore = (node: FlatNode, from: number, field: number) =>
      node.ask === field && (from === turning || reach[from * nodes.length + turning] === 1)
    const later = [...read].filter(
      field =>
        field < cells.length &&
        cells[field]?.domain.document.settable !== true &&
        !nodes.some((node, from) => isBefore(node, from, field)),
    )
    known.set(key, later)
    return later
  }
}

/** A step and those that follow it before anything is asked. */
function unasked({ nodes }: FlatFlow, from: number): readonly number[] {
  const found = new Set<number>()
  const queue = [from]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (at === RESUME || found.has(at)) continue
    found.add(at)
    const node = nodes[at] as FlatNode
    if (node.ask < 0) for (const { go } of node.rows) queue.push(go)
  }
  return [...found]
}
