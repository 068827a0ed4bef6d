/** What goes on now, what the night left, and the sheet for the wall, in words. */
import { type Line, languagesOf } from '../case/line.ts'
import { clockOf, clockSaidOf, languageName } from '../case/values.ts'
import type { CaseView } from '../case/view.ts'
import type { Wording } from '../channels/web-page.ts'
import { roleText } from '../config/role-words.ts'
import { bySoonest, type DayItem, type DayView, type NowRow, type NowView } from '../http/console/now-page.ts'
import type { TonightSheet } from '../http/console/tonight-page.ts'
import { peopleThere, reachableOf } from '../oncall/clinic.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { type Reached, rungsAt } from '../oncall/ladder.ts'
import { numberText } from '../oncall/number-text.ts'
import { isOpen, nextOpening, openingsBetween } from '../oncall/opening.ts'
import { rolesOf } from '../oncall/rota.ts'
import { stretchAt } from '../oncall/timeline.ts'
import { languageIn, parkedOf } from '../runtime/parking.ts'
import type { Store, StoredCase } from '../store/store.ts'
import { before, days, type Instant } from '../time/instant.ts'
import { dayText } from '../time/local-time.ts'
import type { DeskState } from './desk-file.ts'
import { storedView } from './stored-view.ts'

export interface NowSources {
  /** Speaking the language of the clinic's people. */
  readonly line: Line
  /** The line that a stored case is read with. */
  readonly lineOf: (state: string) => Line
  readonly store: Pick<Store, 'recent'>
  readonly doubts: readonly string[]
  readonly desk: DeskState
  readonly at: Instant
  readonly wording: Wording
}

interface Looked {
  readonly stored: StoredCase
  readonly view: CaseView
}

/** The time the clinic was last closed, or is: from its closing until it opens; the last day where it never opens. */
export interface Night {
  readonly from: Instant
  readonly until: Instant | undefined
}

export function nightOf({ clinic }: Pick<Line, 'clinic'>, at: Instant): Night {
  const openings = openingsBetween(clinic, before(at, days(14)), at)
  const now = isOpen(clinic, at) ? openings.findLast(({ opensAt }) => opensAt <= at) : undefined
  const closed = openings.findLast(({ closesAt }) => closesAt <= (now?.opensAt ?? at))
  return { from: closed?.closesAt ?? before(at, days(1)), until: now?.opensAt ?? nextOpening(clinic, at) }
}

export async function nowView(sources: NowSources): Promise<NowView> {
  const { line, desk, at, wording } = sources
  const night = nightOf(line, at)
  const looked = await casesSince(sources, night.from)
  const open = looked.filter(({ view }) => !view.closed)
  return {
    at,
    isNight: !isOpen(line.clinic, at),
    doubts: sources.doubts,
    ...(desk.notice === undefined ? {} : { notice: noticeLine(line, desk.notice, at, wording) }),
    onCall: onCallSentence(line, at, wording),
    rows: bySoonest(open.map(each => rowOf(each, sources))),
    day: dayOf(looked, night, sources),
  }
}

/** Open cases, and closed ones of the night. */
async function casesSince({ store, lineOf, at }: NowSources, since: Instant): Promise<readonly Looked[]> {
  const cases = await store.recent(since)
  return cases.map(stored => ({ stored, view: storedView(lineOf(stored.state), stored, [], at) }))
}

/** Codes of what is urgent and has nobody for the day. */
export async function untakenOf(sources: NowSources): Promise<readonly string[]> {
  const { items } = dayOf(
    await casesSince(sources, nightOf(sources.line, sources.at).from),
    nightOf(sources.line, sources.at),
    sources,
  )
  return items.filter(({ isUrgent, taker }) => isUrgent && taker === undefined).map(({ code }) => code)
}

