import { parsePhoneNumberFromString } from 'libphonenumber-js/max'
import type { PlacedYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { wallTimeAt } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'
import { dayIn } from './clinic-shapes.ts'
import type { GuardId, Refusal } from './guard.ts'
import { type Path, pathText } from './part-reader.ts'
import { type Definition, type SettingId, settingDefinitions } from './setting-definitions.ts'

/** Guards over what a clinic has written: what it left as it was, what it left out, what may not stand there. */

type Told = Pick<Refusal, 'code' | 'found' | 'expected' | 'todo'> & Partial<Pick<Refusal, 'severity' | 'isByTime'>>

const refuse = (guard: GuardId, yaml: PlacedYaml, path: Path, told: Told, key = false): Refusal => {
  const { line, column } = yaml.place(path, key)
  return { guard, where: `${yaml.file}:${line}:${column}`, severity: 'refused', ...told }
}

/** Every single value of a parsed file, with its path. */
function values(value: unknown, path: Path = []): readonly { readonly path: Path; readonly value: unknown }[] {
  if (Array.isArray(value)) return value.flatMap((inner, index) => values(inner, [...path, index]))
  if (value !== null && typeof value === 'object')
    return Object.entries(value).flatMap(([key, inner]) => values(inner, [...path, key]))
  return [{ path, value }]
}

/** Words that stand where somebody meant to write something. "For example" in a sentence is none. */
const placeholder =
  /\b(todo|tbd|tbc|fixme|xxx+|change[ -_]?me|placeholder|lorem ipsum|fill[ -]in|your[ -](clinic|hospital|name|number|folder))\b|(?<!for )(?<![.@])\bexample\b(?!\.)|^<.*>$|\?\?\?|^\.\.\.$/i

/**
 * Values that are empty, or stand as a form or an example left them.
 *
 * @param invented  texts of the invented clinic that ships with the bot: none may be left over in a real one
 */
export function placeholdersIn(yaml: PlacedYaml, invented: ReadonlySet<string>): readonly Refusal[] {
  return values(yaml.value).flatMap(({ path, value }) => {
    const here = pathText(path)
    const told = (found: string): Refusal[] => [
      refuse('placeholders', yaml, path, {
        code: 'PLACEHOLDER',
        found,
        expected: 'what is true for this clinic',
        todo: `write it at ${here}, or take the line out`,
      }),
    ]
    const isSection = path.length === 1
    if ((value === null && !isSection) || (typeof value === 'string' && value.trim() === ''))
      return told(`nothing at ${here}`)
    if (typeof value !== 'string') return []
    if (placeholder.test(value)) return told(`"${value.slice(0, 60)}" at ${here}`)
    if (invented.has(value.trim()))
      return told(`"${value.slice(0, 60)}" at ${here}, left over from the invented clinic`)
    return []
  })
}

/** Names, addresses and words that make up an invented clinic, from its parsed file. */
export function inventedTexts(value: unknown): ReadonlySet<string> {
  const telling = values(value).filter(({ path }) => {
    const last = path.at(-1)
    return (
      (last === 'address' && path[0] === 'hospitals' && path.length === 3) || (last === 'name' && path[0] !== 'desks')
    )
  })
  return new Set(telling.flatMap(one => (typeof one.value === 'string' ? [one.value.trim()] : [])))
}

const secretKey = /(pass(word|phrase|wd)?|secret|token|api-?key|private-?key|credentials?)$/i
const secretValue = /^whsec_|-----BEGIN|^Bearer |:\/\/[^/\s:@]+:[^/\s@]+@/

/** Secrets written into the clinic's file, which is read, copied and mailed by many. The secret itself is never told. */
export function secretsIn(yaml: PlacedYaml): readonly Refusal[] {
  return values(yaml.value).flatMap(({ path, value }) => {
    const key = String(path.findLast(part => typeof part === 'string') ?? '')
    if (!secretKey.test(key) && !(typeof value === 'string' && secretValue.test(value))) return []
    return [
      refuse('secrets', yaml, path, {
        code: 'SECRET_INSIDE',
        found: `a secret at ${pathText(path)}`,
        expected: 'the name of a file that holds it, such as password-file: smtp-password',
        todo: 'put the secret into a file beside this one, run "chmod 600" on that file, name it here, and change the secret, since this file has been read by others',
      }),
    ]
  })
}

/** Settings that decide and are not written down: in a clinic a shipped value is nobody's decision. */
export function settingsUnset(yaml: PlacedYaml, deciding: readonly string[]): readonly Refusal[] {
  const written = (yaml.value as { settings?: unknown }).settings
  const has = (id: string) => written !== null && typeof written === 'object' && Object.hasOwn(written, id)
  const missing = deciding.filter(id => !has(id))
  if (missing.length === 0) return []
  const lines = missing.map(id => {
    const { shipped, means }: Definition = settingDefinitions[id as SettingId]
    return `  ${id}: ${Array.isArray(shipped) ? `[${shipped.join(', ')}]` : shipped}  # shipped value: ${means}`
  })
  return [
    refuse(
      'settings',
      yaml,
      ['settings'],
      {
        code: 'SETTING_UNSET',
        found: `${missing.length} of ${deciding.length} settings that decide something are not written: ${missing.join(', ')}`,
        expected: 'each of them, as your clinicians decided it',
        todo: `have your clinicians decide each, and paste under "settings:"\n${lines.join('\n')}`,
      },
      true,
    ),
  ]
}

/**
 * Emergency numbers by country. 112 in the European Union: Directive (EU) 2018/1972, article 109. The others: national
 * numbering plans. All from memory.
 */
const emergencyOf: Readonly<Record<string, readonly string[]>> = {
  US: ['911'],
  CA: ['911'],
  MX: ['911'],
  GB: ['999', '112'],
  IE: ['112', '999'],
  AU: ['000', '112'],
  NZ: ['111'],
  CH: ['144', '112'],
  NO: ['113', '112'],
  IN: ['112', '108'],
  ZA: ['10177', '112'],
  BR: ['192'],
  FR: ['15', '112'],
  AT: ['144', '112'],
  IT: ['118', '112'],
  PL: ['999', '112'],
  ...Object.fromEntries(
    'BE BG HR CY CZ DK EE FI DE GR HU LV LT LU MT NL PT RO SK SI ES SE'.split(' ').map(country => [country, ['112']]),
  ),
}
/** Country where a number says only its country code. */
const mainCountryOf: Readonly<Record<string, string>> = { '1': 'US', '44': 'GB', '61': 'AU' }

/** Whether the emergency number is one that telephones of the clinic's country reach help with. */
export function emergencyUnlikely(yaml: PlacedYaml, clinic: Clinic): readonly Refusal[] {
  const { emergency, familiesRing } = clinic.numbers
  const read = parsePhoneNumberFromString(familiesRing.number)
  const country = read?.country ?? mainCountryOf[read?.countryCallingCode ?? '']
  const known = country === undefined ? undefined : emergencyOf[country]
  if (known?.includes(emergency.number) === true) return []
  const where = country ?? 'the country of the clinic'
  return [
    refuse('emergency', yaml, ['numbers', 'emergency', 'number'], {
      code: 'EMERGENCY_UNLIKELY',
      found: `"${emergency.number}" as the emergency number in ${where}`,
      expected: known === undefined ? 'a number known here for that country' : known.join(' or '),
      todo: 'ring it from a mobile telephone on the clinic’s premises after asking the emergency service for a time to test, and correct it',
      severity: known === undefined ? 'warning' : 'refused',
    }),
  ]
}

/** Dates of closing that have run out, or were never written. */
export function datesRunOut(yaml: PlacedYaml, clinic: Clinic, at: Instant): readonly Refusal[] {
  if (Object.values(clinic.opening.weekly).every(spans => spans.length === 0)) return []
  const dates = (yaml.value as { opening?: { dates?: unknown } }).opening?.dates
  const written = dates !== null && typeof dates === 'object' ? Object.keys(dates) : []
  const today = wallTimeAt(clinic.zone, at).day
  if (written.some(date => (dayIn(date) ?? 0) >= today)) return []
  const last = written.toSorted().at(-1)
  return [
    refuse(
      'opening',
      yaml,
      ['opening', 'dates'],
      {
        code: 'DATES_RUN_OUT',
        found: last === undefined ? 'no dates on which the clinic is closed' : `no date after ${last}`,
        expected: 'the holidays to come: on these days the desk of the day is paged first and nobody is there',
        todo: 'write the coming holidays under "dates:" in "opening:", such as 2027-01-01: closed',
        ...(last === undefined ? { severity: 'warning' as const } : { isByTime: true as const }),
      },
      true,
    ),
  ]
}
