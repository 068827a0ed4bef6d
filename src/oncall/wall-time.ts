import { type Instant, instant } from '../time/instant.ts'

/**
 * Local wall time and what it means in a zone. Twice a year a wall time happens twice or not at all; then it has two
 * candidate instants, and the caller says which one it needs. Nothing depends on today's season.
 * Zone rules come from the runtime's copy of the IANA tz database.
 */

/** Minutes after local midnight, 0 to 1440; 1440 is the end of the day. */
export type MinuteOfDay = number

export const weekdays = ['monday', 'tuesday', 'wednesday', 'thursday', 'friday', 'saturday', 'sunday'] as const
export type Weekday = (typeof weekdays)[number]

/** A wall clock reading: local day number (days since 1970-01-01 on the local calendar) and minute of that day. */
export interface WallTime {
  readonly day: number
  readonly minute: MinuteOfDay
}

const DAY_MS = 86_400_000
const MINUTE_MS = 60_000

/** Local day number of a calendar date; undefined when there is no such date. Month from 1. */
export function dayNumberOf(year: number, month: number, dayOfMonth: number): number | undefined {
  if (month < 1 || month > 12 || dayOfMonth < 1 || dayOfMonth > daysIn(year, month)) return undefined
  return Date.UTC(year, month - 1, dayOfMonth) / DAY_MS
}

function daysIn(year: number, month: number): number {
  const nextMonth = month === 12 ? Date.UTC(year + 1, 0, 1) : Date.UTC(year, month, 1)
  return (nextMonth - Date.UTC(year, month - 1, 1)) / DAY_MS
}

/** 1970-01-01 was a Thursday. */
export function weekdayOf(day: number): Weekday {
  return weekdays[(((day + 3) % 7) + 7) % 7] as Weekday
}

/** Of each zone its format, offsets at the starts of UTC days, and offsets worked out within a day that has a change. */
interface Zone {
  readonly format: Intl.DateTimeFormat
  readonly ofDays: Map<number, number>
  /** By local day: the one offset that all its wall times have, or NaN where a change is near. */
  readonly steady: Map<number, number>
  readonly offsets: Map<Instant, number>
}

/** Offsets remembered of a zone within days that have a change, at most. */
const OFFSETS_MOST = 1_024
/** Days remembered of a zone, at most: a century. */
const DAYS_MOST = 36_525

const zones = new Map<string, Zone>()

function zoneOf(zone: string): Zone {
  const known = zones.get(zone)
  if (known !== undefined) return known
  const format = new Intl.DateTimeFormat('en-US', {
    timeZone: zone,
    calendar: 'gregory',
    numberingSystem: 'latn',
    hourCycle: 'h23',
    year: 'numeric',
    month: 'numeric',
    day: 'numeric',
    hour: 'numeric',
    minute: 'numeric',
    second: 'numeric',
  })
  const made: Zone = { format, ofDays: new Map(), steady: new Map(), offsets: new Map() }
  zones.set(zone, made)
  return made
}

/**
 * The zone's offset from UTC at an instant, in milliseconds, east positive. Throws `RangeError` on an unknown zone.
 * A UTC day that begins and ends with the same offset has no other: no zone changes its clocks twice within a day.
 */
export function offsetAt(zone: string, at: Instant): number {
  const known = zoneOf(zone)
  const day = Math.floor(at / DAY_MS)
  const atStart = offsetOfDay(known, day)
  if (atStart === offsetOfDay(known, day + 1)) return atStart
  const remembered = known.offsets.get(at)
  if (remembered !== undefined) return remembered
  const worked = offsetOf(known.format, at)
  if (known.offsets.size >= OFFSETS_MOST) known.offsets.clear()
  known.offsets.set(at, worked)
  return worked
}

function offsetOfDay({ format, ofDays }: Zone, day: number): number {
  const known = ofDays.get(day)
  if (known !== undefined) return known
  const worked = offsetOf(format, instant(day * DAY_MS))
  if (ofDays.size >= DAYS_MOST) ofDays.clear()
  ofDays.set(day, worked)
  return worked
}

/** The offset of every wall time of a local day, looked up once: no zone changes its clocks twice within a day. */
function steadyOffset(known: Zone, day: number): number {
  const remembered = known.steady.get(day)
  if (remembered !== undefined) return remembered
  // What is looked at for a wall time lies a day before and a day after it.
  const offsets = [-1, 0, 1, 2, 3].map(by => offsetOfDay(known, day + by))
  const [first = Number.NaN] = offsets
  const worked = offsets.every(one => one === first) ? first : Number.NaN
  if (known.steady.size >= DAYS_MOST) known.steady.clear()
  known.steady.set(day, worked)
  return worked
}

function offsetOf(format: Intl.DateTimeFormat, at: Instant): number {
  const read: Record<string, number> = {}
  for (const { type, value } of format.formatToParts(at)) read[type] = Number(value)
  const { year = 0, month = 1, day = 1, hour = 0, minute = 0, second = 0 } = read
  return Date.UTC(year, month - 1, day, hour, minute, second) - Math.floor(at / 1000) * 1000
}

/** What the wall clock of the zone shows at an instant (seconds are dropped). */
export function wallTimeAt(zone: string, at: Instant): WallTime {
  const local = at + offsetAt(zone, at)
  const day = Math.floor(local / DAY_MS)
  return { day, minute: Math.floor((local - day * DAY_MS) / MINUTE_MS) }
}

/**
 * The instants a wall time may mean: equal on all but two nights a year. A time that happens twice gives both; a time
 * that is skipped gives the readings by the offset after and by the offset before the change, which lie either side
 * of it. `earlier` is never later than `later`.
 */
export function instantsOf(zone: string, wall: WallTime): { earlier: Instant; later: Instant } {
  const local = wall.day * DAY_MS + wall.minute * MINUTE_MS
  const steady = steadyOffset(zoneOf(zone), wall.day)
  if (wall.minute >= 0 && wall.minute <= 1440 && !Number.isNaN(steady)) {
    const only = instant(local - steady)
    return { earlier: only, later: only }
  }
  const byOffsetBefore = local - offsetAt(zone, instant(local - DAY_MS))
  const byOffsetAfter = local - offsetAt(zone, instant(local + DAY_MS))
  if (byOffsetBefore === byOffsetAfter) return { earlier: instant(byOffsetBefore), later: instant(byOffsetBefore) }
  const happens = [byOffsetBefore, byOffsetAfter].filter(at => at + offsetAt(zone, instant(at)) === local)
  const readings = happens.length > 0 ? happens : [byOffsetBefore, byOffsetAfter]
  return { earlier: instant(Math.min(...readings)), later: instant(Math.max(...readings)) }
}

/** Whether a minute of the day lies in [from, to); `to` at or before `from` runs over midnight. */
export function isMinuteWithin(minute: MinuteOfDay, from: MinuteOfDay, to: MinuteOfDay): boolean {
  return to > from ? minute >= from && minute < to : minute >= from || minute < to
}

/** The wall time at which a block ends that starts on `day` at `from`: `to` at or before `from` is the next day. */
export function blockEnd(day: number, from: MinuteOfDay, to: MinuteOfDay): WallTime {
  const endsNextDay = to <= from || to === 1440
  return endsNextDay ? { day: day + 1, minute: to === 1440 ? 0 : to } : { day, minute: to }
}
