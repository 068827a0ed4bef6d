import { readFileSync, statSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { nearestId, type Problem } from '../flow/problem.ts'
import { type PlacedYaml, readYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { days, type Instant, type Milliseconds } from '../time/instant.ts'
import { type CalendarNamed, calendarsIn } from './calendar-copy.ts'
import { reportChanges, reportCover, reportPrivateShown, reportSwaps } from './clinic-checks.ts'
import { reportIds, reportReach } from './clinic-ids.ts'
import {
  change,
  desk,
  hospital,
  idsOf,
  leave,
  numberToRing,
  opening,
  person,
  rung,
  shiftsOf,
  swap,
} from './clinic-parts.ts'
import { clinicShape } from './clinic-shapes.ts'
import { type Beside, holidaysIn, nothingBeside, reportHolidays } from './holidays.ts'
import { type PagerRoutes, pagersIn } from './pager-section.ts'
import { type PartReader, type Path, partReader } from './part-reader.ts'
import { type PhotosAllowed, photosIn } from './photos-section.ts'
import type { Settings } from './setting-definitions.ts'
import { defaultSettings } from './settings.ts'
import { readSettings } from './settings-section.ts'
import { type HospitalSignIn, signInIn } from './sign-in-section.ts'
import { type StoreRoute, storeIn } from './store-section.ts'
import { type TelegramRoute, telegramIn } from './telegram-section.ts'
import { zoneFault } from './zone.ts'

export interface LoadedClinic {
  /**
   * Undefined where any part could not be taken as written. A hole in the cover of the coming days is a problem too, but
   * leaves the clinic usable: a bot with a gap next week is better than no bot tonight.
   */
  readonly clinic: Clinic | undefined
  /** As far as it could be read, for checks beside this one; never to be served. Undefined where nothing could be read. */
  readonly asRead: Clinic | undefined
  /** The file with the places of its values; undefined where it could not be read at all. */
  readonly yaml: PlacedYaml | undefined
  readonly settings: Settings
  readonly pagers: PagerRoutes
  /** The hospital's own sign-in; left out where there is none. */
  readonly signIn?: HospitalSignIn
  /** Whether families may send photos; left out: they may not. */
  readonly photos?: PhotosAllowed
  /** The Redis that keeps the cases; left out where a file of the data folder does. */
  readonly store?: StoreRoute
  /** The clinic's bot on Telegram; left out where there is none. */
  readonly telegram?: TelegramRoute
  /** How long a closed case is kept before it is erased. */
  readonly retention: Milliseconds
  /** Calendars that give shifts. */
  readonly calendars: readonly CalendarNamed[]
  /** All of them, in the order of the file. */
  readonly problems: readonly Problem[]
}

const sections = [
  'clinic',
  'numbers',
  'hospitals',
  'people',
  'desks',
  'opening',
  'rota',
  'changes',
  'swaps',
  'leave',
  'holidays',
  'calendars',
  'ladder',
  'settings',
  'sign-offs',
  'pagers',
  'sign-in',
  'photos',
  'store',
  'telegram',
]
/** Faults of the rota that leave the rest of the clinic usable. */
const coverCodes = new Set([
  'ROTA_GAP',
  'LADDER_EMPTY',
  'SWAP_UNMATCHED',
  'HOLIDAYS_MISSING',
  'HOLIDAYS_RUN_OUT',
  'CALENDAR_MISSING',
  'CALENDAR_STRANGER',
])
/** Faults after which a hole in the cover would only be an echo of the fault. */
const unplacedCodes = new Set([
  'MISSING',
  'WRONG_VALUE',
  'UNKNOWN_KEY',
  'UNKNOWN_ID',
  'BAD_ID',
  'BAD_DATE',
  'ZONE_UNKNOWN',
  'ZONE_FIXED',
  'LADDER_MISSING',
  'NOBODY_REACHED',
])
const MOST_BYTES = 1_000_000
/** P90D: a starting point of our own, no source. What law and hospital ask is for the clinic to find out. */
const RETENTION_SHIPPED = days(90)
/** Stands where a number could not be read; the clinic is then not given out. */
const noNumber = { number: '' }

/** Reads `clinic.yaml` in a clinic's folder. Never throws: an unreadable file is a problem. */
export function loadClinic(folder: string, at: Instant): LoadedClinic {
  const file = join(folder, 'clinic.yaml')
  try {
    if (statSync(file).size > MOST_BYTES)
      return nothing(fileProblem(file, 'a file over 1 MB', 'a clinic file of at most 1 MB'))
    const text = new TextDecoder('utf-8', { fatal: true }).decode(readFileSync(file))
    const read = readClinic(file, text, at, name => readFileSync(resolve(folder, name)))
    const { signIn, store, telegram, ...rest } = read
    const secretFile = signIn?.secretFile
    return {
      ...rest,
      pagers: secretsBeside(folder, read.pagers),
      ...(signIn === undefined
        ? {}
        : { signIn: { ...signIn, ...(secretFile === undefined ? {} : { secretFile: resolve(folder, secretFile) }) } }),
      ...(store === undefined ? {} : { store: storeBeside(folder, store) }),
      ...(telegram === undefined ? {} : { telegram: { ...telegram, tokenFile: resolve(folder, telegram.tokenFile) } }),
    }
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message.split('\n')[0] : 'unreadable'
    return nothing(fileProblem(file, reason ?? 'unreadable', "a clinic's folder with a readable clinic.yaml in UTF-8"))
  }
}

/** Files of secrets are named from the clinic's folder, wherever the bot is started. */
function secretsBeside(folder: string, { smtp, webhook, sms }: PagerRoutes): PagerRoutes {
  const password = smtp?.passwordFile
  return {
    ...(smtp === undefined
      ? {}
      : { smtp: { ...smtp, ...(password === undefined ? {} : { passwordFile: resolve(folder, password) }) } }),
    ...(webhook === undefined ? {} : { webhook: { ...webhook, secretFile: resolve(folder, webhook.secretFile) } }),
    ...(sms === undefined ? {} : { sms: { ...sms, passwordFile: resolve(folder, sms.passwordFile) } }),
  }
}

function storeBeside(folder: string, { passwordFile, authorityFile, ...store }: StoreRoute): StoreRoute {
  return {
    ...store,
    ...(passwordFile === undefined ? {} : { passwordFile: resolve(folder, passwordFile) }),
    ...(authorityFile === undefined ? {} : { authorityFile: resolve(folder, authorityFile) }),
  }
}

const fileProblem = (file: string, found: string, expected: string): Problem => ({
  code: 'FILE_UNREADABLE',
  file,
  line: 1,
  column: 1,
  found,
  expected,
  severity: 'problem',
})

const nothing = (...problems: Problem[]): LoadedClinic => ({
  clinic: undefined,
  asRead: undefined,
  yaml: undefined,
  settings: defaultSettings,
  pagers: {},
  retention: RETENTION_SHIPPED,
  calendars: [],
  problems,
})

/**
 * Reads the text of a clinic file. `at` is the present: cover is checked for the 14 days from it.
 *
 * @param beside  the bytes of a file that the clinic's file names, from its folder; throws where there is none
 */
export function readClinic(file: string, text: string, at: Instant, beside: Beside = nothingBeside): LoadedClinic {
  const { yaml, problems } = readYaml(file, text)
  if (yaml === undefined) return nothing(...problems)
  const reader = partReader(yaml)
  for (const key of reader.keys([])) {
    if (sections.includes(key)) continue
    const remark = { key: true, nearest: nearestId(key, sections) }
    reader.report([key], 'UNKNOWN_KEY', `unknown key "${key}"`, `one of: ${sections.join(', ')}`, remark)
  }
  const { clinic, calendars, problems: besideProblems } = clinicIn(reader, at, beside)
  const clinicians = new Set(clinic.people.filter(one => one.clinician).map(one => one.id))
  const settings = readSettings(reader, clinicians)
  const pagers = pagersIn(reader, clinic)
  const signIn = signInIn(reader, clinic.demonstration)
  const photos = photosIn(reader)
  const store = storeIn(reader, clinic.demonstration)
  const telegram = telegramIn(reader, clinic)
  const found = [
    ...[...problems, ...reader.problems].sort((a, b) => a.line - b.line || a.column - b.column),
    ...besideProblems,
  ]
  const usable = found.every(problem => problem.severity === 'warning' || coverCodes.has(problem.code))
  const retention = clinicShape.shape.retention.safeParse(reader.valueAt(['clinic', 'retention'])).data
  return {
    clinic: usable ? clinic : undefined,
    asRead: clinic,
    yaml,
    settings,
    pagers,
    ...(signIn === undefined ? {} : { signIn }),
    ...(photos === undefined ? {} : { photos }),
    ...(store === undefined ? {} : { store }),
    ...(telegram === undefined ? {} : { telegram }),
    retention: retention ?? RETENTION_SHIPPED,
    calendars,
    problems: found,
  }
}

/** The clinic as far as it can be read, with every fault told; empty values stand where a part is at fault. */
function clinicIn(
  reader: PartReader,
  at: Instant,
  beside: Beside,
): { readonly clinic: Clinic; readonly calendars: readonly CalendarNamed[]; readonly problems: readonly Problem[] } {
  const head = reader.part(['clinic'], clinicShape)
  const demonstration =
    head?.demonstration ?? [true, 'yes'].includes(reader.valueAt(['clinic', 'demonstration']) as string | boolean)
  const zone = zoneIn(reader)
  if (head !== undefined && !demonstration && head['web-address'] === undefined) {
    reader.report(
      ['clinic', 'web-address'],
      'MISSING',
      'no web-address',
      'the https:// address families open, without which pages carry no link',
    )
  }
  const families = numberToRing(reader, ['numbers', 'families-ring'], demonstration)
  const emergency = numberToRing(reader, ['numbers', 'emergency'], demonstration)
  const transport = numberToRing(reader, ['numbers', 'transport'], demonstration)
  reportUnknownKeys(reader, ['numbers'], ['emergency', 'families-ring', 'transport'])
  const hospitals = taken(idsOf(reader, 'hospitals'), id => hospital(reader, id, demonstration))
  if (reader.keys(['hospitals']).length === 0) {
    reader.report(['hospitals'], 'HOSPITAL_MISSING', 'no hospital', 'at least one hospital to send families to')
  }
  const people = taken(idsOf(reader, 'people'), id => person(reader, id, demonstration))
  const desks = taken(idsOf(reader, 'desks'), id => desk(reader, id, demonstration))
  const changes = taken([...Array(reader.count(['changes'])).keys()], index => change(reader, index))
  const swaps = taken([...Array(reader.count(['swaps'])).keys()], index => swap(reader, index))
  const leaves = taken([...Array(reader.count(['leave'])).keys()], index => leave(reader, index))
  const { holidays, problems } = holidaysIn(reader, beside)
  const { named, shifts } = calendarsIn(reader, beside, at)
  const roles = Object.fromEntries(idsOf(reader, 'rota').map(role => [role, shiftsOf(reader, role)]))
  const rungs = taken([...Array(reader.count(['ladder'])).keys()], index => rung(reader, index))
  const hours = opening(reader)
  if (reader.count(['ladder']) === 0)
    reader.report(['ladder'], 'LADDER_MISSING', 'no ladder', 'at least one rung: who is paged first')
  reportIds(reader, rungs)
  const clinic: Clinic = {
    name: head?.name ?? '',
    zone: zone ?? 'UTC',
    clock: head?.clock ?? '24h',
    demonstration,
    ...(head?.['web-address'] === undefined ? {} : { webAddress: head['web-address'] }),
    familyLanguages: head?.['family-languages'] ?? [],
    staffLanguage: head?.['staff-language'] ?? '',
    numbers: { emergency: emergency ?? noNumber, familiesRing: families ?? noNumber, transport: transport ?? noNumber },
    hospitals: hospitals.map(one => one.value),
    people: people.map(one => one.value),
    desks: desks.map(one => one.value),
    opening: hours,
    rota: {
      roles,
      changes: changes.map(one => one.value),
      swaps: swaps.map(one => one.value),
      leave: leaves.map(one => one.value),
      holidays,
      calendar: shifts,
    },
    ladder: rungs.map(one => one.value),
  }
  reportReach(reader, clinic)
  reportChanges(
    reader,
    clinic,
    changes.map(one => one.key),
  )
  reportPrivateShown(reader, clinic)
  reportHolidays(reader, clinic, at)
  if ([...reader.problems, ...problems].some(problem => unplacedCodes.has(problem.code)))
    return { clinic, calendars: named, problems }
  reportSwaps(
    reader,
    clinic,
    swaps.map(one => one.key),
    at,
  )
  reportCover(reader, clinic, at)
  return { clinic, calendars: named, problems }
}

/** Parts that could be read, each with the key it stands under. */
function taken<K, T>(keys: readonly K[], read: (key: K) => T | undefined): readonly { key: K; value: T }[] {
  return keys.flatMap(key => {
    const value = read(key)
    return value === undefined ? [] : [{ key, value }]
  })
}

function zoneIn(reader: PartReader): string | undefined {
  const zone = reader.valueAt(['clinic', 'zone'])
  if (typeof zone !== 'string') return undefined
  const fault = zoneFault(zone)
  if (fault === undefined) return zone
  reader.report(['clinic', 'zone'], fault.code, `"${zone}"`, fault.expected, { nearest: fault.nearest })
  return undefined
}

function reportUnknownKeys(reader: PartReader, path: Path, known: readonly string[]): void {
  for (const key of reader.keys(path)) {
    if (known.includes(key)) continue
    reader.report([...path, key], 'UNKNOWN_KEY', `unknown key "${key}"`, `one of: ${known.join(', ')}`, {
      key: true,
      nearest: nearestId(key, known),
    })
  }
}
