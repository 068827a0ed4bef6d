import { hours, type Instant, instant, minutes } from './instant.ts'
import {
  dayShifted,
  type LocalDate,
  type LocalParts,
  localInstants,
  localParts,
  skippedInstant,
  weekdayOf,
} from './local-instants.ts'
import type { ClockSaid, DayPart, DaySaid } from './phrase-clocks.ts'
import type { Between } from './span.ts'

/** What a clock time that somebody said can mean, seen from the moment it was said. */

export interface Seen {
  /** The moment it was said. */
  readonly at: Instant
  /** IANA zone of the family's clock. */
  readonly zone: string
}

export type ClockTime =
  /** From `at` to `until`: the same, but on the night when the clocks go back over it. */
  | { readonly kind: 'time'; readonly at: Instant; readonly until: Instant }
  | {
      readonly kind: 'ask'
      readonly reason: 'time-unclear' | 'time-future' | 'time-impossible' | 'time-twice'
      readonly candidates?: readonly Between[]
    }

/** A reading of the clock and the instants it had: none when skipped, two when it happened twice. */
export interface Reading {
  readonly parts: LocalParts
  readonly instants: readonly Instant[]
  /** For ordering: the first of the instants, or where a skipped reading would have been. */
  readonly order: Instant
}

/** So soon after now, a time is more likely a clock that runs fast than one half a day ago. */
const NEAR_FUTURE = minutes(15)
/** So soon after now, "3 pm" is more likely a slip than yesterday's. */
const NEAR_FUTURE_EXPLICIT = hours(3)

const MORNING = [0, 11] as const
const AFTERNOON = [12, 18] as const
const EVENING = [16, 23] as const

/** Hours of the day, 0 to 23, that the words allow. */
function hoursOf({ hour, half }: ClockSaid, part: DayPart | undefined): readonly number[] {
  const said = half === 'either' ? [hour % 12, (hour % 12) + 12] : [hour]
  return said.filter(one => part === undefined || isWithin(one, part))
}

function isWithin(hour: number, part: DayPart): boolean {
  const [first, last] = part === 'morning' ? MORNING : part === 'afternoon' ? AFTERNOON : EVENING
  if (part === 'night') return hour >= 18 || hour <= 5
  return hour >= first && hour <= last
}

/** Every reading of the words, in order of time; days are not yet narrowed to the past. */
export function readingsOf(clock: ClockSaid, day: DaySaid, { at, zone }: Seen): readonly Reading[] {
  const today = localParts(at, zone)
  return daysOf(day, today)
    .flatMap(({ date, part, allows }) =>
      hoursOf(clock, part)
        .filter(hour => allows?.(hour) ?? true)
        .map(hour => reading({ ...date, hour, minute: clock.minute }, zone)),
    )
    .sort((a, b) => a.order - b.order)
}

function reading({ year, month, day, hour, minute }: LocalParts, zone: string): Reading {
  const parts = { year, month, day, hour, minute }
  const instants = localInstants(parts, zone)
  return { parts, instants, order: instants[0] ?? skippedInstant(parts, zone) }
}

interface DayOf {
  readonly date: LocalDate
  readonly part?: DayPart | undefined
  readonly allows?: (hour: number) => boolean
}

const isLate = (hour: number): boolean => hour >= 17
const isSmall = (hour: number): boolean => hour <= 5

/** The calendar days a clock time may fall on. A night belongs to the day it begins on and runs into the next. */
function daysOf(day: DaySaid, today: LocalParts): readonly DayOf[] {
  const shifted = (days: number): LocalDate => dayShifted(today, days)
  switch (day.kind) {
    case 'none':
      return [-1, 0, 1].map(days => ({ date: shifted(days), part: day.part }))
    case 'offset':
      return day.part === 'night' ? nightOf(shifted(day.days)) : [{ date: shifted(day.days), part: day.part }]
    case 'tonight':
      return isSmall(today.hour) ? nightOf(shifted(-1)) : nightOf(shifted(0))
    case 'last-night':
      return [
        ...nightOf(shifted(-1)),
        // Said in the small hours, "last night at 1" may be this night or the one before.
        ...(isSmall(today.hour) ? [{ date: shifted(-1), allows: isSmall }] : []),
      ]
    case 'weekday': {
      const ago = (weekdayOf(today) - day.weekday + 7) % 7
      const days = ago === 0 ? [0, 7] : [ago]
      return days.flatMap(back =>
        day.part === 'night' ? nightOf(shifted(-back)) : [{ date: shifted(-back), part: day.part }],
      )
    }
  }
}

