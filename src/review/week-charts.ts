/** Figures by week with control limits, and what their runs say. */
import { dayNumber } from '../time/local-instants.ts'
import type { CaseSummary } from './case-summary.ts'
import { pChart, uChart, xmrChart } from './control-chart.ts'
import { type FigureTable, HIDDEN, told } from './figure-table.ts'
import { answersOf } from './group-tables.ts'
import { runsOf } from './run-chart.ts'
import { gaveUpEarly, wasPaged } from './share-rows.ts'
import { SMALL_BELOW, type Told, toldList, toldPart } from './suppression.ts'

/** Weeks with fewer cases say nothing. */
const WEEK_CASES_LEAST = SMALL_BELOW

export function weekCharts(cases: readonly CaseSummary[]): readonly FigureTable[] {
  const weeks = weeksOf(cases).filter(({ own }) => own.length >= WEEK_CASES_LEAST)
  if (weeks.length < 2) return []
  const shares = (
    id: string,
    title: string,
    of: (one: CaseSummary) => boolean,
    holds: (one: CaseSummary) => boolean,
  ) => {
    const points = weeks
      .map(({ own }) => ({ count: own.filter(each => of(each) && holds(each)).length, of: own.filter(of).length }))
      .map((each, index) => ({ ...each, index }))
    const usable = points.filter(each => each.of >= SMALL_BELOW)
    const shown = toldList(usable.map(each => each.count))
    return chart(
      id,
      title,
      'share',
      usable.map(({ index }) => weeks[index]?.name ?? ''),
      pChart(usable),
      usable.map((_, at) => shown.counts[at] !== 'hidden'),
      // How few were not paged for is given away no more here than in the table that counts them.
      usable.map(({ of: all, index }) => toldPart(all, weeks[index]?.own.length ?? all)),
    )
  }
  const pages = weeks.map(({ own, days }) => own.reduce((all, one) => all + one.pages, 0) / days)
  const medians = weeks.map(({ own }) => answersOf(own).median)
  const known = medians.flatMap((median, index) =>
    median === undefined ? [] : [{ median, name: weeks[index]?.name ?? '' }],
  )
  return [
    chart(
      'weeks-cases',
      'Cases a day, by week',
      'cases',
      weeks.map(({ name }) => name),
      uChart(weeks.map(({ own, days }) => ({ count: own.length, of: days }))),
      weeks.map(() => true),
    ),
    // Pages come in ladders, several a case: no count of things that happen each by itself, so limits from their own spread.
    chart(
      'weeks-pages',
      'Pages a day, by week',
      'pages',
      weeks.map(({ name }) => name),
      neverBelowNone(xmrChart(pages)),
      weeks.map(({ days }, index) => (pages[index] ?? 0) * days >= SMALL_BELOW || pages[index] === 0),
    ),
    shares(
      'weeks-unanswered',
      'Cases paged for that nobody answered in time, by week',
      wasPaged,
      one => one.isUnanswered,
    ),
    shares('weeks-abandoned', 'Cases given up before the decision, by week', () => true, gaveUpEarly),
    chart(
      'weeks-answer',
      'Median minutes from page to answer, by week',
      'minutes',
      known.map(({ name }) => name),
      neverBelowNone(xmrChart(known.map(({ median }) => median))),
      known.map(() => true),
    ),
  ].filter(({ rows }) => rows.length >= 2)
}

/** No fewer pages than none, and no answer before its page: a limit below 0 limits nothing. */
const neverBelowNone = (points: ReturnType<typeof xmrChart>): ReturnType<typeof xmrChart> =>
  points.map(each => ({ ...each, low: Math.max(0, each.low) }))

function chart(
  id: string,
  title: string,
  unit: string,
  names: readonly string[],
  points: ReturnType<typeof pChart>,
  isTold: readonly boolean[],
  /** Of a share: how many cases each stands on. */
  of?: readonly Told[],
): FigureTable {
  // Nobody acts on a hundredth of a case, a minute or one in a hundred.
  const shown = (value: number) => Math.round(value * (of === undefined ? 10 : 1_000)) / 10
  const sign = of === undefined ? '' : ' %'
  const runs = runsOf(points.map(({ value }) => value))
  const outside = points.filter(({ isSignal }, index) => isSignal && isTold[index] === true).length
  return {
    id,
    title,
    says:
      `Limits three standard deviations away: ${outside} of ${points.length} weeks lie outside. Longest run on one side of the median ${runs.longestRun} (chance: up to ` +
      `${runs.longestRunMost}), crossings ${runs.crossings} (chance: ${runs.crossingsLeast} or more): ${runs.isSignal ? 'something has shifted' : 'by its runs alone, no shift'}.`,
    head: [
      'week from',
      ...(of === undefined ? [] : ['of']),
      ...[unit, 'centre', 'lower limit', 'upper limit'].map(name => `${name}${sign}`),
      'outside',
    ],
    rows: points.map(({ value, centre, low, high, isSignal }, index) => [
      names[index] ?? '',
      ...(of === undefined ? [] : [told(of[index] ?? 0)]),
      ...(isTold[index] === true ? [shown(value)] : [HIDDEN]),
      ...[centre, low, high].map(shown),
      ...(isTold[index] === true ? [isSignal ? 'yes' : 'no'] : [HIDDEN]),
    ]),
    plot: {
      kind: 'control',
      unit,
      points: points.map(({ value, ...limits }, index) => ({
        name: names[index] ?? '',
        value: isTold[index] === true ? value : undefined,
        ...limits,
      })),
    },
  }
}

/** Seven days each, from the day of the first case on; days of the clinic's calendar. */
function weeksOf(
  cases: readonly CaseSummary[],
): readonly { name: string; own: readonly CaseSummary[]; days: number }[] {
  const dates = [...new Set(cases.map(({ day }) => day))].sort()
  const [first] = dates
  if (first === undefined) return []
  const start = dayNumberOf(first)
  const last = dayNumberOf(dates.at(-1) ?? first)
  const weeks = Array.from({ length: Math.floor((last - start) / 7) + 1 }, () => [] as CaseSummary[])
  const nameOf = new Map<number, string>()
  for (const one of cases) {
    const at = Math.floor((dayNumberOf(one.day) - start) / 7)
    weeks[at]?.push(one)
    const name = nameOf.get(at)
    if (name === undefined || one.day < name) nameOf.set(at, one.day)
  }
  return weeks.map((own, at) => ({ name: nameOf.get(at) ?? '', own, days: Math.min(7, last - start - at * 7 + 1) }))
}

function dayNumberOf(day: string): number {
  const [year = 0, month = 1, date = 1] = day.split('-').map(Number)
  return dayNumber({ year, month, day: date })
}
