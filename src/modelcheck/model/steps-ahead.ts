/** Which steps follow which, by routes and by the alarms that a step sets. */
import type { FlatAlarm, FlatRow } from './tables.ts'
import { RESUME } from './tables.ts'

/** What of a flow says which steps follow. */
export interface StepGraph {
  readonly nodes: readonly { readonly rows: readonly FlatRow[]; readonly alarms: readonly FlatAlarm[] }[]
  readonly alarms: readonly { readonly target: number }[]
}

/** Steps that follow a step: its rows, and the targets of the alarms it sets. */
export function nextOf({ nodes, alarms }: StepGraph, at: number): number[] {
  const node = nodes[at]
  const rows = (node?.rows ?? []).flatMap(row => (row.go === RESUME ? [] : [row.go]))
  return [...rows, ...(node?.alarms ?? []).map(({ alarm }) => alarms[alarm]?.target ?? at)]
}

/** Steps that some lead to, themselves left out unless they lead round to themselves; `isOpen`: steps that can be passed. */
export function reachedFrom(
  graph: StepGraph,
  starts: Iterable<number>,
  isOpen: (at: number) => boolean = () => true,
): Set<number> {
  const found = new Set<number>()
  const queue = [...starts].flatMap(at => nextOf(graph, at))
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (found.has(at) || !isOpen(at)) continue
    found.add(at)
    queue.push(...nextOf(graph, at))
  }
  return found
}

/** By step, the steps it follows. */
export function previousIn(graph: StepGraph): readonly (readonly number[])[] {
  const previous: number[][] = graph.nodes.map(() => [])
  graph.nodes.forEach((_, from) => {
    for (const to of nextOf(graph, from)) previous[to]?.push(from)
  })
  return previous
}

/** Steps that lead to one, itself left out unless it leads round to itself. */
export function leadingTo(
  previous: readonly (readonly number[])[],
  to: number,
  isOpen: (at: number) => boolean = () => true,
): Set<number> {
  const found = new Set<number>()
  const queue = [...(previous[to] ?? [])]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (found.has(at) || !isOpen(at)) continue
    found.add(at)
    queue.push(...(previous[at] ?? []))
  }
  return found
}

/** 1 at from × nodes + to where a step leads to another. */
export function reachIn(graph: StepGraph): Uint8Array {
  const count = graph.nodes.length
  const reach = new Uint8Array(count * count)
  for (let from = 0; from < count; from++) for (const to of reachedFrom(graph, [from])) reach[from * count + to] = 1
  return reach
}

/** Place of each step in an order in which steps come before those they lead to, loops aside. */
export function orderIn(graph: StepGraph, start: number): Int32Array {
  const order = new Int32Array(graph.nodes.length).fill(-1)
  let place = graph.nodes.length
  const seen = new Set<number>()
  const visit = (at: number): void => {
    if (seen.has(at)) return
    seen.add(at)
    for (const next of nextOf(graph, at)) visit(next)
    order[at] = --place
  }
  visit(start)
  for (const { target } of graph.alarms) visit(target)
  for (let at = 0; at < graph.nodes.length; at++) visit(at)
  return order
}
