import { RRuleTemporal } from 'rrule-temporal'
import { type CalendarCode, CalendarRefused } from '../config/calendar-refused.ts'
import type { Instant } from '../time/instant.ts'
import { type CalendarComponent, type CalendarProperty, plainText, propertiesNamed, propertyNamed } from './lines.ts'
import {
  type CalendarTime,
  durationIn,
  endInstant,
  minutesAfter,
  startInstant,
  timeIn,
  timesIn,
  wallIn,
  wallMinutes,
  wallOf,
} from './times.ts'

/**
 * Events of a calendar as shifts, worked out to instants for a stretch of time. Recurrence is reckoned on the wall clock of
 * the event's own zone, and each wall time then read by the rota's own rule for the nights the clocks change: cover overlaps,
 * it never leaves a gap. (A reckoning with instants leaves out a shift that begins in the hour that is skipped.)
 */

export interface CalendarEventShift {
  readonly from: Instant
  readonly until: Instant
  /** Whose it may be, in the calendar's words: the title, and whoever is invited. */
  readonly names: readonly string[]
  /** Line of the event. */
  readonly line: number
}

export interface CalendarEvents {
  readonly shifts: readonly CalendarEventShift[]
  /** Zones its times are written in. */
  readonly zones: readonly string[]
  /** Events that last whole days; events written without a zone. Both are read on the clinic's clock. */
  readonly wholeDays: number
  readonly withoutZone: number
  /** Events that cannot be understood as they were meant: a calendar that has one does not count. */
  readonly unread: readonly UnreadEvent[]
}

export interface UnreadEvent {
  readonly code: CalendarCode
  /** Why, in English, for the command. */
  readonly message: string
  /** Line of what cannot be read. */
  readonly line: number
  /** What stands there. */
  readonly quoted?: string | undefined
  /** Its title, and whoever is invited. */
  readonly names: readonly string[]
}

const SHIFTS_MOST = 20_000
/** A shift may last so long, in minutes: a month and a day. */
const LONGEST_MINUTES = 32 * 1440
/** Steps a rule may be walked: a daily rule of two centuries. */
const STEPS_MOST = 75_000
const REFUSED_RULES = /FREQ=(SECONDLY|MINUTELY|HOURLY)|RSCALE|SKIP=/i

/**
 * Shifts that touch [from, until). Throws `CalendarRefused` where there are more than any rota has.
 *
 * @param isShift  whether an event of these names is one; the others are passed over, readable or not
 */
export function eventShifts(
  calendar: CalendarComponent,
  given: { readonly zone: string; readonly from: Instant; readonly until: Instant },
  isShift: (names: readonly string[]) => boolean = () => true,
): CalendarEvents {
  const unread: UnreadEvent[] = []
  const components = calendar.components.filter(one => one.name === 'VEVENT' && isShift(namesIn(one)))
  const events = components.flatMap(one => read(namesIn(one), () => [eventOf(one, given.zone)]))
  const zones = new Set(events.flatMap(one => [one.start.zone]))
  const shifts: CalendarEventShift[] = []
  const overrides = Map.groupBy(
    events.filter(one => one.replaces !== undefined),
    ({ uid }) => uid,
  )
  for (const event of events) {
    if (event.replaces !== undefined) {
      if (!event.isCancelled) shifts.push(shiftOf(event, event.start))
      continue
    }
    if (event.isCancelled) continue
    const replaced = new Set((overrides.get(event.uid) ?? []).map(one => wallKey(event, one.replaces)))
    for (const start of read(event.names, () => startsOf(event, given))) {
      if (!replaced.has(wallMinutes(start.wall))) shifts.push(shiftOf(event, start))
    }
    if (shifts.length > SHIFTS_MOST) {
      const told = `more than ${SHIFTS_MOST} shifts in the coming time; expected a rota of one role`
      throw new CalendarRefused('CALENDAR_TOO_LARGE', told, event.line)
    }
  }
  const within = shifts.filter(one => one.until > given.from && one.from < given.until && one.until > one.from)
  return {
    shifts: within.toSorted((a, b) => a.from - b.from || a.line - b.line),
    zones: [...zones].toSorted(),
    wholeDays: events.filter(({ start }) => start.kind === 'date').length,
    withoutZone: events.filter(({ start }) => start.kind === 'floating').length,
    unread,
  }

  function read<Of>(names: readonly string[], of: () => readonly Of[]): readonly Of[] {
    try {
      return of()
    } catch (cause) {
      if (!(cause instanceof CalendarRefused)) throw cause
      const { code, message, line, quoted } = cause
      unread.push({ code, message, line, names, ...(quoted === undefined ? {} : { quoted }) })
      return []
    }
  }
}

