/** Whether a group waits longer than the others: by language, and by how the family wrote. */
import type { CaseSummary } from './case-summary.ts'
import { type FigureCell, type FigureTable, HIDDEN, NONE, told } from './figure-table.ts'
import { SMALL_BELOW, toldList } from './suppression.ts'
import { waitingFigures } from './survival.ts'

export function groupTables(cases: readonly CaseSummary[]): readonly FigureTable[] {
  const by = (
    id: string,
    title: string,
    of: (one: CaseSummary) => string,
    name: (kind: string) => string,
  ): FigureTable => {
    const kinds = [...new Set(cases.map(of))].sort()
    const shown = toldList(kinds.map(kind => cases.filter(one => of(one) === kind).length))
    const called = kinds.map(name)
    const own = kinds.map(kind => answersOf(cases.filter(one => of(one) === kind)))
    return {
      id,
      title,
      says: waitsLonger(called, own) ?? 'Minutes from the first page to a clinician’s answer.',
      head: ['', 'cases', 'median', '90th percentile'],
      rows: kinds.map((kind, index) => [
        called[index] ?? kind,
        told(shown.counts[index] ?? 0),
        ...(shown.counts[index] === 'hidden' ? [HIDDEN, HIDDEN] : (own[index]?.cells ?? [NONE, NONE])),
      ]),
    }
  }
  return [
    by('languages', 'By language', ({ language }) => language, languageName),
    by('channels', 'By way of writing', ({ channel }) => channel, channelName),
  ]
}

const languageNames = new Intl.DisplayNames('en', { type: 'language', fallback: 'code' })

/** A code that is none stays as it is: it may come from another clinic's file. */
function languageName(code: string): string {
  try {
    return languageNames.of(code) ?? code
  } catch {
    return code
  }
}

const CHANNEL_NAMES: Readonly<Record<string, string>> = {
  web: 'web chat',
  sms: 'text message',
  telegram: 'Telegram',
  terminal: 'terminal',
}

const channelName = (channel: string): string =>
  Object.hasOwn(CHANNEL_NAMES, channel) ? (CHANNEL_NAMES[channel] ?? channel) : channel

/** Minutes from the first page to an answer. */
export interface Answers {
  readonly median: number | undefined
  readonly cells: readonly FigureCell[]
}

export function answersOf(cases: readonly CaseSummary[]): Answers {
  const waits = cases.flatMap(({ waits: { acknowledged: wait } }) =>
    wait === undefined ? [] : [{ time: wait.ms / 60_000, happened: wait.open !== true }],
  )
  if (waits.length < SMALL_BELOW)
    return { median: undefined, cells: [waits.length === 0 ? NONE : HIDDEN, waits.length === 0 ? NONE : HIDDEN] }
  const { median, p90 } = waitingFigures(waits)
  const shown = (value: number | undefined): FigureCell => (value === undefined ? NONE : Math.round(value * 10) / 10)
  return { median, cells: [shown(median), shown(p90)] }
}

/** Said where a group's median is half as long again as the shortest. */
function waitsLonger(kinds: readonly string[], own: readonly Answers[]): string | undefined {
  const medians = own.flatMap(({ median }, index) =>
    median === undefined ? [] : [{ kind: kinds[index] ?? '', median }],
  )
  const shortest = Math.min(...medians.map(({ median }) => median))
  const longer = medians.filter(({ median }) => median > shortest * 1.5).map(({ kind }) => kind)
  return longer.length === 0
    ? undefined
    : `Minutes from the first page to a clinician’s answer. Half as long again as the shortest, or more: ${longer.join(', ')}.`
}
