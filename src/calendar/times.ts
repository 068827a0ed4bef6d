import { CalendarRefused } from '../config/calendar-refused.ts'
import { dayNumberOf, instantsOf, type WallTime, wallTimeAt } from '../oncall/wall-time.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { CalendarProperty } from './lines.ts'
import { officeZones } from './office-zones.ts'

/** Times of a calendar (RFC 5545 sections 3.3.4 to 3.3.6, 3.3.9). Every zone must be one of the IANA database. */

/** A time as the calendar writes it: on the wall clock of a zone. UTC is a zone too. */
export interface CalendarTime {
  readonly wall: WallTime
  readonly zone: string
  readonly kind: 'date' | 'floating' | 'zoned'
}

/** The IANA zone that a TZID means; undefined where it means none. */
export function zoneMeant(tzid: string): string | undefined {
  const name = tzid.trim()
  const office = Object.hasOwn(officeZones, name) ? officeZones[name] : undefined
  // A slash in front marks a registry's own prefix (section 3.2.19): the place stands at the end.
  const tails = name.startsWith('/') ? [name.split('/').slice(-3).join('/'), name.split('/').slice(-2).join('/')] : []
  return [office, name, ...tails].find(one => one !== undefined && isZone(one))
}

const isZone = (zone: string): boolean => {
  if (!/^(UTC|[A-Za-z]+(\/[A-Za-z0-9_+-]+)+)$/.test(zone)) return false
  try {
    return new Intl.DateTimeFormat('en-US', { timeZone: zone }).resolvedOptions().timeZone !== ''
  } catch {
    return false
  }
}

/** Times of a property that may hold several, in the zone its TZID names. Throws `CalendarRefused`. */
export function timesIn(property: CalendarProperty, clinicZone: string): readonly CalendarTime[] {
  return property.value.split(',').map(one => timeIn(one.trim().split('/')[0] ?? '', property, clinicZone))
}

/** One time. A date, and a time without a zone, are read on the clock of the clinic. */
export function timeIn(text: string, property: CalendarProperty, clinicZone: string): CalendarTime {
  const read = /^(\d{4})(\d{2})(\d{2})(?:T(\d{2})(\d{2})(\d{2})(Z?))?$/.exec(text)
  const day = read === null ? undefined : dayNumberOf(Number(read[1]), Number(read[2]), Number(read[3]))
  const [hour, minute, second] = [Number(read?.[4] ?? 0), Number(read?.[5] ?? 0), Number(read?.[6] ?? 0)]
  if (read === null || day === undefined || hour > 23 || minute > 59 || second > 60) {
    const told = `"${text.slice(0, 40)}" in ${property.name} is no date or time`
    throw new CalendarRefused('CALENDAR_TIME', told, property.line, text.slice(0, 40))
  }
  if (read[4] === undefined) return { wall: { day, minute: 0 }, zone: clinicZone, kind: 'date' }
  const wall = { day, minute: hour * 60 + minute }
  if (read[7] === 'Z') return { wall, zone: 'UTC', kind: 'zoned' }
  const [tzid] = property.parameters.get('TZID') ?? []
  if (tzid === undefined) return { wall, zone: clinicZone, kind: 'floating' }
  const zone = zoneMeant(tzid)
  if (zone === undefined) {
    const told = `the zone "${tzid.slice(0, 60)}" in ${property.name} is none of the IANA time zone database: which hour is meant cannot be known`
    throw new CalendarRefused('CALENDAR_ZONE', told, property.line, tzid.slice(0, 60))
  }
  return { wall, zone, kind: 'zoned' }
}

/** Minutes of wall clock from some fixed day: for reckoning with wall times. */
export const wallMinutes = ({ day, minute }: WallTime): number => day * 1440 + minute
export const wallOf = (minutes: number): WallTime => ({
  day: Math.floor(minutes / 1440),
  minute: minutes - Math.floor(minutes / 1440) * 1440,
})

/** The same moment on the wall clock of another zone. */
export function wallIn(zone: string, time: CalendarTime): WallTime {
  return time.zone === zone ? time.wall : wallTimeAt(zone, startInstant(time))
}

/** Cover starts at the earlier instant its wall time may mean, and ends at the later one. */
export const startInstant = ({ zone, wall }: Pick<CalendarTime, 'zone' | 'wall'>): Instant =>
  instantsOf(zone, wall).earlier
export const endInstant = ({ zone, wall }: Pick<CalendarTime, 'zone' | 'wall'>): Instant => instantsOf(zone, wall).later

/** A duration such as `PT14H`, `P1D`, `P1W` (section 3.3.6): days on the calendar, and minutes of time. Undefined when it is none. */
export function durationIn(text: string): { readonly days: number; readonly minutes: number } | undefined {
  const read = /^\+?P(?:(\d+)W|(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?)$/.exec(text.trim())
  if (read === null || /^\+?PT?$/.test(text.trim())) return undefined
  const [weeks, days, hours, minutes, seconds] = read.slice(1).map(one => Number(one ?? 0))
  return { days: (weeks ?? 0) * 7 + (days ?? 0), minutes: (hours ?? 0) * 60 + (minutes ?? 0) + (seconds ?? 0) / 60 }
}

/** An instant some minutes of real time later. */
export const minutesAfter = (at: Instant, minutes: number): Instant => instant(at + minutes * 60_000)
