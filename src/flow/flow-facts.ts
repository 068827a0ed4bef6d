/** What a flow wants to know: the facts it asks, and those its rows look at. */
import type { Flow, FlowSet } from './flow-set.ts'

const known = new WeakMap<Flow, ReadonlySet<string>>()

/** Facts that a flow asks or that a row of it reads, by itself or in what is worked out from them. */
export function factsOf(flow: Flow, derived: FlowSet['derived']): ReadonlySet<string> {
  const found = known.get(flow)
  if (found !== undefined) return found
  const steps = [...flow.steps.values()]
  const read = steps.flatMap(({ rows }) => rows.flatMap(row => Object.keys(row.if)))
  const asked = steps.flatMap(({ ask }) => ask ?? [])
  const made = new Set([...asked, ...read, ...read.flatMap(fact => derived[fact]?.from ?? [])])
  known.set(flow, made)
  return made
}
