import { type CalendarCopy, type CalendarNamed, shiftsOf } from '../config/calendar-copy.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { type Stretch, stretches } from '../oncall/timeline.ts'
import { after, days, type Instant } from '../time/instant.ts'

/** Days of a calendar that are shown before it counts. */
export const DAYS_SHOWN = 14

/** The clinic as it would be with this copy as the calendar of its role. */
export function withCalendar(clinic: Clinic, copy: CalendarCopy, file: CalendarNamed['file']): Clinic {
  const others = (clinic.rota.calendar ?? []).filter(one => one.role !== copy.role)
  return { ...clinic, rota: { ...clinic.rota, calendar: [...others, ...shiftsOf(copy, file)] } }
}

/** Who would be on call in the role of a calendar in the coming days. */
export const daysAhead = (clinic: Clinic, role: string, at: Instant): readonly Stretch[] =>
  stretches(clinic, role, at, after(at, days(DAYS_SHOWN)))
