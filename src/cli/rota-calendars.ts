import { readFileSync, statSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { DAYS_SHOWN, daysAhead, withCalendar } from '../calendar/as-it-would-be.ts'
import { CALENDAR_BYTES_MOST } from '../calendar/lines.ts'
import { type CalendarRead, isWhole } from '../calendar/read.ts'
import { calendarText } from '../calendar/write.ts'
import type { CalendarCopy } from '../config/calendar-copy.ts'
import { besideWith, calendarFile } from '../config/calendar-edits.ts'
import { removeUnnamed, writeCalendar } from '../config/calendar-files.ts'
import { CalendarRefused } from '../config/calendar-refused.ts'
import { type ClinicEdit, clinicHash, editClinic } from '../config/clinic-edits.ts'
import type { LoadedClinic } from '../config/clinic-file.ts'
import { saveClinic } from '../config/clinic-save.ts'
import { isFeedAddress } from '../config/clinic-shapes.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { after, days, type Instant } from '../time/instant.ts'
import { readApart } from './calendar-apart.ts'
import { CalendarUnreachable, fetchCalendar } from './calendar-fetch.ts'
import { CalledWrongly, complain, print } from './command.ts'
import { isoText, momentText, nameOf } from './rota-words.ts'

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
  const written = asked.yes && isWhole(read) && putInForce(asked, read.copy, ignores)
  const wouldBe = withCalendar(clinic, read.copy, calendarFile(read.copy))
  if (json) print(JSON.stringify(documentOf(asked, read, wouldBe, written)))
  else tell(asked, read, wouldBe, written)
  return isWhole(read) && (!asked.yes || written) ? 0 : 1
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

const strangerText = ({ names, ids, count }: CalendarRead['strangers'][number]): string => {
  const said = names.length === 0 ? 'an event without a title' : names.map(one => `"${one}"`).join(', ')
  const why = ids.length === 0 ? 'stands for nobody' : `stands for more than one: ${ids.join(', ')}`
  return `${said} ${why} (${count} shift${count === 1 ? '' : 's'}); expected a name, mail address or known-as of one person or desk, or --ignore TITLE for what is no shift`
}

function notesOf({ wholeDays, withoutZone }: CalendarRead, { zone }: Clinic): readonly string[] {
  return [
    ...(wholeDays === 0 ? [] : [`${wholeDays} of its events are whole days: from midnight to midnight in ${zone}`]),
    ...(withoutZone === 0 ? [] : [`${withoutZone} of its events name no zone: read in ${zone}`]),
  ]
}

function documentOf({ role, at }: ImportAsked, read: CalendarRead, clinic: Clinic, written: boolean) {
  const { copy, strangers, unread } = read
  return {
    ...{ written, role, shifts: copy.shifts.length, zones: copy.zones },
    knownUntil: isoText(copy.knownUntil),
    notes: notesOf(read, clinic),
    ...{ strangers, unread },
    next14Days: daysAhead(clinic, role, at).map(({ from, until, duty }) => ({
      ...{ from: isoText(from), until: isoText(until) },
      who: duty?.who ?? null,
      because: duty?.by ?? null,
    })),
  }
}

function tell({ at, role, source, yes }: ImportAsked, read: CalendarRead, clinic: Clinic, written: boolean): void {
  const { copy, strangers, unread } = read
  print(`${role}, the next ${DAYS_SHOWN} days as they would be with this calendar:`)
  for (const { from, until, duty } of daysAhead(clinic, role, at)) {
    const who =
      duty === undefined
        ? 'NOBODY'
        : `${nameOf(clinic, duty.who)}${duty.by === 'calendar' ? '' : ' (not from this calendar)'}`
    print(`  ${momentText(clinic, from, at)} until ${momentText(clinic, until, at)}: ${who}`)
  }
  print(`${copy.shifts.length} shifts in all; nothing is known after ${momentText(clinic, copy.knownUntil, at)}.`)
  for (const note of notesOf(read, clinic)) print(`Note: ${note}.`)
  for (const one of unread) complain(`${source}:${one.line} ${one.code}: ${one.message}`)
  for (const one of strangers) complain(`${source}:${one.line} CALENDAR_WHO: ${strangerText(one)}`)
  if (!isWhole(read)) print('Nothing is written: each event must be a shift of somebody.')
  else if (written) print('Written: it counts from now on.')
  else if (!yes)
    print(
      'Nothing is written yet. Look at these days with whoever keeps the calendar; the same with --yes puts it in force.',
    )
}

/** Puts a calendar in force, in place of the one its role has. */
function putInForce(asked: ImportAsked, copy: CalendarCopy, ignores: readonly string[]): boolean {
  const { clinicDir, role, source, at } = asked
  const file = join(clinicDir, 'clinic.yaml')
  const text = readFileSync(file, 'utf8')
  const from = isFeedAddress(source) ? { from: source } : {}
  const edit: ClinicEdit = { kind: 'calendar', role, file: calendarFile(copy), ...from, ignores }
  const beside = besideWith(name => readFileSync(resolve(clinicDir, name)), copy)
  const edited = editClinic({ ...{ file, text, edit, at, beside }, seen: clinicHash(text) })
  if (edited.kind !== 'edited') {
    complain(edited.because)
    return false
  }
  writeCalendar(clinicDir, copy)
  const isSaved = saveClinic(file, edited.text, edited.basedOn).kind === 'saved'
  removeUnnamed(clinicDir, role, [readFileSync(file, 'utf8')])
  if (!isSaved) complain('Somebody else changed the file meanwhile. Nothing was written: run it again.')
  return isSaved
}

/** Prints who is on call in a role as an iCalendar text. */
export function exportCalendar(clinic: Clinic, role: string, at: Instant, count: number): number {
  if (!Object.hasOwn(clinic.rota.roles, role))
    throw new CalledWrongly(`--role ${role}: one of ${Object.keys(clinic.rota.roles).join(', ')} was expected`)
  process.stdout.write(calendarText(clinic, role, at, after(at, days(count)), at))
  return 0
}
