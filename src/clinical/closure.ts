import { after, type Instant, instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Thresholds } from './thresholds.ts'

/**
 * How soon the opening may narrow or close. One to two hours is common practice, no source; published: about 2 hours even
 * for an established stoma (Troubleshooting G-tubes and J-tubes; emDocs, L. Herman; 2010s), 2 to 4 hours to reach an
 * emergency department (Paediatric gastrostomy tube: frequently asked questions; NHS Scotland, Right Decisions; 2020s),
 * back within 4 hours (Gastrostomy tube dislodgement; Nemours; 2020s). The clock starts at the earliest the tube can
 * have come out. Time only ever raises urgency: no band unlocks a step, and none means "too late".
 */
export type Closure = 'time-left' | 'leave-now' | 'past-latest' | 'overdue' | 'unknown'

/** A length of travel in milliseconds: at least, at most, both inclusive. */
export interface Travel {
  readonly atLeastMs: number
  readonly atMostMs: number
}

/** The instants at which the closure band changes; each belongs to the later band. */
export interface ClosureTimes {
  /** Leave at the latest then, to arrive before the opening may begin to close. May lie before the tube came out. */
  readonly leaveBy: Instant
  /** The opening may begin to close. No band of its own. */
  readonly soonestAt: Instant
  readonly latestAt: Instant
  readonly overdueAt: Instant
}

type ClosureSettings = Pick<Thresholds, 'closure-soonest' | 'closure-latest' | 'closure-overdue'>

/**
 * The instants of the closure clock: out at the earliest, plus the clinic's lengths; leave-by is out + soonest less the
 * longest travel. Travel that is unsure or not asked: leave-by is the moment it came out. Out unsure: `unknown`.
 *
 * @example out 01:30 to 01:45, travel 20 to 25 min → leave-by 02:05, soonest 02:30, latest 03:30, overdue 05:30
 */
export function closureTimes(
  out: Between,
  travel: Travel | 'unsure' | undefined,
  thresholds: ClosureSettings,
): ClosureTimes
export function closureTimes(
  out: Between | 'unsure',
  travel: Travel | 'unsure' | undefined,
  thresholds: ClosureSettings,
): ClosureTimes | 'unknown'
export function closureTimes(
  out: Between | 'unsure',
  travel: Travel | 'unsure' | undefined,
  thresholds: ClosureSettings,
): ClosureTimes | 'unknown' {
  if (out === 'unsure') return 'unknown'
  const soonestAt = after(out.earliest, thresholds['closure-soonest'])
  return {
    leaveBy: travel === undefined || travel === 'unsure' ? out.earliest : instant(soonestAt - travel.atMostMs),
    soonestAt,
    latestAt: after(out.earliest, thresholds['closure-latest']),
    overdueAt: after(out.earliest, thresholds['closure-overdue']),
  }
}

/** The band at `at`. `unknown` acts as `past-latest`. */
export function closureOf(times: ClosureTimes | 'unknown', at: Instant): Closure {
  if (times === 'unknown') return 'unknown'
  if (at >= times.overdueAt) return 'overdue'
  if (at >= times.latestAt) return 'past-latest'
  return at >= times.leaveBy ? 'leave-now' : 'time-left'
}

/** The first instant after `at` at which the band changes; undefined when it never does again. */
export function nextCrossing(times: ClosureTimes | 'unknown', at: Instant): Instant | undefined {
  if (times === 'unknown') return undefined
  return [times.leaveBy, times.latestAt, times.overdueAt].filter(crossing => crossing > at).sort((a, b) => a - b)[0]
}

/** Whether a child who leaves at `at` and travels the longest time is at the hospital before (strictly) the latest. */
export type Reach = 'in-time' | 'not-in-time' | 'unknown'

export function reachOf(
  out: Between | 'unsure',
  travel: Travel | 'unsure' | undefined,
  thresholds: ClosureSettings,
  at: Instant,
): Reach {
  const times = closureTimes(out, travel, thresholds)
  if (times === 'unknown' || travel === undefined || travel === 'unsure') return 'unknown'
  return at + travel.atMostMs < times.latestAt ? 'in-time' : 'not-in-time'
}

/** When a family that left at `leftAt` is expected at the hospital. */
export function arrivalOf(leftAt: Instant, travel: Travel): Between {
  return { earliest: instant(leftAt + travel.atLeastMs), latest: instant(leftAt + travel.atMostMs) }
}
