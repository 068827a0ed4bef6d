/** Which steps of a flow can be come to at all, and whether a page can be outpaced by what is decided after it. */
import type { Flow } from '../../flow/flow-set.ts'
import { ANY_TIME_STEPS } from '../../flow/flow-step.ts'
import type { NodeContext } from './flat-nodes.ts'
import { alarmTargetsOf } from './flow-alarms.ts'
import { type FlatNode, RESUME, type Test, urgencyOf } from './tables.ts'

/**
 * Rows that can never fit are left out: those that want a value of a fact which no step that can be come to asks or sets.
 * Leaving them out may cut off further steps, so it is done until nothing changes.
 */
export function pruned(nodes: readonly FlatNode[], context: NodeContext, flow: Flow): FlatNode[] {
  let now = [...nodes]
  for (;;) {
    const open = reachableNodes(now, context, flow)
    const filled = new Set<number>(['can-travel', 'have-you-left'].flatMap(fact => context.fieldOf.get(fact) ?? []))
    for (const at of open) {
      const node = now[at] as FlatNode
      if (node.ask >= 0) filled.add(node.ask)
      for (const { field } of node.sets) filled.add(field)
    }
    const isFilled = (field: number) => field >= context.cells.length || filled.has(field)
    const canFit = (test: Test) => !test.fields.every(field => !isFilled(field)) || test.table[0] === 1
    let cut = 0
    now = now.map((node, at) => {
      const rows = open.has(at) ? node.rows.filter(row => row.tests.every(canFit)) : []
      cut += node.rows.length - rows.length
      return rows.length === node.rows.length ? node : { ...node, rows }
    })
    if (cut === 0) return now
  }
}

/** Steps that can be come to: by routes, by alarms, and at any moment. */
function reachableNodes(nodes: readonly FlatNode[], context: NodeContext, flow: Flow): Set<number> {
  const own = new Set(nodes.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  const isOwn = (name: string) => own.has(context.alarmOf.get(name) ?? -1)
  const side = [...alarmTargetsOf(flow)].filter(([name]) => !isOwn(name)).map(([, target]) => target)
  return leadingOn(nodes, [flow.start, ...ANY_TIME_STEPS, ...side], context, flow)
}

/** Steps that routes and alarms lead to from some. */
export function leadingOn(
  nodes: readonly FlatNode[],
  from: readonly string[],
  { nodeOf }: NodeContext,
  flow: Flow,
): Set<number> {
  const targets = alarmTargetsOf(flow)
  const queue = from.flatMap(id => nodeOf.get(id) ?? [])
  const open = new Set<number>()
  const names = [...targets.values()]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (open.has(at)) continue
    open.add(at)
    const node = nodes[at] as FlatNode
    for (const row of node.rows) if (row.go !== RESUME) queue.push(row.go)
    for (const { alarm } of node.alarms) queue.push(nodeOf.get(names[alarm] ?? '') ?? at)
  }
  return open
}

/**
 * Whether a step that decides more than "speak" and pages nobody anew (no page, or a reason that may be known by then) can
 * be come to without passing one that decides as much and pages. A page of an interruption always goes out.
 */
export function isOutpaced(nodes: readonly FlatNode[], context: NodeContext, flow: Flow): boolean {
  const speak = urgencyOf('speak')
  const onPath = leadingOn(nodes, [flow.start], context, flow)
  const reasons = nodes.flatMap((node, at) => (onPath.has(at) ? (node.page ?? []) : []))
  const isHeard = (node: FlatNode) =>
    node.page !== undefined &&
    reasons.filter(each => each === node.page).length <= (onPath.has(nodes.indexOf(node)) ? 1 : nodes.length)
  const raises = nodes.filter(node => node.decides > speak && !node.isEmergency && !isHeard(node))
  return raises.some(late => {
    const open = nodes.map(node =>
      node !== late && node.decides >= late.decides && isHeard(node) ? { ...node, rows: [], alarms: [] } : node,
    )
    return reachableNodes(open, context, flow).has(nodes.indexOf(late))
  })
}
