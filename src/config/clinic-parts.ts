import { nearestId } from '../flow/problem.ts'
import type {
  Desk,
  Hospital,
  Leave,
  NumberToRing,
  Opening,
  OpenSpan,
  Person,
  Role,
  RotaChange,
  Rung,
  Shift,
  Swap,
} from '../oncall/clinic.ts'
import { type Weekday, weekdays } from '../oncall/wall-time.ts'
import {
  changeShape,
  dayIn,
  deskShape,
  hospitalShape,
  idExpected,
  idPattern,
  leaveShape,
  numberShape,
  personShape,
  rungShape,
  shiftShape,
  spanShape,
  swapShape,
} from './clinic-shapes.ts'
import { isForFiction } from './fiction.ts'
import { pageAddresses } from './page-routes.ts'
import type { PartReader, Path } from './part-reader.ts'
import { type NumberRead, readFullNumber, readNumber } from './telephone.ts'

/** Readers of the parts of clinic.yaml, each from one place in the file to one value of the on-call model. */

/** Takes a number as read; reports what is wrong with it. */
function numberTaken(
  reader: PartReader,
  path: Path,
  said: string,
  read: NumberRead,
  demonstration: boolean,
): string | undefined {
  for (const { code, expected, severity } of read.faults) reader.report(path, code, `"${said}"`, expected, { severity })
  if (read.number === undefined) return undefined
  const isShort = !read.number.startsWith('+')
  if (isForFiction(read.number) && !demonstration) {
    reader.report(
      path,
      'NUMBER_FICTION',
      `"${said}"`,
      'a number that rings: this one is kept for fiction and rings nobody',
    )
  }
  if (!isForFiction(read.number) && !isShort && demonstration) {
    const expected = 'a number kept for fiction, like "+1 212 555 0110": a demonstration must ring nobody'
    reader.report(path, 'NUMBER_REAL', `"${said}"`, expected)
  }
  return read.number
}

type FamilyText = string | Readonly<Record<string, string>>

/** The line for whoever reads a language that none is written for. */
const firstOf = (said: FamilyText): string => (typeof said === 'string' ? said : (Object.values(said)[0] ?? ''))

/** The lines by language, where there is more than one. */
function inEach<K extends string>(
  key: K,
  said: FamilyText,
): { readonly [key in K]?: Readonly<Record<string, string>> } {
  return typeof said === 'string' ? {} : ({ [key]: said } as { readonly [key in K]: Readonly<Record<string, string>> })
}

/** A number families ring. */
export function numberToRing(reader: PartReader, path: Path, demonstration: boolean): NumberToRing | undefined {
  const read = reader.part(path, numberShape)
  if (read === undefined) return undefined
  const number = numberTaken(reader, [...path, 'number'], read.number, readNumber(read.number), demonstration)
  if (number === undefined) return undefined
  const { words, hours, language } = read
  return {
    number,
    ...(words === undefined ? {} : { words: firstOf(words), ...inEach('wordsIn', words) }),
    ...(hours === undefined ? {} : { hours }),
    ...(language === undefined ? {} : { language }),
  }
}

function privateNumber(
  reader: PartReader,
  path: Path,
  said: string | undefined,
  demonstration: boolean,
): { privateNumber?: string } {
  if (said === undefined) return {}
  const number = numberTaken(reader, path, said, readFullNumber(said), demonstration)
  return number === undefined ? {} : { privateNumber: number }
}

/** Ids of a map, each checked for its form. */
export function idsOf(reader: PartReader, section: string): readonly string[] {
  const ids = reader.keys([section])
  for (const id of ids) {
    if (!idPattern.test(id)) reader.report([section, id], 'BAD_ID', `"${id}"`, idExpected, { key: true })
  }
  return ids
}

export function hospital(reader: PartReader, id: string, demonstration: boolean): Hospital | undefined {
  const path = ['hospitals', id]
  const read = reader.part(path, hospitalShape)
  const familiesRing = numberToRing(reader, [...path, 'families-ring'], demonstration)
  const handoverTo = pageAddresses(reader, [...path, 'handover-to'], demonstration)
  if (read === undefined || familiesRing === undefined) return undefined
  const { name, address, door, 'can-do': canDo = [] } = read
  return {
    id,
    name,
    address,
    familiesRing,
    canDo,
    handoverTo,
    ...(door === undefined ? {} : { door: firstOf(door), ...inEach('doorIn', door) }),
  }
}

export function person(reader: PartReader, id: string, demonstration: boolean): Person | undefined {
  const path = ['people', id]
  const read = reader.part(path, personShape)
  const pageAt = pageAddresses(reader, [...path, 'page-at'], demonstration)
  if (read === undefined) return undefined
  const own = privateNumber(reader, [...path, 'private-number'], read['private-number'], demonstration)
  return {
    kind: 'person',
    id,
    name: read.name,
    job: read.job,
    clinician: read.clinician ?? true,
    approves: read.approves ?? false,
    roles: [...new Set(read.roles ?? rolesLeftOut(read))],
    left: read.left ?? false,
    pageAt,
    ...own,
    ...knownAs(read['known-as']),
  }
}

