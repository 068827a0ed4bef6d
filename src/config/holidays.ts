import { isAbsolute } from 'node:path'
import type { Problem } from '../flow/problem.ts'
import { readYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { wallTimeAt } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'
import { dayIn } from './clinic-shapes.ts'
import { type PartReader, pathText, shown } from './part-reader.ts'

/** The bytes of a file that the clinic's file names, looked for in its folder. Throws where there is none. */
export type Beside = (name: string) => Uint8Array

export const nothingBeside: Beside = name => {
  throw new Error(`no file ${name} beside the clinic file`)
}

/** Holidays are asked about this far ahead: a list that ends sooner is told. */
const DAYS_AHEAD = 90
const MOST_BYTES = 1_000_000

/** The days of all holiday files named under `holidays`, by local day number. */
export function holidaysIn(
  reader: PartReader,
  beside: Beside,
): { readonly holidays: ReadonlyMap<number, string>; readonly problems: readonly Problem[] } {
  const holidays = new Map<number, string>()
  const problems: Problem[] = []
  for (let index = 0; index < reader.count(['holidays']); index++) {
    const path = ['holidays', index]
    const name = reader.valueAt(path)
    if (!isFileName(name)) {
      reader.report(
        path,
        'WRONG_VALUE',
        `${shown(name)} at ${pathText(path)}`,
        'a file beside this one, like holidays.yaml',
      )
      continue
    }
    const text = textOf(beside, name)
    if (text === undefined) {
      const expected = 'a readable file of holidays in UTF-8 in the folder of this file, at most 1 MB'
      reader.report(path, 'HOLIDAYS_MISSING', `no holidays can be read from "${name}"`, expected)
      continue
    }
    const read = readHolidays(name, text)
    problems.push(...read.problems)
    for (const [day, holiday] of read.holidays) holidays.set(day, holiday)
  }
  return { holidays, problems }
}

/** A name of a file in the clinic's folder or below: nothing outside is read. */
export function isFileName(name: unknown): name is string {
  return typeof name === 'string' && name.trim() !== '' && !isAbsolute(name) && !name.split(/[\\/]/).includes('..')
}

/** The text of a file beside, or undefined where there is none that can be read. */
function textOf(beside: Beside, name: string): string | undefined {
  try {
    const bytes = beside(name)
    return bytes.length > MOST_BYTES ? undefined : new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch {
    return undefined
  }
}

/** Reads a holiday file: one `date: name` a line. */
export function readHolidays(
  file: string,
  text: string,
): { readonly holidays: ReadonlyMap<number, string>; readonly problems: readonly Problem[] } {
  const { yaml, problems } = readYaml(file, text)
  const holidays = new Map<number, string>()
  if (yaml === undefined) return { holidays, problems }
  const faults: Problem[] = [...problems]
  const report = (path: readonly string[], found: string, expected: string) =>
    faults.push({ code: 'BAD_DATE', file, ...yaml.place(path, true), found, expected, severity: 'problem' })
  const { value } = yaml
  if (value === null || typeof value !== 'object' || Array.isArray(value)) {
    report([], shown(value), 'one holiday a line, like 2026-12-25: Christmas Day')
    return { holidays, problems: faults }
  }
  for (const [date, name] of Object.entries(value)) {
    const day = dayIn(date)
    if (day === undefined) report([date], `"${date}"`, 'a date that exists, like 2026-12-25')
    else if (typeof name !== 'string' || name.trim() === '')
      report([date], `${shown(name)} for ${date}`, 'the name of the holiday, in words')
    else holidays.set(day, name.trim())
  }
  return { holidays, problems: faults }
}

/** Shifts that follow holidays, where no holidays are known or the list ends within the days looked ahead. */
export function reportHolidays(reader: PartReader, clinic: Clinic, at: Instant): void {
  const { roles, holidays = new Map<number, string>() } = clinic.rota
  const following = Object.entries(roles).filter(([, shifts]) => shifts.some(({ on }) => on === 'holiday'))
  const [role] = following[0] ?? []
  if (role === undefined) return
  const last = Math.max(...holidays.keys())
  const today = wallTimeAt(clinic.zone, at).day
  if (last >= today + DAYS_AHEAD) return
  const isOver = last < today
  const found = !Number.isFinite(last)
    ? `"${role}" has shifts on holidays, and no holidays are known`
    : `the last holiday known is ${new Date(last * 86_400_000).toISOString().slice(0, 10)}${isOver ? ', which is past' : ''}`
  reader.report(
    ['rota', role, 'holiday'],
    'HOLIDAYS_RUN_OUT',
    found,
    'the holidays of the coming year, in a file named under holidays',
    {
      key: true,
      severity: isOver ? 'problem' : 'warning',
    },
  )
}