function noticeLine(line: Line, notice: NonNullable<DeskState['notice']>, at: Instant, wording: Wording): string {
  const until =
    notice.until === undefined ? '' : ` ${wording('now-until', { until: momentText(line, notice.until, at) })}`
  return `${wording(`notice-is-${notice.kind}`)}${until}`
}

function rowOf({ stored, view }: Looked, { line, lineOf, wording }: NowSources): NowRow {
  const due = nextOf(line, view, wording)
  return {
    caseId: view.caseId,
    code: view.code,
    headline: view.headline,
    openedAt: view.openedAt,
    callout: view.callout.sentence,
    ...(due === undefined ? {} : { next: due }),
    marks: [...view.marks, ...moreMarks(stored, view, lineOf(stored.state), line, wording)],
  }
}

/** The first of: what was promised, the next page, what the bot will say. */
function nextOf(line: Line, { callout, coming }: CaseView, wording: Wording): NowRow['next'] {
  const said = (at: Instant) => ({ now: clockSaidOf(line, at) })
  const promised = callout.state === 'taken' ? callout.promisedAt : undefined
  const paging = callout.state === 'paging' || callout.state === 'unanswered' ? callout.nextPageAt : undefined
  const next = coming[0]
  return [
    ...(promised === undefined ? [] : [{ at: promised, says: wording('board-promised', said(promised)) }]),
    ...(paging === undefined ? [] : [{ at: paging, says: wording('now-next-page', said(paging)) }]),
    ...(next === undefined ? [] : [{ at: next.due, says: `${clockOf(line, next.due)} ${next.says}` }]),
  ].toSorted((a, b) => a.at - b.at)[0]
}

/** What whoever rings should know: no number to ring, another language. */
function moreMarks(
  { state }: StoredCase,
  view: CaseView,
  read: Line,
  staff: Line,
  wording: Wording,
): readonly string[] {
  if (parkedOf(state) !== undefined) return []
  const language = languageIn(state) ?? languagesOf(read)[0]
  const writesOnly = view.answers.some(({ fact }) => fact === 'ring-back')
  return [
    ...(view.ringBack === undefined && !writesOnly ? [wording('mark-no-number')] : []),
    ...(language === undefined || language === staff.language
      ? []
      : [wording('mark-reads', { label: languageName(staff, language) })]),
  ]
}

function dayOf(looked: readonly Looked[], night: Night, { line, desk, at, wording }: NowSources): DayView {
  const from = momentText(line, night.from, at)
  const until = night.until === undefined ? '' : momentText(line, night.until, at)
  const signed = desk.signedOver?.night === night.from ? desk.signedOver : undefined
  const pages = looked.reduce((sum, { stored }) => sum + pagesOf(stored), 0)
  const taken = looked.filter(({ view }) => view.callout.takenBy !== undefined).length
  return {
    night: until === '' ? wording('day-since', { from }) : wording('day-night', { from, until }),
    line: [wording('day-line', { count: looked.length, pages, taken }), ...worthLine(looked, desk, wording)].join(' '),
    items: looked.map(each => itemOf(each, desk)).toSorted((a, b) => Number(b.isUrgent) - Number(a.isUrgent)),
    takers: [
      ...peopleThere(line.clinic).map(({ id, name }) => ({ id, name })),
      ...line.clinic.desks.map(({ id, name }) => ({ id, name })),
    ],
    ...(signed === undefined
      ? {}
      : { signedOver: wording('day-signed-by', { name: signed.by, now: clockSaidOf(line, signed.at) }) }),
  }
}

/** How many of the night's cases somebody judged worth waking for; nothing before anybody has. */
function worthLine(looked: readonly Looked[], { judged = {} }: DeskState, wording: Wording): readonly string[] {
  const said = looked.flatMap(({ view }) => judged[view.caseId] ?? [])
  return said.length === 0 ? [] : [wording('day-worth-line', { count: said.filter(({ isWorth }) => isWorth).length })]
}