/** Whoever answers families is on call, and whoever approves leads: what a file meant before it had roles. */
function rolesLeftOut({
  clinician,
  approves,
}: {
  clinician?: boolean | undefined
  approves?: boolean | undefined
}): readonly Role[] {
  return clinician === false ? [] : approves === true ? ['on-call', 'lead'] : ['on-call']
}

const knownAs = (names: readonly string[] | undefined) => (names === undefined ? {} : { knownAs: names })

export function desk(reader: PartReader, id: string, demonstration: boolean): Desk | undefined {
  const path = ['desks', id]
  const read = reader.part(path, deskShape)
  const pageAt = pageAddresses(reader, [...path, 'page-at'], demonstration)
  if (read === undefined) return undefined
  const own = privateNumber(reader, [...path, 'private-number'], read['private-number'], demonstration)
  return {
    kind: 'desk',
    id,
    name: read.name,
    pageAt,
    ...own,
    ...knownAs(read['known-as']),
    ...(read.words === undefined ? {} : { words: read.words }),
  }
}

const isWeekday = (key: string): key is Weekday => (weekdays as readonly string[]).includes(key)

function reportNoWeekday(reader: PartReader, path: Path, key: string, also: readonly string[]): void {
  const known = [...weekdays, ...also]
  reader.report(path, 'UNKNOWN_KEY', `unknown key "${key}"`, `one of: ${known.join(', ')}`, {
    key: true,
    nearest: nearestId(key, known),
  })
}

/** Spans of one day: a list of `08:00-17:00`, or the word closed. */
function openSpans(reader: PartReader, path: Path): readonly OpenSpan[] {
  if (reader.valueAt(path) === 'closed') return []
  if (typeof reader.valueAt(path) === 'string') {
    const span = reader.part(path, spanShape)
    return span === undefined ? [] : [span]
  }
  const spans: OpenSpan[] = []
  for (let index = 0; index < reader.count(path); index++) {
    const span = reader.part([...path, index], spanShape)
    if (span !== undefined) spans.push(span)
  }
  return spans
}

export function opening(reader: PartReader): Opening {
  const weekly: Record<Weekday, readonly OpenSpan[]> = {
    monday: [],
    tuesday: [],
    wednesday: [],
    thursday: [],
    friday: [],
    saturday: [],
    sunday: [],
  }
  for (const key of reader.keys(['opening'])) {
    if (isWeekday(key)) weekly[key] = openSpans(reader, ['opening', key])
    else if (key !== 'dates') reportNoWeekday(reader, ['opening', key], key, ['dates'])
  }
  const dates: Record<number, readonly OpenSpan[]> = {}
  for (const date of reader.keys(['opening', 'dates'])) {
    const day = dayIn(date)
    const path = ['opening', 'dates', date]
    if (day === undefined)
      reader.report(path, 'BAD_DATE', `"${date}"`, 'a date that exists, like 2026-12-25', { key: true })
    else dates[day] = openSpans(reader, path)
  }
  return { weekly, dates }
}

/** Shifts of one role that come back: by weekday, and on holidays. */
export function shiftsOf(reader: PartReader, role: string): readonly Shift[] {
  const shifts: Shift[] = []
  for (const key of reader.keys(['rota', role])) {
    const path = ['rota', role, key]
    if (!isWeekday(key) && key !== 'holiday') {
      reportNoWeekday(reader, path, key, ['holiday'])
      continue
    }
    for (let index = 0; index < reader.count(path); index++) {
      const read = reader.part([...path, index], shiftShape)
      if (read === undefined) continue
      const { every, since, ...block } = read
      shifts.push({
        on: key,
        ...block,
        ...(every === undefined || every === 1 ? {} : { every }),
        ...(since === undefined ? {} : { since }),
      })
    }
  }
  return shifts
}

export function change(reader: PartReader, index: number): RotaChange | undefined {
  const read = reader.part(['changes', index], changeShape)
  if (read === undefined) return undefined
  const { 'on-call': role, from, until, who, why } = read
  return { role, from, until, who, ...(why === undefined ? {} : { why }) }
}

export function swap(reader: PartReader, index: number): Swap | undefined {
  const read = reader.part(['swaps', index], swapShape)
  if (read === undefined) return undefined
  const { 'on-call': role, shift, of, to, 'in-return': back, 'in-return-on-call': backRole = role, why } = read
  return {
    shift: { role, starts: shift },
    of,
    to,
    ...(back === undefined ? {} : { inReturn: { role: backRole, starts: back } }),
    ...(why === undefined ? {} : { why }),
  }
}

export function leave(reader: PartReader, index: number): Leave | undefined {
  const read = reader.part(['leave', index], leaveShape)
  if (read === undefined) return undefined
  const { why, ...span } = read
  return { ...span, ...(why === undefined ? {} : { why }) }
}

export function rung(reader: PartReader, index: number): Rung | undefined {
  const read = reader.part(['ladder', index], rungShape)
  if (read === undefined) return undefined
  const { 'on-call': role, person: personId, desk: deskId, when: said = 'always' } = read
  const when = typeof said === 'string' ? ({ kind: said } as const) : ({ kind: 'between', ...said } as const)
  if (role !== undefined) return { kind: 'role', role, when }
  if (personId !== undefined) return { kind: 'person', id: personId, when }
  return { kind: 'desk', id: deskId ?? '', when }
}
