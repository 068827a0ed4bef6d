/** Calendars in words, in the language of the clinic's people: what one would bring, what is wrong with it, how it goes. */
import { DAYS_SHOWN, withCalendar } from '../calendar/as-it-would-be.ts'
import type { Suspicion } from '../calendar/compare.ts'
import { isSomebody } from '../calendar/people.ts'
import type { CalendarRead } from '../calendar/read.ts'
import type { UnreadEvent } from '../calendar/shifts.ts'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { calendarFile } from '../config/calendar-edits.ts'
import { roleText } from '../config/role-words.ts'
import { type CalendarTrouble, EVENTS_MOST } from '../http/console/calendar-page.ts'
import type { CalendarPreview } from '../http/console/change-page.ts'
import type { DayShown } from '../http/console/days-shown.ts'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import { wallTimeAt } from '../oncall/wall-time.ts'
import { after, days, type Instant } from '../time/instant.ts'
import type { CalendarGiven } from './calendar-drafts.ts'
import type { WhyHeld } from './calendar-feeds.ts'
import type { CalendarUnreachable } from './calendar-fetch.ts'
import { daysShown } from './days-shown.ts'
import { momentText } from './now-view.ts'

export interface CalendarSaid {
  readonly line: Line
  readonly wording: Wording
  readonly at: Instant
}

const GAPS_MOST = 12
const DAYS_LOOKED = 90

/** What a calendar would bring, with the clinic as it would then be. */
export function calendarPreview(
  { role, wholeDays, withoutZone }: CalendarGiven,
  clinic: Clinic,
  said: CalendarSaid,
): CalendarPreview {
  const { line, wording, at } = said
  const { rungs } = coverageOf(clinic, at, after(at, days(DAYS_LOOKED)))
  const zone = clinic.zone
  return {
    days: dayLines(clinic, role, said),
    notes: [
      ...(wholeDays === 0 ? [] : [wording('on-call-calendar-note-days', { count: wholeDays, label: zone })]),
      ...(withoutZone === 0 ? [] : [wording('on-call-calendar-note-zone', { count: withoutZone, label: zone })]),
    ],
    gaps: rungs
      .filter(hole => hole.role === role)
      .slice(0, GAPS_MOST)
      .map(({ from, until }) =>
        wording('on-call-hole', {
          role: roleText(role, line.language),
          from: momentText(line, from, at),
          until: momentText(line, until, at),
        }),
      ),
  }
}

function dayLines(clinic: Clinic, role: string, { line, at }: CalendarSaid): readonly DayShown[] {
  const today = wallTimeAt(clinic.zone, at).day
  const title = { weekday: 'long', day: 'numeric', month: 'long' } as const
  return daysShown(
    { ...line, clinic },
    { first: today, count: DAYS_SHOWN, today, roles: [role], by: 'calendar', title },
  )
}

/** What keeps a calendar from being saved. */
export function calendarTrouble(draft: string, read: CalendarRead, said: CalendarSaid): CalendarTrouble {
  const { wording, line } = said
  const { clinic } = line
  const { copy, strangers, unread } = read
  const eventText = (at: number, names: readonly string[]) =>
    names.length === 0
      ? wording('on-call-calendar-untitled', { number: at })
      : wording('on-call-calendar-event', { number: at, label: names.map(one => `"${one}"`).join(', ') })
  const titleOf = ([title]: readonly string[]) =>
    title === undefined || isSomebody(clinic, title) ? {} : { title: title.slice(0, 200) }
  const events = [
    ...unread.map(one => ({
      says: eventText(one.line, one.names),
      why: refusedText(one, wording),
      ...titleOf(one.names),
    })),
    ...strangers.map(({ line: at, names, ids, count }) => ({
      says: eventText(at, names),
      why:
        ids.length === 0
          ? wording('on-call-calendar-who-nobody', { count })
          : wording('on-call-calendar-who-several', {
              count,
              name: ids.map(id => reachableOf(clinic, id)?.name ?? id).join(', '),
            }),
      ...titleOf(names),
    })),
  ]
  const wouldBe = withCalendar(clinic, copy, calendarFile(copy))
  return {
    draft,
    days: dayLines(wouldBe, copy.role, said),
    events: events.slice(0, EVENTS_MOST),
    more: Math.max(events.length - EVENTS_MOST, 0),
  }
}

/** What is wrong with a calendar, or with one of its events, and what to do. */
export const refusedText = (
  { code, line, quoted = '' }: Pick<UnreadEvent, 'code' | 'line' | 'quoted'>,
  wording: Wording,
): string => wording(`on-call-calendar-why-${wordOf(code)}`, { number: line, label: quoted })

const wordOf = (code: string): string => code.replace('CALENDAR_', '').toLowerCase().replaceAll('_', '-')

/** Why a calendar did not come. */
export const unreachableText = ({ how, status = 0 }: CalendarUnreachable, wording: Wording): string =>
  wording(`on-call-calendar-fetch-${how}`, { number: status })

/** Why a live calendar is not taken. */
export function heldText(why: WhyHeld, wording: Wording): string {
  switch (why.kind) {
    case 'unreachable':
      return unreachableText(why.cause, wording)
    case 'refused':
      return refusedText(why.why, wording)
    case 'strangers':
      return wording('on-call-calendar-held-strangers', { count: why.count, number: why.line })
    case 'suspicious':
      return suspicionText(why.suspicion, wording)
    case 'unwritable':
      return wording('on-call-calendar-held-unwritable')
  }
}

function suspicionText(suspicion: Suspicion, wording: Wording): string {
  switch (suspicion.kind) {
    case 'zones-changed':
      return wording('on-call-calendar-held-zones', {
        name: suspicion.before.join(', '),
        other: suspicion.now.join(', '),
      })
    case 'shrunk':
      return wording('on-call-calendar-held-shrunk', { number: suspicion.hoursNow, count: suspicion.hoursBefore })
    case 'moved':
      return wording('on-call-calendar-held-moved', { number: suspicion.kept, count: suspicion.of })
  }
}