interface CalendarEvent {
  readonly uid: string
  readonly line: number
  readonly start: CalendarTime
  /** From start to end on the wall clock, or a length of time. */
  readonly lasts: { readonly wallMinutes: number } | { readonly days: number; readonly minutes: number }
  readonly endZone: string
  readonly rule?: CalendarProperty
  readonly added: readonly CalendarTime[]
  readonly left: readonly CalendarTime[]
  readonly replaces?: CalendarTime
  readonly isCancelled: boolean
  readonly names: readonly string[]
}

function eventOf(component: CalendarComponent, clinicZone: string): CalendarEvent {
  const { line } = component
  const starts = propertyNamed(component, 'DTSTART')
  if (starts === undefined) throw new CalendarRefused('CALENDAR_TIME', 'an event without DTSTART', line)
  const start = timeIn(starts.value, starts, clinicZone)
  const rules = propertiesNamed(component, 'RRULE')
  const refused = [propertyNamed(component, 'EXRULE'), rules[1]].find(one => one !== undefined)
  if (refused !== undefined)
    throw new CalendarRefused('CALENDAR_RULE', `a second rule (${refused.name}) in one event`, refused.line)
  const replaces = propertyNamed(component, 'RECURRENCE-ID')
  if (replaces?.parameters.has('RANGE') === true) {
    const told = 'RANGE=THISANDFUTURE: a change of all later shifts at once. Write it as a series of its own'
    throw new CalendarRefused('CALENDAR_RULE', told, replaces.line)
  }
  const times = (name: string) => propertiesNamed(component, name).flatMap(one => timesIn(one, clinicZone))
  const [rule] = rules
  return {
    uid: propertyNamed(component, 'UID')?.value.trim() ?? `line ${line}`,
    line,
    start,
    ...lengthOf(component, start, clinicZone),
    ...(rule === undefined ? {} : { rule }),
    added: times('RDATE'),
    left: times('EXDATE'),
    ...(replaces === undefined ? {} : { replaces: timeIn(replaces.value, replaces, clinicZone) }),
    isCancelled: propertyNamed(component, 'STATUS')?.value.trim().toUpperCase() === 'CANCELLED',
    names: namesIn(component),
  }
}

/** DTEND, or DURATION, or for a date the whole day (section 3.6.1). */
function lengthOf(
  component: CalendarComponent,
  start: CalendarTime,
  clinicZone: string,
): Pick<CalendarEvent, 'lasts' | 'endZone'> {
  const ends = propertyNamed(component, 'DTEND')
  const lasting = propertyNamed(component, 'DURATION')
  const refuse = (told: string, line: number) => new CalendarRefused('CALENDAR_TIME', told, line)
  if (ends !== undefined) {
    const end = timeIn(ends.value, ends, clinicZone)
    const minutes = wallMinutes(wallIn(start.zone, end)) - wallMinutes(start.wall)
    if (endInstant(end) <= startInstant(start)) throw refuse('an event that does not end after it starts', ends.line)
    if (minutes > LONGEST_MINUTES) throw refuse('an event longer than a month: expected a shift', ends.line)
    // Where the end is written in another zone, its own clock says when it comes.
    return { lasts: { wallMinutes: wallMinutes(end.wall) - wallMinutes(start.wall) }, endZone: end.zone }
  }
  if (lasting === undefined) {
    if (start.kind === 'date') return { lasts: { days: 1, minutes: 0 }, endZone: start.zone }
    throw refuse('an event without an end', component.line)
  }
  const length = durationIn(lasting.value)
  if (length === undefined || length.days + length.minutes === 0)
    throw refuse(`"${lasting.value.slice(0, 40)}" is no duration of a shift`, lasting.line)
  if (length.days * 1440 + length.minutes > LONGEST_MINUTES)
    throw refuse('an event longer than a month: expected a shift', lasting.line)
  return { lasts: length, endZone: start.zone }
}

