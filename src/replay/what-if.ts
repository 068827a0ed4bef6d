/** Recorded cases on a changed line: which of them would have gone another way, why, and within what range. */
import type { Effect } from '../case/effect.ts'
import type { Line } from '../case/line.ts'
import type { CaseState } from '../case/state.ts'
import { instant } from '../time/instant.ts'
import { type BaseStep, type OtherRun, otherRuns } from './other-run.ts'
import { type Compared, compared, gathering, type Outcome } from './outcome.ts'
import type { RecordedCase } from './reading.ts'
import { type Around, openedFrom, replayed } from './run.ts'

/** What became of one case. */
export type Judged =
  | { readonly kind: 'same' }
  /** It cannot be compared, and why: people took it over, or the record is not what its own flow decides. */
  | { readonly kind: 'not-comparable'; readonly why: 'handed-to-people' | 'not-as-recorded' | 'no-such-concern' }
  | Differing

export interface Differing {
  readonly kind: 'differs'
  readonly recorded: RecordedCase
  readonly compared: Compared
  readonly was: Outcome
  /** What it may come to: one outcome, or several where the other line asks what nobody was asked. */
  readonly may: readonly OtherRun[]
  readonly isPartial: boolean
  readonly cause: string
}

/** What of a judged case is counted: little enough to be handed from one core to another for every case. */
export type Verdict =
  | Exclude<Judged, Differing>
  | (Pick<Differing, 'kind' | 'compared' | 'isPartial' | 'cause'> & {
      readonly concern: string
      /** How many ends it may come to. */
      readonly ways: number
    })

export function verdictOf(judged: Judged): Verdict {
  if (judged.kind !== 'differs') return judged
  const { kind, recorded, compared, may, isPartial, cause } = judged
  return { kind, concern: recorded.head.concern, compared, ways: may.length, isPartial, cause }
}

/** The run that the record is of, step by step; undefined where it is not what its own flow decides. */
export function baseOf(
  recorded: RecordedCase,
  lineAt: (edition: string) => Line,
  around: Around,
): readonly BaseStep[] | 'handed-to-people' | 'not-as-recorded' {
  const base: BaseStep[] = []
  const [first] = recorded.steps
  let before: CaseState | undefined = first === undefined ? undefined : openedFrom(lineAt(first.edition), recorded.head)
  const result = replayed(recorded, lineAt, around, ({ at, event }, effects, state) => {
    base.push({ at: instant(at), event, effects, before, state })
    before = state
  })
  if (result.kind === 'differs') return 'not-as-recorded'
  return result.parkedAt === undefined ? base : 'handed-to-people'
}

export function judged(
  recorded: RecordedCase,
  lineAt: (edition: string) => Line,
  other: (edition: string) => Line,
  around: Around,
): Judged {
  const base = baseOf(recorded, lineAt, around)
  if (typeof base === 'string') return { kind: 'not-comparable', why: base }
  const otherAt = (index: number) => other(recorded.steps[index]?.edition ?? '')
  if (!otherAt(0).flows.flows.has(recorded.head.concern)) return { kind: 'not-comparable', why: 'no-such-concern' }
  const { runs, isPartial } = otherRuns(recorded.head, base, otherAt, false)
  if (runs.every(({ cause }) => cause === undefined)) return { kind: 'same' }
  const was = outcomeOf(base, index => lineAt(recorded.steps[index]?.edition ?? ''))
  const comparedWith = withBroken(
    compared(
      was,
      runs.map(({ outcome }) => outcome),
    ),
    runs,
  )
  if (comparedWith.direction === 'same') return { kind: 'same' }
  const cause = runs.find(run => run.cause !== undefined)?.cause ?? ''
  return { kind: 'differs', recorded, compared: comparedWith, was, may: runs, isPartial, cause }
}

/** A run that breaks hands the family to people: that is never taken for care as before. */
const withBroken = (found: Compared, runs: readonly OtherRun[]): Compared =>
  runs.some(({ broken }) => broken !== undefined) ? { ...found, direction: 'lowered' } : found

export function outcomeOf(base: readonly BaseStep[], lineAt: (index: number) => Line): Outcome {
  const gathered = gathering()
  for (const [index, { effects, state, at }] of base.entries()) gathered.add(effects, state, lineAt(index), at)
  return gathered.outcome
}

/** One row of two conversations side by side. */
export interface SideRow {
  readonly at: number
  readonly was?: SideStep
  readonly now?: SideStep
}

export interface SideStep {
  readonly event: BaseStep['event']
  readonly effects: readonly Effect[]
  readonly state: CaseState | undefined
}

/** Both runs in order of time; steps of the same event at the same instant stand in one row. */
export function sideBySide(base: readonly BaseStep[], other: OtherRun): readonly SideRow[] {
  const rows: SideRow[] = []
  let next = 0
  for (const was of base) {
    for (let now = other.steps[next]; now !== undefined && now.at < was.at; now = other.steps[next]) {
      rows.push({ at: now.at, now })
      next += 1
    }
    const beside = other.steps[next]
    const isSame = beside !== undefined && beside.at === was.at && keyOf(beside.event) === keyOf(was.event)
    rows.push({ at: was.at, was, ...(isSame ? { now: beside } : {}) })
    if (isSame) next += 1
  }
  return [...rows, ...other.steps.slice(next).map(now => ({ at: now.at, now }))]
}

const keyOf = (event: BaseStep['event']): string =>
  `${event.kind} ${'fact' in event ? event.fact : 'name' in event ? event.name : ''}`
