import { DateTime, IANAZone } from 'luxon'
import { type Instant, instant } from './instant.ts'

/**
 * Local clock readings in a named zone. The host's own zone never matters, and no rule depends on today's season: a
 * reading that happens twice gives both instants, one that is skipped gives none. Zone rules come from the runtime's copy
 * of the IANA tz database.
 */

/** A calendar day; month from 1. */
export interface LocalDate {
  readonly year: number
  readonly month: number
  readonly day: number
}

/** A local clock reading, to the minute. */
export interface LocalParts extends LocalDate {
  readonly hour: number
  readonly minute: number
}

const MINUTE_MS = 60_000
const HOUR_MS = 3_600_000

/** Offsets a zone remembers, at most. */
const OFFSETS_MOST = 20_000

/**
 * A zone that remembers the offsets it was asked for: working one out is most of what a clock time costs. Since 1970 offsets
 * have changed at whole minutes only (IANA tz database, file theory.html; from memory), so a minute has one.
 */
class RememberingZone extends IANAZone {
  readonly #offsets = new Map<number, number>()

  override offset(at: number): number {
    const minute = Math.floor(at / MINUTE_MS)
    const known = this.#offsets.get(minute)
    if (known !== undefined) return known
    const offset = super.offset(at)
    if (this.#offsets.size >= OFFSETS_MOST) this.#offsets.clear()
    this.#offsets.set(minute, offset)
    return offset
  }
}

const zones = new Map<string, IANAZone>()

/** Throws `RangeError` for a zone that the tz database does not know. */
function zoneOf(name: string): IANAZone {
  const known = zones.get(name)
  if (known !== undefined) return known
  const zone = new RememberingZone(name)
  if (!zone.isValid) throw new RangeError(`unknown zone "${name}"; expected an IANA name such as Europe/London`)
  zones.set(name, zone)
  return zone
}

/** What the zone's clock shows at an instant; seconds are dropped. */
export function localParts(at: Instant, zone: string): LocalParts {
  const { year, month, day, hour, minute } = DateTime.fromMillis(at, { zone: zoneOf(zone) })
  return { year, month, day, hour, minute }
}

/** Whether there is such a calendar day. */
export function isDate({ year, month, day }: LocalDate): boolean {
  return DateTime.fromObject({ year, month, day }, { zone: 'utc' }).isValid
}

/** A calendar day `days` later (or earlier), counted on the calendar. */
export function dayShifted({ year, month, day }: LocalDate, days: number): LocalDate {
  return partsOfUtc(DateTime.fromObject({ year, month, day }, { zone: 'utc' }).plus({ days }))
}

/** The same day of the month `months` later (or earlier); the last day where the month is shorter. */
export function monthShifted({ year, month, day }: LocalDate, months: number): LocalDate {
  return partsOfUtc(DateTime.fromObject({ year, month, day }, { zone: 'utc' }).plus({ months }))
}

function partsOfUtc({ year, month, day }: DateTime): LocalDate {
  return { year, month, day }
}

/** Days from 1970-01-01 on the calendar; for comparing and subtracting days. */
export function dayNumber({ year, month, day }: LocalDate): number {
  return Math.round(Date.UTC(year, month - 1, day) / 86_400_000)
}

/** 1 Monday to 7 Sunday. */
export function weekdayOf(date: LocalDate): number {
  return ((((dayNumber(date) + 3) % 7) + 7) % 7) + 1
}

/** The instants at which the clock shows this: one; two when the clock went back over it; none when it was skipped. */
export function localInstants(parts: LocalParts, zone: string): readonly Instant[] {
  const local = Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute)
  const found = nearbyOffsets(local, zone)
    .map(offset => local - offset)
    .filter(at => zoneOf(zone).offset(at) * MINUTE_MS === local - at)
  return [...new Set(found)].sort((a, b) => a - b).map(instant)
}

/** The instant at which the clock went forward over a skipped reading. For a reading that was not skipped: that instant. */
export function skippedInstant(parts: LocalParts, zone: string): Instant {
  const local = Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute)
  const offsetAt = (at: number): number => zoneOf(zone).offset(at) * MINUTE_MS
  const offsetBefore = offsetAt(local - 24 * HOUR_MS)
  let isBefore = local - offsetAt(local + 24 * HOUR_MS)
  let isAfter = local - offsetBefore
  while (isAfter - isBefore > 1) {
    const middle = Math.floor((isBefore + isAfter) / 2)
    if (offsetAt(middle) === offsetBefore) isBefore = middle
    else isAfter = middle
  }
  return instant(isAfter)
}

/** Offsets, in milliseconds east of UTC, that hold within a day and a bit of a local reading. */
function nearbyOffsets(local: number, zone: string): readonly number[] {
  return [-26, -12, 0, 12, 26].map(hours => zoneOf(zone).offset(local + hours * HOUR_MS) * MINUTE_MS)
}

/** The first instant of a calendar day: midnight, or the clock change that went over it. */
export function dayStart(date: LocalDate, zone: string): Instant {
  const midnight = { ...date, hour: 0, minute: 0 }
  return localInstants(midnight, zone)[0] ?? skippedInstant(midnight, zone)
}

/** The last millisecond of a calendar day. */
export function dayEnd(date: LocalDate, zone: string): Instant {
  return instant(dayStart(dayShifted(date, 1), zone) - 1)
}
