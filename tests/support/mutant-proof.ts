/**
 * Edits of a step's rows, or of what it decides, that change nothing: the checker walks every conversation of the shipped flow, and
 * wherever the step is left, the edited rows lead to the same place; wherever it is entered, at least as much as it decides has been decided
 * already. What the edited rows read is kept apart all the way there, so that nothing is taken for the same that they would tell apart.
 */
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { type FlowFiles, loadFlows } from '../../src/flow/load.ts'
import { explore, TooManyStates } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Observation } from '../../src/modelcheck/model/flat-nodes.ts'
import { testFor } from '../../src/modelcheck/model/flat-tests.ts'
import { givableIn, type Sayable } from '../../src/modelcheck/model/givable.ts'
import { type FlatFlow, type FlatRow, RESUME, urgencyOf } from '../../src/modelcheck/model/tables.ts'
import { policySettings } from '../../src/modelcheck/rules/check-flows.ts'
import type { Mutant } from './mutation.ts'
import { readOnce } from './read-once.ts'
import { areAlike, goOf } from './rows-alike.ts'

/** One step as it is after an edit. */
export interface EditedStep {
  readonly id: string
  readonly step: string
  /** What it decides. */
  readonly decide?: string | undefined
  readonly rows: readonly { readonly if: Readonly<Record<string, readonly string[]>>; readonly go: string }[]
}

/** Of one walk: an edit in a flow that is larger is not proved. */
const STATES_MOST = 3_000_000

/**
 * Ids of the edits that lead every conversation of a flow the way it went, with locks shut and with all of them open.
 * Undefined where the flow is too large for that. An edit whose step no conversation comes to, or that reads what may change behind the step, is never among them.
 */
export function leadingNowhereElse(
  set: FlowSet,
  concern: string,
  edits: readonly EditedStep[],
  settledNeedsChange: boolean,
  sayable: Sayable,
): ReadonlySet<string> | undefined {
  const flow = set.flows.get(concern)
  if (flow === undefined) throw new Error(`no flow "${concern}"`)
  const same = new Set(edits.map(({ id }) => id))
  const reached = new Set<string>()
  const settings = policySettings(flow, set, 'few')
  for (const policies of new Set([settings[0] ?? {}, settings.at(-1) ?? {}])) {
    const flat = flatten(flow, set, {
      ...{ policies, settledNeedsChange, observed: edits.flatMap(observing) },
      givable: givableIn(flow, set, sayable),
    })
    const byNode = new Map<
      number,
      { readonly id: string; readonly rows: readonly FlatRow[]; readonly decides: number }[]
    >()
    const moving = movingIn(flat)
    for (const edit of edits) {
      const node = flat.nodeOf.get(edit.step)
      if (node === undefined) continue
      const rows = rowsOf(edit, flat)
      const isMoving = rows.some(({ tests }) => tests.some(({ fields }) => fields.some(field => moving.has(field))))
      if (isMoving) same.delete(edit.id)
      byNode.set(node, [...(byNode.get(node) ?? []), { id: edit.id, rows, decides: urgencyOf(edit.decide) }])
    }
    let now: Int32Array | undefined
    try {
      explore(flat, {
        resume: 'return',
        corrections: 'restart',
        interruptions: true,
        statesMost: STATES_MOST,
        onMover: mover => {
          mover.onEntered = (node, state, { interrupted }) => {
            now = state
            const decides = flat.nodes[node]?.decides ?? 0
            const decided = state[interrupted ? flat.fields.floor : flat.fields.decided] as number
            for (const edit of byNode.get(node) ?? []) {
              if (flat.nodes[node]?.rests === true) reached.add(edit.id)
              if (edit.decides !== decides && Math.max(decides, edit.decides) > decided) same.delete(edit.id)
            }
          }
          mover.onRouted = (node, row) => {
            const state = now
            if (state === undefined) return
            const shipped = flat.nodes[node]?.rows.find(each => each.row === row)?.go
            for (const { id, rows } of byNode.get(node) ?? []) {
              reached.add(id)
              if (same.has(id) && goOf(rows, state) !== shipped) same.delete(id)
            }
          }
        },
      })
    } catch (error) {
      if (error instanceof TooManyStates) return undefined
      throw error
    }
  }
  return new Set([...same].filter(id => reached.has(id)))
}

