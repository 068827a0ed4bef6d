import { mkdirSync, readFileSync, statSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { CALENDAR_BYTES_MOST } from '../calendar/lines.ts'
import type { CalendarRead } from '../calendar/read.ts'
import { calendarText } from '../calendar/write.ts'
import { type CalendarCopy, copyText } from '../config/calendar-copy.ts'
import { CalendarRefused } from '../config/calendar-refused.ts'
import { clinicHash } from '../config/clinic-edits.ts'
import type { LoadedClinic } from '../config/clinic-file.ts'
import { saveClinic, writeWhole } from '../config/clinic-save.ts'
import { isFeedAddress } from '../config/clinic-shapes.ts'
import { oneLine, withItem } from '../config/yaml-splice.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { stretches } from '../oncall/timeline.ts'
import { after, days, type Instant } from '../time/instant.ts'
import { readApart } from './calendar-apart.ts'
import { CalendarUnreachable, fetchCalendar } from './calendar-fetch.ts'
import { CalledWrongly, complain, print } from './command.ts'
import { isoText, momentText, nameOf } from './rota-words.ts'

const DAYS_SHOWN = 14
const FETCH_MS = 30_000

export interface ImportAsked {
  readonly clinicDir: string
  readonly loaded: LoadedClinic
  readonly clinic: Clinic
  readonly role: string
  /** A file, or an https address. */
  readonly source: string
  readonly ignores: readonly string[]
  readonly at: Instant
  readonly yes: boolean
  readonly json: boolean
}

/** Shows the next 14 days as a calendar would have them; with `yes` puts it in force. Answers with the exit code. */
export async function importCalendar(asked: ImportAsked): Promise<number> {
  const { clinic, role, source, at, json } = asked
  if (!Object.hasOwn(clinic.rota.roles, role))
    throw new CalledWrongly(`--role ${role}: one of ${Object.keys(clinic.rota.roles).join(', ')} was expected`)
  const ignores = [...new Set([...asked.ignores, ...(knownOf(asked)?.ignores ?? [])])]
  let read: CalendarRead
  try {
    const text = await textAt(source)
    read = await readApart({ text, clinic, role, source, ignores, at })
  } catch (cause) {
    if (!(cause instanceof CalendarRefused) && !(cause instanceof CalendarUnreachable)) throw cause
    const place = cause instanceof CalendarRefused ? `${source}:${cause.line} ${cause.code}` : source
    if (json) print(JSON.stringify({ written: false, refused: `${place}: ${cause.message}` }))
    else complain(`${place}: ${cause.message}. Nothing is changed.`)
    return 1
  }
  const isClear = read.strangers.length === 0
  const written = asked.yes && isClear && putInForce(asked, read.copy, ignores)
  if (json) print(JSON.stringify(documentOf(asked, read, written)))
  else tell(asked, read, written)
  return isClear && (!asked.yes || written) ? 0 : 1
}

const knownOf = ({ loaded, role }: ImportAsked) => loaded.calendars.find(one => one.role === role)

async function textAt(source: string): Promise<string> {
  if (/^[a-z]+:\/\//i.test(source)) {
    if (!isFeedAddress(source))
      throw new CalledWrongly(`${source}: a file or an address that starts with https:// was expected`)
    return fetchCalendar(source, AbortSignal.timeout(FETCH_MS))
  }
  let bytes: Buffer
  try {
    if (statSync(source).size > CALENDAR_BYTES_MOST)
      throw new CalendarRefused(
        'CALENDAR_TOO_LARGE',
        `more than ${CALENDAR_BYTES_MOST / 1_000_000} MB; expected a rota`,
      )
    bytes = readFileSync(source)
  } catch (cause) {
    if (cause instanceof CalendarRefused) throw cause
    throw new CalledWrongly(`${source}: a calendar file that can be read was expected`)
  }
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch {
    throw new CalendarRefused('CALENDAR_UNREADABLE', 'it is not UTF-8')
  }
}

/** The rota of the role as it would be. */
function asItWouldBe(asked: ImportAsked, copy: CalendarCopy): Clinic {
  const { clinic, role } = asked
  const file = knownOf(asked)?.file ?? fileOf(role)
  const others = (clinic.rota.calendar ?? []).filter(one => one.role !== role)
  const shifts = copy.shifts.map(one => ({ role, who: one.who, startsAt: one.from, endsAt: one.until, calendar: file }))
  return { ...clinic, rota: { ...clinic.rota, calendar: [...others, ...shifts] } }
}

const fileOf = (role: string): string => `calendars/${role}.json`

function daysAhead(asked: ImportAsked, copy: CalendarCopy) {
  return stretches(asItWouldBe(asked, copy), asked.role, asked.at, after(asked.at, days(DAYS_SHOWN)))
}

function documentOf(asked: ImportAsked, { copy, strangers, notes }: CalendarRead, written: boolean) {
  return {
    written,
    role: asked.role,
    shifts: copy.shifts.length,
    zones: copy.zones,
    knownUntil: isoText(copy.knownUntil),
    notes,
    strangers,
    next14Days: daysAhead(asked, copy).map(({ from, until, duty }) => ({
      ...{ from: isoText(from), until: isoText(until) },
      who: duty?.who ?? null,
      because: duty?.by ?? null,
    })),
  }
}

function tell(asked: ImportAsked, { copy, strangers, notes }: CalendarRead, written: boolean): void {
  const { clinic, at, role } = asked
  print(`${role}, the next ${DAYS_SHOWN} days as they would be with this calendar:`)
  for (const { from, until, duty } of daysAhead(asked, copy)) {
    const who =
      duty === undefined
        ? 'NOBODY'
        : `${nameOf(clinic, duty.who)}${duty.by === 'calendar' ? '' : ' (not from this calendar)'}`
    print(`  ${momentText(clinic, from, at)} until ${momentText(clinic, until, at)}: ${who}`)
  }
  print(`${copy.shifts.length} shifts in all; nothing is known after ${momentText(clinic, copy.knownUntil, at)}.`)
  for (const note of notes) print(`Note: ${note}.`)
  for (const { names, ids, line, count } of strangers) {
    const said = names.length === 0 ? 'an event without a title' : names.map(one => `"${one}"`).join(', ')
    const why = ids.length === 0 ? 'stands for nobody' : `stands for more than one: ${ids.join(', ')}`
    complain(
      `${asked.source}:${line} CALENDAR_WHO: ${said} ${why} (${count} shift${count === 1 ? '' : 's'}); expected a name, mail address or known-as of one person or desk, or --ignore TITLE for what is no shift`,
    )
  }
  if (strangers.length > 0) print('Nothing is written: each shift must be somebody’s.')
  else if (written) print('Written: it counts from now on.')
  else if (!asked.yes)
    print(
      'Nothing is written yet. Look at these days with whoever keeps the calendar; the same with --yes puts it in force.',
    )
}

/** Writes the copy, then names it in the clinic's file where it is not yet. */
function putInForce(asked: ImportAsked, copy: CalendarCopy, ignores: readonly string[]): boolean {
  const { clinicDir, role, source } = asked
  const known = knownOf(asked)
  const from = isFeedAddress(source) ? source : undefined
  const file = join(clinicDir, 'clinic.yaml')
  const text = readFileSync(file, 'utf8')
  if (known !== undefined && (known.from !== from || known.ignores.join('\n') !== ignores.join('\n'))) {
    const told = `The clinic file has another calendar for "${role}", or ignores other titles. Correct or remove its line under "calendars", then import again.`
    complain(told)
    return false
  }
  const target = join(clinicDir, known?.file ?? fileOf(role))
  mkdirSync(dirname(target), { recursive: true })
  writeWhole(target, copyText(copy), 0o640)
  if (known !== undefined) return true
  const line = {
    'on-call': role,
    shifts: fileOf(role),
    ...(from === undefined ? {} : { from }),
    ...(ignores.length === 0 ? {} : { ignores }),
  }
  return saveClinic(file, withItem(text, 'calendars', oneLine(line, ['from'])), clinicHash(text)).kind === 'saved'
}

/** Prints who is on call in a role as an iCalendar text. */
export function exportCalendar(clinic: Clinic, role: string, at: Instant, count: number): number {
  if (!Object.hasOwn(clinic.rota.roles, role))
    throw new CalledWrongly(`--role ${role}: one of ${Object.keys(clinic.rota.roles).join(', ')} was expected`)
  process.stdout.write(calendarText(clinic, role, at, after(at, days(count)), at))
  return 0
}
