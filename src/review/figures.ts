/** A clinic's figures out of its cases: tables with small counts hidden, the same for a terminal, files and pages. */
import { DISPOSITIONS } from '../flow/document.ts'
import type { CaseSummary } from './case-summary.ts'
import { type FigureCell, type FigureTable, NONE, told } from './figure-table.ts'
import { groupTables } from './group-tables.ts'
import { gaveUp, gaveUpEarly, SHARE_HEAD, shareRow, wasPaged } from './share-rows.ts'
import { toldAlone, toldList, toldPart, toldTable } from './suppression.ts'
import { PROMISE_KEPT_MS, waitsTable } from './waits-table.ts'
import { weekCharts } from './week-charts.ts'

/** How a question or step is called in words; its id where there are none. */
export interface FigureNames {
  readonly concern: (id: string) => string
  readonly fact: (id: string) => string
  readonly outcome: (id: string) => string
}

/** A family that writes again within so many days of its last case is a repeat caller. */
export const REPEAT_DAYS = 7
const DAY_MS = 86_400_000
/** Steps and questions listed at most. */
const LISTED_MOST = 15

/**
 * @param cases    in any order
 * @param charted  of which weeks are drawn; left out: the same
 */
export function figuresOf(
  cases: readonly CaseSummary[],
  names: FigureNames,
  charted: readonly CaseSummary[] = cases,
): readonly FigureTable[] {
  return [
    outcomes(cases, names),
    overview(cases),
    byHourAndConcern(cases, names),
    byDisposition(cases),
    waitsTable(cases),
    byRung(cases),
    abandonment(cases, names),
    questions('not-sure', 'Questions most answered “not sure”', cases, ({ notSure }) => notSure, names),
    questions('asked-again', 'Questions whose words were put again most', cases, ({ askedAgain }) => askedAgain, names),
    ...groupTables(cases),
    ...weekCharts(charted),
  ]
}

/** What came of it, before everything else: a line is judged by how children fared. */
function outcomes(cases: readonly CaseSummary[], names: FigureNames): FigureTable {
  const counts = [...tally(cases.map(({ outcome }) => outcome ?? ''))].sort(([, one], [, other]) => other - one)
  const shown = toldList(counts.map(([, own]) => own)).counts
  return {
    id: 'outcomes',
    title: 'How it ended for the child',
    says:
      'As the clinician wrote it at the end of a case, with the interval that holds in 95 of 100 samples (Wilson). Minutes until the tube was back, where and how, ' +
      'are not asked for yet. Advice given by telephone alone is not known to the line.',
    head: ['outcome', 'cases', 'of', ...SHARE_HEAD],
    rows: counts.map(([id, own], index) =>
      shareRow(id === '' ? 'nothing written' : names.outcome(id), own, cases.length, shown[index]),
    ),
  }
}

function overview(cases: readonly CaseSummary[]): FigureTable {
  const all = cases.length
  const pagedFor = count(cases, wasPaged)
  const given = count(cases, gaveUp)
  const early = count(cases, gaveUpEarly)
  const promised = count(cases, ({ waits }) => waits.promise !== undefined)
  return {
    id: 'overview',
    title: 'In short',
    says: 'Shares with the interval that holds in 95 of 100 samples (Wilson).',
    head: ['', 'cases', 'of', ...SHARE_HEAD],
    rows: [
      ['all cases', told(toldAlone(all)), NONE, NONE, NONE, NONE],
      shareRow(
        'with a danger sign',
        count(cases, one => one.isRedFlag),
        all,
      ),
      shareRow(
        'handed to people because the flow could not go on',
        count(cases, one => one.isHanded === true),
        all,
      ),
      shareRow('somebody was paged', pagedFor, all),
      shareRow(
        'of those, nobody answered in the ladder’s time',
        count(cases, one => one.isUnanswered),
        pagedFor,
        undefined,
        all,
      ),
      shareRow('given up by the family', given, all),
      // The rest of those who gave up did so after the decision: a small rest is not given away either.
      shareRow('given up before the decision', early, all, toldPart(early, given)),
      shareRow(`written again within ${REPEAT_DAYS} days`, repeats(cases), all),
      shareRow('call came within 5 minutes of the time promised', count(cases, keptPromise), promised),
      shareRow(
        'alarms that came late, of all alarms',
        sum(cases, one => one.alarmsLate),
        sum(cases, one => one.alarms),
      ),
    ],
  }
}

const count = (cases: readonly CaseSummary[], holds: (one: CaseSummary) => boolean): number =>
  cases.filter(holds).length
const sum = (cases: readonly CaseSummary[], of: (one: CaseSummary) => number): number =>
  cases.reduce((all, one) => all + of(one), 0)
const keptPromise = ({ waits }: CaseSummary): boolean =>
  waits.promise !== undefined && waits.promise.open !== true && waits.promise.ms <= PROMISE_KEPT_MS

/** Cases of a family whose last one began at most so many days before. */
function repeats(cases: readonly CaseSummary[]): number {
  const last = new Map<string, number>()
  let found = 0
  for (const { family, openedAt } of [...cases].sort((a, b) => a.openedAt - b.openedAt)) {
    const before = last.get(family)
    if (before !== undefined && openedAt - before <= REPEAT_DAYS * DAY_MS) found++
    last.set(family, openedAt)
  }
  return found
}

