/** The steps of a flow as rows of tables. */
import type { Step } from '../../flow/flow-step.ts'
import type { Compared } from './abstract-answers.ts'
import { type TestContext, testFor } from './flat-tests.ts'
import {
  type Cell,
  cellFor,
  type FlatNode,
  type Mark,
  type Observed,
  RESUME,
  STATUS,
  type Test,
  urgencyOf,
} from './tables.ts'

/** What a step is compiled with. */
export interface NodeContext extends TestContext {
  readonly policies: Readonly<Record<string, string>>
  readonly nodeOf: ReadonlyMap<string, number>
  readonly alarmOf: ReadonlyMap<string, number>
}

/** A comparison that a rule makes at some steps. */
export interface Observation extends Compared {
  readonly isAt: (step: Step) => boolean
  /** Each alone frees the rule that compares. */
  readonly freed: readonly { readonly urgency: number; readonly marks: readonly Mark[] }[]
}

export function nodeFor(step: Step, context: NodeContext): FlatNode {
  const { fieldOf, nodeOf, alarmOf } = context
  return {
    id: step.id,
    step,
    isEmergency: step.id.startsWith('shared/emergency'),
    decides: urgencyOf(step.decide),
    says: step.say ?? [],
    page: step.page,
    alarms: step.alarms.map(alarm => ({ alarm: must(alarmOf, alarm.name), moment: alarm.at })),
    cancels: (step.cancel ?? []).flatMap(name => alarmOf.get(name) ?? []),
    sets: Object.entries(step.set ?? {}).map(([fact, value]) => settingOf(fact, value, context)),
    ask: step.ask === undefined ? -1 : must(fieldOf, step.ask),
    again: step.again === true,
    quiet: step.quiet === true,
    rests: step.wait === true || step.end === true,
    ends: step.end === true,
    rows: step.rows.flatMap((row, index) => {
      const tests = testsFor(row.if, context)
      return tests === undefined ? [] : [{ tests, go: row.go === 'resume' ? RESUME : must(nodeOf, row.go), row: index }]
    }),
    observed: [],
  }
}

function settingOf(fact: string, value: string, { fieldOf, cells }: NodeContext) {
  const field = must(fieldOf, fact)
  const cell = cells[field] as Cell
  const index = cell.domain.classes.findIndex(answer => answer.members.includes(value))
  if (index === -1) throw new Error(`fact "${fact}" cannot be set to "${value}"`)
  return { field, cell: cellFor(cell, STATUS.reached, index) }
}

/** Tests of one row; undefined when a policy already rules it out. */
function testsFor(condition: Readonly<Record<string, readonly string[]>>, context: NodeContext): Test[] | undefined {
  const tests: Test[] = []
  for (const [on, values] of Object.entries(condition)) {
    const policy = context.policies[on]
    if (policy !== undefined) {
      if (!values.includes(policy)) return undefined
      continue
    }
    tests.push(testFor(on, values, context))
  }
  return tests
}

/** Tests that a rule makes at a step. */
export function observedAt(
  node: FlatNode,
  { on, values, isAt, freed }: Observation,
  context: NodeContext,
  bitsOf: BitsOf,
): Observed[] {
  if (context.policies[on] !== undefined || !isAt(node.step)) return []
  const test = testFor(on, values, context)
  if (test.fields.length === 0) return []
  const known = freed.flatMap(({ urgency, marks }) => {
    const bits = bitsOf(marks)
    return bits === undefined ? [] : [{ urgency, marks: bits }]
  })
  return [{ test, freed: known }]
}

/** Marks as bits; undefined where there is no bit for one: it is taken never to stand. */
export type BitsOf = (marks: readonly Mark[]) => number | undefined

/** Every mark that frees something, and its bit. */
export function marksOf(observed: readonly Observation[]): {
  readonly marks: readonly Mark[]
  readonly bitsOf: BitsOf
} {
  const byKey = new Map(
    observed.flatMap(each =>
      each.freed.flatMap(({ marks }) => marks.map(mark => [JSON.stringify(mark), mark] as const)),
    ),
  )
  const keys = [...byKey.keys()].slice(0, MARKS_MOST)
  const bitsOf = (marks: readonly Mark[]) => {
    const bits = marks.map(mark => keys.indexOf(JSON.stringify(mark)))
    return bits.includes(-1) ? undefined : bits.reduce((all, bit) => all | (1 << bit), 0)
  }
  return { marks: keys.map(key => byKey.get(key) as Mark), bitsOf }
}
const MARKS_MOST = 30

/** @throws where a table of the flow lacks an id that its steps name */
export function must<T>(map: ReadonlyMap<string, T>, id: string): T {
  const value = map.get(id)
  if (value === undefined) throw new Error(`"${id}" is in no table of this flow`)
  return value
}
