import type { CalendarCopy } from '../config/calendar-copy.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { after, before, days, type Instant } from '../time/instant.ts'
import { readCalendar } from './lines.ts'
import { isShiftIn, matchedShifts, type Stranger } from './people.ts'
import { eventShifts, type UnreadEvent } from './shifts.ts'

/** How far ahead a calendar is trusted. One that is not read again by then has run out, and the gaps are told long before. */
const AHEAD = days(400)
/** Shifts that have ended so long ago are not kept. */
const BACK = days(7)

export interface CalendarRead {
  readonly copy: CalendarCopy
  /** Shifts that are nobody's: none may be left before the calendar counts. */
  readonly strangers: readonly Stranger[]
  /** Events that cannot be read: none may be left either. */
  readonly unread: readonly UnreadEvent[]
  /** Events that last whole days, and events without a zone: read on the clinic's clock. A person should know before agreeing. */
  readonly wholeDays: number
  readonly withoutZone: number
}

/** Whether a calendar that was read may count: each of its events is a shift of one person or desk. */
export const isWhole = ({ strangers, unread }: CalendarRead): boolean => strangers.length === 0 && unread.length === 0

/**
 * A calendar's text as shifts of a role. Throws `CalendarRefused` where it cannot be read as it was meant.
 *
 * @param source  where the text came from: told to people, and kept with the copy
 */
export function calendarRead(
  text: string,
  given: {
    readonly clinic: Clinic
    readonly role: string
    readonly source: string
    readonly ignores: readonly string[]
    readonly at: Instant
  },
): CalendarRead {
  const { clinic, role, source, ignores, at } = given
  const knownUntil = after(at, AHEAD)
  const span = { zone: clinic.zone, from: before(at, BACK), until: knownUntil }
  const { zones, unread, wholeDays, withoutZone, ...events } = eventShifts(readCalendar(text), span, isShiftIn(ignores))
  const { shifts, strangers } = matchedShifts(events, clinic)
  return {
    copy: { version: 1, role, source, readAt: at, knownUntil, zones, shifts },
    ...{ strangers, unread, wholeDays, withoutZone },
  }
}