/** One line about a night, for those who had it; undefined where there was no case. */
export async function nightLine(sources: NowSources): Promise<string | undefined> {
  const { line, at } = sources
  const looked = await casesSince(sources, nightOf(line, at).from)
  return looked.length === 0 ? undefined : dayOf(looked, nightOf(line, at), sources).line
}

function itemOf({ stored, view }: Looked, { judged }: DeskState): DayItem {
  const said = judged?.[view.caseId]
  const worth = said === undefined ? 'unjudged' : said.isWorth ? 'yes' : 'no'
  return {
    ...(pagesOf(stored) === 0 ? {} : { worth }),
    caseId: view.caseId,
    code: view.code,
    headline: view.headline,
    closed: view.closed,
    notes: view.notes,
    isUrgent: view.disposition === 'ambulance' || view.disposition === 'set-out',
    ...(view.day === undefined ? {} : { taker: view.day.taker }),
  }
}

function pagesOf({ state }: StoredCase): number {
  const read = JSON.parse(state) as { callout?: { pages?: readonly unknown[] }; parked?: { pagedTimes?: number } }
  return read.callout?.pages?.length ?? read.parked?.pagedTimes ?? 0
}

/** Who is paged first and until when. */
export function onCallSentence(line: Line, at: Instant, wording: Wording): string {
  const [first] = rungsAt(line.clinic, at)
  if (first === undefined) return wording('now-nobody')
  const until = untilOf(line, first, at)
  return until === undefined
    ? wording('now-first', { name: first.name })
    : wording('now-first-until', { name: first.name, until: momentText(line, until, at) })
}

function untilOf(line: Line, { role, rung }: Reached, at: Instant): Instant | undefined {
  const { clinic } = line
  if (role !== undefined) return stretchAt(clinic, role, at).until
  if (clinic.ladder[rung]?.when.kind !== 'open') return undefined
  return openingsBetween(clinic, at, at).find(({ opensAt, closesAt }) => opensAt <= at && at < closesAt)?.closesAt
}

/** "tomorrow 8:00 am". */
export function momentText(line: Line, at: Instant, seenFrom: Instant): string {
  return `${dayText(at, line.clinic.zone, seenFrom, line.language)} ${clockOf(line, at)}`
}

export async function tonightSheet(sources: NowSources): Promise<TonightSheet> {
  const { line, at, wording } = sources
  const { clinic } = line
  const open = (await casesSince(sources, at)).filter(({ view }) => !view.closed)
  const { emergency, clinic: ring, transport, hospitals } = familyNumbers(clinic, line.language)
  return {
    heading: wording('print-heading', { clinicName: clinic.name }),
    printed: wording('print-at', { now: momentText(line, at, at) }),
    people: rolesOf(clinic).flatMap(role => {
      const { duty, until } = stretchAt(clinic, role, at)
      const who = duty === undefined ? undefined : reachableOf(clinic, duty.who)
      const number = who?.privateNumber
      return [
        {
          role: `(${roleText(role, line.language)})`,
          who: who?.name ?? wording('now-nobody-short'),
          until: until === undefined ? '' : wording('now-until', { until: momentText(line, until, at) }),
          number: number === undefined ? wording('print-no-number') : numberText(number),
        },
      ]
    }),
    ladder: rungsAt(clinic, at).map(({ id, name, words }) => {
      const number = reachableOf(clinic, id)?.privateNumber
      return [
        name,
        ...(words === undefined ? [] : [words]),
        ...(number === undefined ? [] : [numberText(number)]),
      ].join(' · ')
    }),
    numbers: [
      { label: wording('number-emergency'), number: numberText(emergency.number) },
      { label: clinic.name, number: numberText(ring.number) },
      { label: wording('print-transport'), number: numberText(transport.number) },
      ...hospitals.map(({ name, number }) => ({ label: name, number: numberText(number.number) })),
    ],
    cases: open.map(({ view }) => ({ code: view.code, text: `${view.headline}. ${view.callout.sentence}` })),
  }
}
