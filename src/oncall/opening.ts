import type { Instant } from '../time/instant.ts'
import type { Clinic, OpenSpan } from './clinic.ts'
import { blockEnd, instantsOf, wallTimeAt, weekdayOf } from './wall-time.ts'

/**
 * Opening hours as instants. On a clock-change night the narrower reading is taken (opens at the later instant, closes
 * at the earlier): a family is never told the clinic is open when it may not be.
 */
export interface OpenBetween {
  /** Inclusive. */
  readonly opensAt: Instant
  /** Exclusive. */
  readonly closesAt: Instant
}

const DAYS_LOOKED_AHEAD = 400

/** Opening spans that start on one local day: the date's own where it has one, else the weekday's. */
function spansOn(clinic: Clinic, day: number): readonly OpenSpan[] {
  return clinic.opening.dates[day] ?? clinic.opening.weekly[weekdayOf(day)]
}

/** By clinic as it is read: each message asks for the same few days. A file that is changed while the line runs gives another clinic. */
const remembered = new WeakMap<Clinic, Map<number, readonly OpenBetween[]>>()
/** Days remembered of a clinic, at most. */
const REMEMBERED_MOST = 1_000

function openingsOn(clinic: Clinic, day: number): readonly OpenBetween[] {
  const days = remembered.get(clinic) ?? new Map<number, readonly OpenBetween[]>()
  remembered.set(clinic, days)
  const known = days.get(day)
  if (known !== undefined) return known
  if (days.size >= REMEMBERED_MOST) days.clear()
  const openings = openingsWorkedOut(clinic, day)
  days.set(day, openings)
  return openings
}

function openingsWorkedOut(clinic: Clinic, day: number): readonly OpenBetween[] {
  return spansOn(clinic, day)
    .map(({ from, to }) => ({
      opensAt: instantsOf(clinic.zone, { day, minute: from }).later,
      closesAt: instantsOf(clinic.zone, blockEnd(day, from, to)).earlier,
    }))
    .filter(({ opensAt, closesAt }) => closesAt > opensAt)
    .sort((a, b) => a.opensAt - b.opensAt)
}

/** Whether the clinic is open at an instant. */
export function isOpen(clinic: Clinic, at: Instant): boolean {
  const { day } = wallTimeAt(clinic.zone, at)
  return [day - 1, day].some(day =>
    openingsOn(clinic, day).some(({ opensAt, closesAt }) => opensAt <= at && at < closesAt),
  )
}

/** The first instant at or after `at` when the clinic is open: `at` itself when it is; undefined when none in 400 days. */
export function nextOpening(clinic: Clinic, at: Instant): Instant | undefined {
  if (isOpen(clinic, at)) return at
  const { day: today } = wallTimeAt(clinic.zone, at)
  for (let day = today; day <= today + DAYS_LOOKED_AHEAD; day++) {
    const next = openingsOn(clinic, day).find(({ opensAt }) => opensAt > at)
    if (next !== undefined) return next.opensAt
  }
  return undefined
}

/** Openings that start on local days from that of `from` to that of `until`, in order. */
export function openingsBetween(clinic: Clinic, from: Instant, until: Instant): readonly OpenBetween[] {
  const first = wallTimeAt(clinic.zone, from).day - 1
  const last = wallTimeAt(clinic.zone, until).day
  const found: OpenBetween[] = []
  for (let day = first; day <= last; day++) found.push(...openingsOn(clinic, day))
  return found
}