function nightOf(date: LocalDate): readonly DayOf[] {
  return [
    { date, allows: isLate },
    { date: dayShifted(date, 1), allows: isSmall },
  ]
}

/**
 * The moment a clock time means.
 *
 * Without a day it is the most recent past reading: within 12 hours for "9:40", within 24 for "9:40 pm" and "21:40".
 * "9:40" said at 02:10 is 21:40, the evening before. A reading that is just ahead of now is asked about, since the
 * clock it was read from may run fast. With a day, every past reading on that day counts, and two are asked about.
 * A reading that was skipped when the clocks went forward never happened; one that happened twice is
 * from the earlier to the later of the two, so that the earlier, worse end counts.
 */
export function clockTime(clock: ClockSaid, day: DaySaid, seen: Seen): ClockTime {
  if (clock.isImpossible === true) return { kind: 'ask', reason: 'time-impossible' }
  const readings = readingsOf(clock, day, seen)
  if (readings.length === 0) return { kind: 'ask', reason: 'time-unclear' }
  const past = readings.filter(one => one.order <= seen.at)
  if (past.length === 0) return { kind: 'ask', reason: 'time-future' }
  if (day.kind !== 'none') return past.length > 1 ? askWhich(past, seen) : only(past[0], seen)
  const latest = past.at(-1)
  const next = readings.find(one => one.order > seen.at)
  if (next !== undefined && latest !== undefined && isNearer(next, latest, clock, seen.at)) {
    return { kind: 'ask', reason: 'time-future' }
  }
  return only(latest, seen)
}

function isNearer(next: Reading, latest: Reading, { half }: ClockSaid, at: Instant): boolean {
  const margin = half === 'either' ? NEAR_FUTURE : NEAR_FUTURE_EXPLICIT
  return next.order - at <= margin && at - latest.order > next.order - at
}

function askWhich(readings: readonly Reading[], seen: Seen): ClockTime {
  const candidates = readings.flatMap(one => one.instants.filter(at => at <= seen.at)).map(point)
  return { kind: 'ask', reason: 'time-unclear', candidates }
}

function only(found: Reading | undefined, seen: Seen): ClockTime {
  const instants = found?.instants ?? []
  const past = instants.filter(at => at <= seen.at)
  const [first, second] = past
  if (first === undefined) return { kind: 'ask', reason: instants.length === 0 ? 'time-impossible' : 'time-future' }
  return { kind: 'time', at: first, until: second ?? first }
}

const point = (at: Instant): Between => ({ earliest: at, latest: at })

/** Ranges longer than this are no answer. */
const RANGE_AT_MOST = hours(12)

/**
 * From one clock time to another: the most recent such stretch that has begun. An end a little ahead of now is now. On
 * a night when the clock goes back, the earlier reading of the start and the later of the end count.
 */
export function clockRange(from: ClockSaid, to: ClockSaid, day: DaySaid, seen: Seen): Between | ClockTime {
  if (from.isImpossible === true || to.isImpossible === true) return { kind: 'ask', reason: 'time-impossible' }
  const ends = readingsOf(to, day, seen).filter(end => end.order <= seen.at + NEAR_FUTURE)
  for (const end of [...ends].reverse()) {
    const starts = readingsOf(from, day, seen).filter(
      start => start.order < end.order && start.order <= seen.at && end.order - start.order < RANGE_AT_MOST,
    )
    const start = starts.at(-1)
    if (start === undefined) continue
    const earliest = start.instants[0]
    const latest = end.instants.at(-1)
    if (earliest === undefined || latest === undefined) return { kind: 'ask', reason: 'time-impossible' }
    return { earliest, latest: instant(Math.min(latest, seen.at)) }
  }
  return { kind: 'ask', reason: ends.length === 0 ? 'time-future' : 'time-unclear' }
}