/** Titles and people of an event; whoever only sent it is not among them. */
function namesIn(component: CalendarComponent): readonly string[] {
  const title = propertyNamed(component, 'SUMMARY')
  const invited = propertiesNamed(component, 'ATTENDEE').flatMap(one => [
    one.value,
    ...(one.parameters.get('CN') ?? []),
  ])
  return [...(title === undefined ? [] : [plainText(title.value)]), ...invited]
    .map(one => one.trim())
    .filter(one => one !== '')
}

function shiftOf(event: CalendarEvent, start: CalendarTime): CalendarEventShift {
  const { lasts, endZone, names, line } = event
  const from = startInstant(start)
  if ('wallMinutes' in lasts) {
    const end = { zone: endZone, wall: wallOf(wallMinutes(start.wall) + lasts.wallMinutes) }
    return { from, until: endInstant(end), names, line }
  }
  const end = endInstant({ zone: start.zone, wall: wallOf(wallMinutes(start.wall) + lasts.days * 1440) })
  return { from, until: minutesAfter(end, lasts.minutes), names, line }
}

const wallKey = ({ start }: CalendarEvent, time: CalendarTime | undefined): number | undefined =>
  time === undefined
    ? undefined
    : wallMinutes(time.kind === 'date' ? { ...time.wall, minute: start.wall.minute } : wallIn(start.zone, time))

/** Every start of an event that may touch the stretch, without those left out. */
function startsOf(
  event: CalendarEvent,
  given: { readonly from: Instant; readonly until: Instant },
): readonly CalendarTime[] {
  const { start, added, left } = event
  const out = new Set(left.map(one => wallKey(event, one)))
  const walls = new Set<number>()
  if (event.rule === undefined) walls.add(wallMinutes(start.wall))
  else for (const one of ruleWalls(event, event.rule, given)) walls.add(one)
  for (const one of added) walls.add(wallKey(event, one) ?? Number.NaN)
  return [...walls].filter(one => !out.has(one)).map(one => ({ ...start, wall: wallOf(one) }))
}

/** The starts a rule gives, in minutes of the wall clock: reckoned as if the zone had no clock changes. */
function ruleWalls(
  event: CalendarEvent,
  rule: CalendarProperty,
  { from, until }: { readonly from: Instant; readonly until: Instant },
): readonly number[] {
  const refuse = (told: string) =>
    new CalendarRefused('CALENDAR_RULE', `${told}: "${rule.value.slice(0, 80)}"`, rule.line)
  if (REFUSED_RULES.test(rule.value)) throw refuse('a rule that no rota has')
  const margin = LONGEST_MINUTES + 2 * 1440
  const near = (at: Instant, by: number) =>
    new Date(
      (wallMinutes(wallIn(event.start.zone, { zone: 'UTC', kind: 'zoned', wall: wallOf(Math.floor(at / 60_000)) })) +
        by) *
        60_000,
    )
  const startText = stamp(wallMinutes(event.start.wall))
  try {
    const text = `DTSTART;TZID=UTC:${startText}\nRRULE:${ruleOnWall(event, rule)}`
    const found = new RRuleTemporal({ rruleString: text, maxIterations: STEPS_MOST, includeDtstart: true })
      .between(near(from, -margin), near(until, margin), true)
      .map(({ epochMilliseconds }) => epochMilliseconds / 60_000)
    return found
  } catch (cause) {
    throw refuse(
      cause instanceof Error
        ? (cause.message.split('\n')[0] ?? 'a rule that cannot be read')
        : 'a rule that cannot be read',
    )
  }
}

/** The rule with its UNTIL on the wall clock of the event. */
function ruleOnWall(event: CalendarEvent, rule: CalendarProperty): string {
  return rule.value.trim().replace(/UNTIL=([0-9TZ]+)/i, (_all, said: string) => {
    const last = timeIn(said, { ...rule, parameters: new Map() }, event.start.zone)
    const wall = last.kind === 'date' ? { ...last.wall, minute: 1439 } : wallIn(event.start.zone, last)
    return `UNTIL=${stamp(wallMinutes(wall))}Z`
  })
}

const stamp = (minutes: number): string => new Date(minutes * 60_000).toISOString().replaceAll(/[-:]|\.\d+Z$/g, '')