function byHourAndConcern(cases: readonly CaseSummary[], names: FigureNames): FigureTable {
  const concerns = [...new Set(cases.map(({ concern }) => concern))].sort()
  const hours = Array.from({ length: 24 }, (_, hour) => hour)
  const counts = tally(cases.map(({ hour, concern }) => `${hour} ${concern}`))
  const cells = hours.map(hour => concerns.map(concern => counts.get(`${hour} ${concern}`) ?? 0))
  const shown = toldTable(cells)
  const row = (name: string, own: readonly FigureCell[], total: FigureCell) => [name, total, ...own]
  return {
    id: 'hours',
    title: 'Cases by hour of the day and concern',
    says: 'Hours of the clinic’s clock, by the first message. Counts below 5 are not shown, nor others by which they could be worked out.',
    head: ['hour', 'all', ...concerns.map(names.concern)],
    rows: [
      ...hours.map(hour =>
        row(
          `${String(hour).padStart(2, '0')}–${String((hour + 1) % 24).padStart(2, '0')}`,
          (shown.cells[hour] ?? []).map(told),
          told(shown.rowTotals[hour] ?? 0),
        ),
      ),
      row('all', shown.columnTotals.map(told), told(shown.total)),
    ],
    plot: { kind: 'bars', column: 1 },
  }
}

const DECISIONS = {
  ambulance: 'emergency number',
  'set-out': 'hospital now',
  speak: 'speak to a clinician',
  'tell-clinic': 'tell the clinic',
  'at-home': 'care at home',
} as const satisfies Record<(typeof DISPOSITIONS)[number], string>

function byDisposition(cases: readonly CaseSummary[]): FigureTable {
  const kinds = [...DISPOSITIONS, undefined]
  const shown = toldList(kinds.map(kind => count(cases, ({ decided }) => decided === kind)))
  return {
    id: 'decisions',
    title: 'What was decided',
    says: 'The line’s own decision at the end, before a clinician lowered it.',
    head: ['decision', 'cases'],
    rows: [
      ...kinds.map((kind, index) => [kind === undefined ? 'none' : DECISIONS[kind], told(shown.counts[index] ?? 0)]),
      ['all', told(shown.total)],
    ],
    plot: { kind: 'bars', column: 1 },
  }
}

function byRung(cases: readonly CaseSummary[]): FigureTable {
  const most = Math.max(0, ...cases.map(({ rungs }) => rungs.length))
  const rungs = Array.from({ length: most }, (_, rung) => rung)
  return {
    id: 'rungs',
    title: 'Pages by rung of the ladder',
    says: 'Of the cases in which the rung was paged, those in which whoever was paged on it did not answer while it was their turn.',
    head: ['rung', 'unanswered', 'of', ...SHARE_HEAD],
    rows: rungs.map(rung => {
      const reached = cases.filter(one => one.rungs.length > rung)
      return shareRow(
        String(rung + 1),
        count(reached, one => one.rungs[rung] !== true),
        reached.length,
        undefined,
        cases.length,
      )
    }),
  }
}

/** Where families gave up, by the step whose question stood open; `of`: cases that came to the step. */
export function abandonedBySteps(cases: readonly CaseSummary[]): ReadonlyMap<string, { count: number; of: number }> {
  const steps = new Map<string, { count: number; of: number }>()
  const at = (concern: string, step: string) => {
    const id = `${concern}/${step}`
    const entry = steps.get(id) ?? { count: 0, of: 0 }
    steps.set(id, entry)
    return entry
  }
  for (const { concerns, concern, abandonedAt, steps: own } of cases) {
    const last = concerns.at(-1) ?? concern
    for (const step of own) at(last, step).of++
    if (abandonedAt !== undefined) at(last, abandonedAt).count++
  }
  return steps
}

/** "Tube out: device": the flow in words, the step as it stands in the flow's picture. */
function stepName(id: string, names: FigureNames): string {
  const [concern = '', ...step] = id.split('/')
  return `${names.concern(concern)}: ${step.join('/')}`
}

function abandonment(cases: readonly CaseSummary[], names: FigureNames): FigureTable {
  const steps = [...abandonedBySteps(cases)].filter(([, { count: gone }]) => gone > 0)
  const sorted = steps.sort(([, one], [, other]) => other.count - one.count)
  const shown = toldList(sorted.map(([, { count: gone }]) => gone)).counts
  return {
    id: 'abandoned',
    title: 'Where families gave up',
    says: 'The step whose question was left open, of the cases that came to it; the most frequent first. Also laid over the pictures of the flows.',
    head: ['flow and step', 'given up', 'of', ...SHARE_HEAD],
    rows: sorted
      .slice(0, LISTED_MOST)
      .map(([step, { count: gone, of }], index) =>
        shareRow(stepName(step, names), gone, Math.max(of, gone), shown[index]),
      ),
  }
}

function questions(
  id: string,
  title: string,
  cases: readonly CaseSummary[],
  of: (one: CaseSummary) => readonly string[],
  names: FigureNames,
): FigureTable {
  const asked = tally(cases.flatMap(one => one.asked))
  const found = tally(cases.flatMap(one => [...of(one)]))
  const rows = [...found].sort(([, one], [, other]) => other - one).slice(0, LISTED_MOST)
  return {
    id,
    title,
    says: 'Of the times the question was put.',
    head: ['question', 'times', 'of', ...SHARE_HEAD],
    rows: rows.map(([fact, times]) => shareRow(names.fact(fact), times, Math.max(times, asked.get(fact) ?? 0))),
  }
}

function tally(all: readonly string[]): ReadonlyMap<string, number> {
  const counts = new Map<string, number>()
  for (const one of all) counts.set(one, (counts.get(one) ?? 0) + 1)
  return counts
}
