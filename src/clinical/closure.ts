/**
 * The closure window: by when an opening without a tube may begin to narrow, and when to leave. Every instant is
 * counted from the earliest moment the tube can have come out: the worse end. Nothing found measures closure by the
 * hour in children; 1 to 2 hours is common practice, no source; published figures span 2 to 4 hours (Royal Children's
 * Hospital Melbourne guideline: within 4 hours; emDocs, "Troubleshooting G-tubes and J-tubes": about 2 hours).
 */
import { after, before, type Instant, type Milliseconds, milliseconds } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Thresholds } from './thresholds.ts'

/** A length of time as a family puts it. */
export interface Length {
  readonly atLeastMs: number
  readonly atMostMs: number
}

export interface ClosureTimes {
  /** Earliest out + soonest − longest travel; earliest out when travel is not known. May lie in the past. */
  readonly leaveBy: Instant
  readonly soonestAt: Instant
  readonly latestAt: Instant
  readonly overdueAt: Instant
}

export type ClosureBand = 'time-left' | 'leave-now' | 'past-latest' | 'overdue'

export function closureTimes(
  out: Between,
  travel: Length | 'unsure' | undefined,
  thresholds: Thresholds,
): ClosureTimes {
  const soonestAt = after(out.earliest, thresholds['closure-soonest'])
  return {
    leaveBy: travel === undefined || travel === 'unsure' ? out.earliest : before(soonestAt, travelLongest(travel)),
    soonestAt,
    latestAt: after(out.earliest, thresholds['closure-latest']),
    overdueAt: after(out.earliest, thresholds['closure-overdue']),
  }
}

const travelLongest = (travel: Length): Milliseconds => milliseconds(travel.atMostMs)

/** The band at `at`; each begins at its instant (inclusive). */
export function closureOf(times: ClosureTimes, at: Instant): ClosureBand {
  if (at >= times.overdueAt) return 'overdue'
  if (at >= times.latestAt) return 'past-latest'
  return at >= times.leaveBy ? 'leave-now' : 'time-left'
}

/** The next instant after `at` at which the band changes; undefined once overdue. */
export function nextCrossing(times: ClosureTimes, at: Instant): Instant | undefined {
  return [times.leaveBy, times.latestAt, times.overdueAt].sort((a, b) => a - b).find(crossing => crossing > at)
}

/** Whether one who leaves at `at` and takes the longest time is there by the latest (inclusive). */
export function reachOf(out: Between, travel: Length, thresholds: Thresholds, at: Instant): 'in-time' | 'not-in-time' {
  return after(at, travelLongest(travel)) <= after(out.earliest, thresholds['closure-latest'])
    ? 'in-time'
    : 'not-in-time'
}

/** When a family that left at `leftAt` is expected. */
export function arrivalOf(leftAt: Instant, travel: Length): Between {
  return { earliest: after(leftAt, milliseconds(travel.atLeastMs)), latest: after(leftAt, travelLongest(travel)) }
}