/** Ids of the edits after which a step decides what it did, and leads every state where it led it: no conversation need be walked. */
export function alikeByThemselves(
  set: FlowSet,
  concern: string,
  edits: readonly EditedStep[],
  settledNeedsChange: boolean,
): ReadonlySet<string> {
  const flow = set.flows.get(concern)
  if (flow === undefined) throw new Error(`no flow "${concern}"`)
  const tables = policySettings(flow, set, 'every').map(policies =>
    flatten(flow, set, { policies, settledNeedsChange }),
  )
  const isAlike = (edit: EditedStep): boolean =>
    tables.every(flat => {
      const node = flat.nodes[flat.nodeOf.get(edit.step) ?? -1]
      return (
        node === undefined || (node.decides === urgencyOf(edit.decide) && areAlike(rowsOf(edit, flat), node.rows, flat))
      )
    })
  return new Set(edits.filter(isAlike).map(({ id }) => id))
}

const observing = ({ step, rows }: EditedStep): Observation[] =>
  rows.flatMap(row =>
    Object.entries(row.if).map(([on, values]) => ({ on, values, isAt: each => each.id === step, freed: [] })),
  )

/** Rows that a policy rules out are left out, as in the tables. */
function rowsOf({ rows }: EditedStep, flat: FlatFlow): readonly FlatRow[] {
  return rows.flatMap((row, index) => {
    const conditions = Object.entries(row.if)
    const isRuledOut = conditions.some(([on, values]) => {
      const policy = flat.policies[on]
      return policy !== undefined && !values.includes(policy)
    })
    if (isRuledOut) return []
    const tests = conditions.flatMap(([on, values]) =>
      flat.policies[on] === undefined ? [testFor(on, values, flat)] : [],
    )
    return [{ tests, go: row.go === 'resume' ? RESUME : (flat.nodeOf.get(row.go) ?? -2), row: index }]
  })
}

/** What may change once a step is behind: asked again, said by the way, history, and time. */
function movingIn({ nodes, cells, fields, fieldOf }: FlatFlow): ReadonlySet<number> {
  const again = nodes.flatMap(({ again, ask }) => (again ? [ask] : []))
  const byTheWay = ['can-travel', 'have-you-left'].flatMap(fact => fieldOf.get(fact) ?? [])
  const history = cells.flatMap((cell, field) => (cell.domain.document.sticky === true ? [field] : []))
  return new Set([...again, ...byTheWay, ...history, fields.elapsed, fields.timeLeft])
}

/** Kinds of edits that are of a step's rows alone, or of what it decides. */
const OF_ROWS: ReadonlySet<string> = new Set([
  'target',
  'value added',
  'value dropped',
  'condition dropped',
  'row dropped',
  'rows swapped',
  'decide dropped',
  'decide lowered',
])

/** Ids of those edits that lead nowhere else in any flow that has their step. */
export function changingNothing(
  shipped: FlowFiles,
  set: FlowSet,
  mutants: readonly Mutant[],
  settledNeedsChange: boolean,
  sayable: Sayable,
  progress: (share: number, line: string) => void,
): ReadonlySet<string> {
  const edits = mutants.flatMap(mutant => {
    if (mutant.step === undefined || !OF_ROWS.has(mutant.kind)) return []
    const edited = loadFlows(mutant.files(shipped), readOnce).set
    return edited === undefined ? [] : [{ mutant, step: mutant.step, edited }]
  })
  const same = new Set<string>()
  const other = new Set<string>()
  let walked = 0
  for (const [concern, flow] of set.flows) {
    const here = edits.flatMap(({ mutant: { id }, step, edited }) => {
      const { rows, decide } = edited.flows.get(concern)?.steps.get(step) ?? {}
      return flow.steps.has(step) && rows !== undefined ? [{ id, step, rows, decide }] : []
    })
    const alike = alikeByThemselves(set, concern, here, settledNeedsChange)
    for (const id of alike) same.add(id)
    const walkedFor = here.filter(({ id }) => !alike.has(id) && !other.has(id))
    let isTooLarge = false
    for (let from = 0; from < walkedFor.length; from += AT_ONCE) {
      const part = walkedFor.slice(from, from + AT_ONCE)
      const found: ReadonlySet<string> | undefined = isTooLarge
        ? undefined
        : leadingNowhereElse(set, concern, part, settledNeedsChange, sayable)
      isTooLarge ||= found === undefined
      for (const { id } of part) (found?.has(id) === true ? same : other).add(id)
    }
    walked += 1
    progress(walked / set.flows.size, `${walked} of ${set.flows.size} flows walked for ${edits.length} edits`)
  }
  return new Set([...same].filter(id => !other.has(id)))
}

/** What more edits read at once makes more states. */
const AT_ONCE = 12
