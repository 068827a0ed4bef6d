import { z } from 'zod'
import { nearestId } from '../flow/problem.ts'
import type { CalendarShift } from '../oncall/clinic.ts'
import { elapsed, hours, type Instant, instant, type Milliseconds } from '../time/instant.ts'
import { calendarShape } from './clinic-shapes.ts'
import { type Beside, isFileName } from './holidays.ts'
import { type PartReader, pathText, shown } from './part-reader.ts'

/**
 * The last good copy of a calendar: shifts as instants, each with the id of a person or desk, in a file in the clinic's folder.
 * What is in force is what stands there; the calendar itself is read by `rota import` and by the running bot, never at a start.
 */
export interface CalendarCopy {
  readonly version: 1
  readonly role: string
  /** Where it came from: the name of a file, or an address. */
  readonly source: string
  /** When the source was last seen to say this. */
  readonly readAt: Instant
  /** Nothing is known of the time after this. */
  readonly knownUntil: Instant
  /** Zones its times were written in. */
  readonly zones: readonly string[]
  readonly shifts: readonly { readonly from: Instant; readonly until: Instant; readonly who: string }[]
}

/** A calendar named in the clinic's file. */
export interface CalendarNamed {
  readonly role: string
  /** The file of the copy, from the clinic's folder. */
  readonly file: string
  /** Address that is looked at again and again; left out for a calendar that was read once. */
  readonly from?: string
  readonly every: Milliseconds
  /** Only the public internet is asked for it. */
  readonly onlyPublic?: boolean
  /** Titles of events that are no shifts. */
  readonly ignores: readonly string[]
  /** Undefined where it cannot be read. */
  readonly copy: CalendarCopy | undefined
}

const COPY_BYTES_MOST = 20_000_000
/** A copy of a live calendar older than this is told. */
const OLD_AFTER = hours(72)

const moment = z.iso.datetime().transform(text => instant(Date.parse(text)))
const copyShape = z.strictObject({
  version: z.literal(1),
  role: z.string(),
  source: z.string(),
  readAt: moment,
  knownUntil: moment,
  zones: z.array(z.string()),
  shifts: z
    .array(z.strictObject({ from: moment, until: moment, who: z.string() }).refine(one => one.until > one.from))
    .max(20_000),
})

/** The text of a copy, as it is kept: one shift a line, so that a person can read what changed. */
export function copyText({ shifts, ...head }: CalendarCopy): string {
  const iso = (at: Instant) => new Date(at).toISOString()
  const kept = { ...head, readAt: iso(head.readAt), knownUntil: iso(head.knownUntil) }
  const lines = shifts.map(({ from, until, who }) => `  ${JSON.stringify({ from: iso(from), until: iso(until), who })}`)
  return `${JSON.stringify(kept).slice(0, -1)},"shifts":[\n${lines.join(',\n')}\n]}\n`
}

/** A copy from its bytes; undefined where it is none, or not whole. */
export function readCopy(bytes: Uint8Array): CalendarCopy | undefined {
  if (bytes.length > COPY_BYTES_MOST) return undefined
  try {
    return copyShape.parse(JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes)))
  } catch {
    return undefined
  }
}

/** The shifts of a copy, as a rota has them. */
export const shiftsOf = ({ role, shifts }: CalendarCopy, file: string): readonly CalendarShift[] =>
  shifts.map(one => ({ role, who: one.who, startsAt: one.from, endsAt: one.until, calendar: file }))

/** The calendars of the clinic's file with their copies, and the shifts of those. */
export function calendarsIn(
  reader: PartReader,
  beside: Beside,
  at: Instant,
): { readonly named: readonly CalendarNamed[]; readonly shifts: readonly CalendarShift[] } {
  const ids = [...reader.keys(['people']), ...reader.keys(['desks'])]
  const roles = reader.keys(['rota'])
  const named: CalendarNamed[] = []
  const shifts: CalendarShift[] = []
  for (let index = 0; index < reader.count(['calendars']); index++) {
    const path = ['calendars', index]
    const read = reader.part(path, calendarShape)
    if (read === undefined) continue
    const { 'on-call': role, shifts: file, from, every, ignores = [], 'only-public': onlyPublic } = read
    if (!roles.includes(role))
      reader.report([...path, 'on-call'], 'UNKNOWN_ID', `"${role}"`, 'a role that stands under rota', {
        nearest: nearestId(role, roles),
      })
    if (!isFileName(file)) {
      const found = `${shown(file)} at ${pathText([...path, 'shifts'])}`
      reader.report([...path, 'shifts'], 'WRONG_VALUE', found, 'a file beside this one, as "rota import" writes it')
      continue
    }
    const copy = copyBeside(beside, file)
    named.push({
      ...{ role, file, every, ignores, copy },
      ...(from === undefined ? {} : { from }),
      ...(onlyPublic === true ? { onlyPublic } : {}),
    })
    if (copy === undefined || copy.role !== role) {
      const expected = `a copy of a calendar of "${role}", as "smallhours rota import" writes it`
      reader.report([...path, 'shifts'], 'CALENDAR_MISSING', `no shifts can be read from "${file}"`, expected)
      continue
    }
    const strangers = new Set(copy.shifts.filter(one => !ids.includes(one.who) && one.until > at).map(one => one.who))
    for (const id of strangers)
      reader.report(
        [...path, 'shifts'],
        'CALENDAR_STRANGER',
        `"${file}" has shifts of "${id}"`,
        'people and desks of this file: import it again',
      )
    if (from !== undefined && elapsed(copy.readAt, at) > OLD_AFTER) {
      const found = `the calendar was last read ${new Date(copy.readAt).toISOString().slice(0, 16)}Z`
      reader.report(
        [...path, 'from'],
        'CALENDAR_OLD',
        found,
        'a calendar that can be reached: what is in force may be out of date',
        {
          severity: 'warning',
        },
      )
    }
    for (const one of shiftsOf(copy, file)) shifts.push(one)
  }
  return { named, shifts }
}

function copyBeside(beside: Beside, file: string): CalendarCopy | undefined {
  try {
    return readCopy(beside(file))
  } catch {
    return undefined
  }
}
