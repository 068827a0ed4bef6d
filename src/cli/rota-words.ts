import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { Duty } from '../oncall/duty.ts'
import type { Instant } from '../time/instant.ts'
import { clockText, dayText } from '../time/local-time.ts'

/** The rota in plain words, for whoever keeps it. */

/** "today 6:00 pm", "Sunday 6 December 6:00 pm". */
export function momentText({ zone, clock }: Clinic, at: Instant, seenFrom: Instant): string {
  return `${dayText(at, zone, seenFrom, 'en')} ${clockText(at, zone, clock, 'en')}`
}

/** The name of a person or desk; their id in quotes where the file knows nobody of that id. */
export const nameOf = (clinic: Clinic, id: string): string => reachableOf(clinic, id)?.name ?? `"${id}"`

/** Why a duty stands: "the weekly rota", "swapped with Linh Tran", "holiday: Christmas Day". */
export function reasonText(clinic: Clinic, duty: Duty): string {
  const why = duty.why === undefined ? '' : ` (${duty.why})`
  switch (duty.by) {
    case 'pattern':
      return duty.every === undefined ? 'the weekly rota' : `the rota of every ${duty.every} weeks`
    case 'holiday':
      return `a holiday: ${duty.holiday ?? 'without a name'}`
    case 'calendar':
      return `the calendar in ${duty.calendar ?? 'a file'}`
    case 'dated':
      return `a dated change${why}`
    case 'swap':
      return `a swap: taken from ${nameOf(clinic, duty.swapped?.of ?? '')}${why}`
  }
}

/** A duty as `--json` prints it. */
export function dutyRow(clinic: Clinic, duty: Duty) {
  const { role, who, startsAt, endsAt, by, why, holiday, every, calendar, swapped } = duty
  return {
    role,
    who,
    name: reachableOf(clinic, who)?.name ?? null,
    from: isoText(startsAt),
    until: isoText(endsAt),
    because: by,
    words: reasonText(clinic, duty),
    ...(why === undefined ? {} : { why }),
    ...(holiday === undefined ? {} : { holiday }),
    ...(every === undefined ? {} : { everyWeeks: every }),
    ...(calendar === undefined ? {} : { calendar }),
    ...(swapped === undefined ? {} : { takenFrom: swapped.of }),
  }
}

/** An instant in UTC. */
export const isoText = (at: Instant): string => new Date(at).toISOString()
