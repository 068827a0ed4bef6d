import type { CalendarCopy } from '../config/calendar-copy.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { after, before, days, type Instant } from '../time/instant.ts'
import { readCalendar } from './lines.ts'
import { matchedShifts, type Stranger } from './people.ts'
import { eventShifts } from './shifts.ts'

/** How far ahead a calendar is trusted. One that is not read again by then has run out, and the gaps are told long before. */
const AHEAD = days(400)
/** Shifts that have ended so long ago are not kept. */
const BACK = days(7)

export interface CalendarRead {
  readonly copy: CalendarCopy
  /** Shifts that are nobody's: none may be left before the calendar counts. */
  readonly strangers: readonly Stranger[]
  /** What a person should know before agreeing. */
  readonly notes: readonly string[]
}

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
  const events = eventShifts(readCalendar(text), { zone: clinic.zone, from: before(at, BACK), until: knownUntil })
  const { shifts, strangers } = matchedShifts(events, clinic, ignores)
  const { wholeDays, withoutZone } = events
  return {
    copy: { version: 1, role, source, readAt: at, knownUntil, zones: events.zones, shifts },
    strangers,
    notes: [
      ...(wholeDays === 0
        ? []
        : [`${wholeDays} of its events are whole days: from midnight to midnight in ${clinic.zone}`]),
      ...(withoutZone === 0 ? [] : [`${withoutZone} of its events name no zone: read in ${clinic.zone}`]),
    ],
  }
}
