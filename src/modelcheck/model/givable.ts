/** What a first message may say that changes where talk goes: it has to be walked as well. */
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import { alarmTargetsOf } from './flow-alarms.ts'
import type { FlatFlow } from './tables.ts'

/** By fact, the values that words may say of it; undefined: any, as of a number or a time. */
export type Sayable = ReadonlyMap<string, readonly string[] | undefined>

/** Facts that are walked as said first in every flow that reads them, whatever the word lists find: any answer, "not sure" too. */
export const ALWAYS_SAYABLE: Sayable = new Map([
  ['in-opening', undefined],
  ['device', undefined],
  ['out-since', undefined],
])

/**
 * Facts of a flow that a row may read before talk has asked them; one that a flow reads and never asks is among them. What is said before and
 * read after its question only is the same as an answer to that question.
 *
 * @param sayable  what the word lists find in free words
 */
export function givableIn(flow: Flow, set: FlowSet, sayable: Sayable): Sayable {
  const begins = [flow.start, ...alarmTargetsOf(flow).values()]
  const early = [...sayable].filter(([fact]) => isReadBeforeAsked(fact, begins, flow, set))
  return new Map([...early, ...ALWAYS_SAYABLE])
}

function isReadBeforeAsked(fact: string, begins: readonly string[], flow: Flow, { derived }: FlowSet): boolean {
  const reads = (on: string): boolean => on === fact || derived[on]?.from.includes(fact) === true
  const passed = new Set<string>()
  const left = [...begins]
  for (let id = left.pop(); id !== undefined; id = left.pop()) {
    const step = flow.steps.get(id)
    if (step === undefined || passed.has(id) || step.ask === fact) continue
    passed.add(id)
    if (step.rows.some(row => Object.keys(row.if).some(reads))) return true
    left.push(...step.rows.map(({ go }) => go))
  }
  return false
}

/** How many first messages there are: each fact not said, or one of the classes that words may say of it. */
export const messagesOf = ({ givable }: Pick<FlatFlow, 'givable'>): number =>
  givable.reduce((count, { classes }) => count * (1 + classes.length), 1)

/** What the first message of a number says. */
export function saidIn({ givable }: Pick<FlatFlow, 'givable'>, message: number): readonly Said[] {
  let rest = message
  return givable.flatMap(({ field, classes }) => {
    const choice = rest % (1 + classes.length)
    rest = Math.floor(rest / (1 + classes.length))
    const index = classes[choice - 1]
    return index === undefined ? [] : [{ field, index }]
  })
}

/** A fact by its field, and a class of it. */
export interface Said {
  readonly field: number
  readonly index: number
}
