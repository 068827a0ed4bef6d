import type { CaseSummary, Wait } from './case-summary.ts'
import { type CurvePoint, type FigureCell, type FigureTable, HIDDEN, NONE, told } from './figure-table.ts'
import { SMALL_BELOW, toldAlone, toldPart } from './suppression.ts'
import { type Waited, waitingCurve, waitingFigures } from './survival.ts'

type Waits = CaseSummary['waits']

const KINDS: readonly (readonly [id: keyof Waits, name: string])[] = [
  ['holding', 'first message to first advice'],
  ['decision', 'first message to decision'],
  ['page', 'first message to first page'],
  ['acknowledged', 'first page to a clinician’s answer'],
  ['contact', 'first page to contact with the family'],
  ['promise', 'promised time to contact'],
]

const MINUTE_MS = 60_000
/** Steps of a curve that are drawn at most: a year has thousands. */
const CURVE_POINTS_MOST = 120
/** Of the calls that were promised for a time, how many came within so long after it. */
export const PROMISE_KEPT_MS = 5 * MINUTE_MS

export function waitsTable(cases: readonly CaseSummary[]): FigureTable {
  const rows = KINDS.map(([id, name]) => ({ name, waits: waitedFor(cases, id) }))
  return {
    id: 'waits',
    title: 'How long it took, in minutes',
    says:
      'Half had it within the median, nine of ten within the 90th percentile. Cases that ended or are still open without it count for as long as they were ' +
      'watched (Kaplan–Meier); “–” means that too many had not come so far to say.',
    head: ['from … to', 'cases', 'without it', 'median', '90th percentile', 'longest'],
    rows: rows.map(({ name, waits }) => [name, ...figuresOf(waits, cases.length)]),
    plot: {
      kind: 'curves',
      curves: rows
        .filter(({ waits }) => waits.length >= SMALL_BELOW)
        .map(({ name, waits }) => ({ name, points: curveOf(waits) })),
    },
  }
}

/** In minutes. */
function waitedFor(cases: readonly CaseSummary[], id: keyof Waits): readonly Waited[] {
  return cases.flatMap(({ waits }) => {
    const wait: Wait | undefined = waits[id]
    return wait === undefined ? [] : [{ time: wait.ms / MINUTE_MS, happened: wait.open !== true }]
  })
}

/** @param all  cases of the table: of how many nothing had to be waited for is a count like any other */
function figuresOf(waits: readonly Waited[], all: number): readonly FigureCell[] {
  if (waits.length < SMALL_BELOW) return [told(toldAlone(waits.length)), HIDDEN, HIDDEN, HIDDEN, HIDDEN]
  const { cases, open, median, p90, longest } = waitingFigures(waits)
  const shown = (minutes: number | undefined): FigureCell =>
    minutes === undefined ? NONE : Math.round(minutes * 10) / 10
  // The longest is one family's own: it is told as the full minutes it took at least.
  const most = longest === undefined ? NONE : Math.floor(longest)
  return [told(toldPart(cases, all)), told(toldPart(open, cases)), shown(median), shown(p90), most]
}

function curveOf(waits: readonly Waited[]): readonly CurvePoint[] {
  const curve = waitingCurve(waits)
  const every = Math.max(1, Math.ceil(curve.length / CURVE_POINTS_MOST))
  return curve
    .filter((_, index) => index % every === 0 || index === curve.length - 1)
    .map(({ time, waiting, low, high }) => ({ minutes: time, waiting, low, high }))
}
