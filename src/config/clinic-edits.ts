import { createHash } from 'node:crypto'
import { isDeepStrictEqual } from 'node:util'
import { parse } from 'yaml'
import type { Problem } from '../flow/problem.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { type RotaDifference, rotaDifferences } from '../oncall/differences.ts'
import type { WallTime } from '../oncall/wall-time.ts'
import { after, days, type Instant } from '../time/instant.ts'
import { type CalendarEdit, calendarSpliced } from './calendar-edits.ts'
import { readClinic } from './clinic-file.ts'
import { editSentence } from './edit-sentence.ts'
import { type Beside, nothingBeside } from './holidays.ts'
import { type PatternEdit, patternSpliced } from './pattern-edits.ts'
import { oneLine, SpliceFailed, withItem, withoutItem, withoutValue, withValue } from './yaml-splice.ts'

/**
 * Edits of a clinic's file as text in, text out. Nothing is written here; `saveClinic` in clinic-save.ts writes. What an edit
 * does not touch stays as it was, comments and layout with it.
 */

/** Local times of the clinic; minutes of the day from 0 to 1439. */
export type ClinicEdit =
  /** Sets who is on call in a role for some hours, above everything that comes back: tonight's person, a dated shift. */
  | {
      readonly kind: 'cover'
      readonly role: string
      readonly who: string
      readonly from: WallTime
      readonly until: WallTime
      readonly why?: string
    }
  /** `to` takes the shift of `of` that starts then; with `inReturn`, `of` takes a shift of `to` that starts at that time. */
  | {
      readonly kind: 'swap'
      readonly role: string
      readonly starts: WallTime
      readonly of: string
      readonly to: string
      readonly inReturn?: { readonly role: string; readonly starts: WallTime }
      readonly why?: string
    }
  /** Somebody is away; their shifts are nobody's until they are covered. */
  | {
      readonly kind: 'leave'
      readonly who: string
      readonly from: WallTime
      readonly until: WallTime
      readonly why?: string
    }
  /** A line of changes, swaps or leave is taken back. `line` counts from 0. */
  | { readonly kind: 'take-back'; readonly section: 'changes' | 'swaps' | 'leave'; readonly line: number }
  /** The private number of a person or desk. */
  | { readonly kind: 'private-number'; readonly who: string; readonly number: string }
  /** Where a person or desk is paged by one way; `way` counts from 0 in their page-at. */
  | { readonly kind: 'page-address'; readonly who: string; readonly way: number; readonly address: string }
  /** A number families ring. */
  | {
      readonly kind: 'families-number'
      readonly which: 'emergency' | 'families-ring' | 'transport'
      readonly number: string
    }
  /** The number families ring at a hospital. */
  | { readonly kind: 'hospital-number'; readonly hospital: string; readonly number: string }
  /** A setting, as the file writes its value: `PT10M`, `off`, `[5, 10]`. */
  | { readonly kind: 'setting'; readonly id: string; readonly value: string }
  /** Opening hours of a weekday: `08:00-18:00`, or several with commas. */
  | { readonly kind: 'hours'; readonly day: string; readonly value: string }
  /** Opening hours of one date, `2026-12-24`: hours, or `closed`. */
  | { readonly kind: 'date'; readonly day: string; readonly value: string }
  | PatternEdit
  | CalendarEdit
  /** How long a closed case is kept: `P90D`. */
  | { readonly kind: 'retention'; readonly value: string }

export interface EditAsked {
  /** Name of the file, for problems. */
  readonly file: string
  /** The file as it is now. */
  readonly text: string
  /** `clinicHash` of the text the editor saw. */
  readonly seen: string
  readonly edit: ClinicEdit
  /** The present. */
  readonly at: Instant
  /** Files beside: holidays, calendars. */
  readonly beside?: Beside
  /** Of the sentence; left out: English. */
  readonly language?: string
}

export type Edited =
  | {
      readonly kind: 'edited'
      readonly text: string
      /** `clinicHash` of `text`. */
      readonly hash: string
      /** `clinicHash` of the text it was made from: what `saveClinic` expects to find. */
      readonly basedOn: string
      /** Who, from when until when, who is told, which nights change: one sentence. */
      readonly sentence: string
      /** The clinic as it will be. */
      readonly clinic: Clinic
      /** Ids of people and desks who must be told. */
      readonly told: readonly string[]
      /** Stretches of the coming 400 days in which somebody else, or nobody, is on call. */
      readonly differences: readonly RotaDifference[]
      /** Holes and doubts that the edit brings, to be shown before it is saved. */
      readonly brings: readonly Problem[]
    }
  /** The file changed since it was seen: show it anew, with `hash`, and ask again. */
  | { readonly kind: 'stale'; readonly hash: string; readonly because: string }
  /** The edit would break the file, or does not fit it; nothing is to be written. */
  | {
      readonly kind: 'refused'
      /** The file has faults already; it cannot be edited so; it would have faults; it says that already. */
      readonly reason: 'faults-before' | 'cannot' | 'faults' | 'same'
      readonly because: string
      readonly problems: readonly Problem[]
    }

/** How far ahead nights are looked through for a change. */
const DAYS_AHEAD = 400
/** Problems an edit may bring: holes in the cover, which leave makes and cover fills. */
const MAY_BRING = new Set([
  'ROTA_GAP',
  'LADDER_EMPTY',
  'LADDER_ONE_PERSON',
  'CHANGES_OVERLAP',
  'SWAP_BACK',
  'HOLIDAYS_RUN_OUT',
])

/** What a text of the clinic's file is known by: SHA-256, 64 hexadecimal digits. */
export const clinicHash = (text: string): string => createHash('sha256').update(text).digest('hex')

/** Carries out an edit on the text of the clinic's file. Never throws. */
export function editClinic({ file, text, seen, edit, at, beside = nothingBeside, language }: EditAsked): Edited {
  const basedOn = clinicHash(text)
  if (basedOn !== seen) {
    const because =
      'The clinic file was changed by somebody else since you opened it. Nothing was saved. Look at it again.'
    return { kind: 'stale', hash: basedOn, because }
  }
  const before = readClinic(file, text, at, beside)
  if (before.clinic === undefined) {
    const problems = before.problems.filter(({ severity }) => severity === 'problem')
    return {
      kind: 'refused',
      reason: 'faults-before',
      because: 'The clinic file has faults. Put them right first.',
      problems,
    }
  }
  let edited: string
  try {
    edited = spliced(text, edit, before.clinic)
  } catch (cause) {
    if (!(cause instanceof SpliceFailed)) throw cause
    return {
      kind: 'refused',
      reason: 'cannot',
      because: `The clinic file cannot be changed like that: ${cause.message}.`,
      problems: [],
    }
  }
  const next = readClinic(file, edited, at, beside)
  const fresh = next.problems.filter(one => !before.problems.some(known => isSame(known, one)))
  const broken = fresh.filter(({ code, severity }) => severity === 'problem' && !MAY_BRING.has(code))
  if (next.clinic === undefined || broken.length > 0)
    return {
      kind: 'refused',
      reason: 'faults',
      because: 'The clinic file would then have faults. Nothing was saved.',
      problems: broken,
    }
  if (isDeepStrictEqual(parse(text), parse(edited)))
    return { kind: 'refused', reason: 'same', because: 'That is what the clinic file says already.', problems: [] }
  const differences = rotaDifferences(before.clinic, next.clinic, at, after(at, days(DAYS_AHEAD)))
  const told = toldOf(edit, differences)
  const was = valueIn(text, edit)
  const sentence = editSentence({ edit, was, before: before.clinic, after: next.clinic, differences, told }, language)
  return {
    kind: 'edited',
    text: edited,
    hash: clinicHash(edited),
    basedOn,
    sentence,
    clinic: next.clinic,
    told,
    differences,
    brings: fresh,
  }
}

/** Lines move when one is added: a problem is the same when it says the same. */
const isSame = (a: Problem, b: Problem): boolean => a.code === b.code && a.found === b.found

function spliced(text: string, edit: ClinicEdit, clinic: Clinic): string {
  switch (edit.kind) {
    case 'cover': {
      const { role, from, until, who, why } = edit
      const line = { 'on-call': role, from: wallText(from), until: wallText(until), who, ...reason(why) }
      return withItem(text, 'changes', oneLine(line))
    }
    case 'swap': {
      const { role, starts, of, to, inReturn, why } = edit
      const back =
        inReturn === undefined
          ? {}
          : {
              'in-return': wallText(inReturn.starts),
              ...(inReturn.role === role ? {} : { 'in-return-on-call': inReturn.role }),
            }
      return withItem(
        text,
        'swaps',
        oneLine({ 'on-call': role, shift: wallText(starts), of, to, ...back, ...reason(why) }),
      )
    }
    case 'leave': {
      const { who, from, until, why } = edit
      return withItem(text, 'leave', oneLine({ who, from: wallText(from), until: wallText(until), ...reason(why) }))
    }
    case 'take-back':
      return withoutItem(text, edit.section, edit.line)
    case 'private-number':
      return withValue(text, [sectionOf(clinic, edit.who), edit.who, 'private-number'], quoted(edit.number))
    case 'page-address':
      return withValue(
        text,
        [sectionOf(clinic, edit.who), edit.who, 'page-at', edit.way, 'address'],
        quoted(edit.address),
      )
    case 'families-number':
      return withValue(text, ['numbers', edit.which, 'number'], quoted(edit.number))
    case 'hospital-number':
      return withValue(text, ['hospitals', edit.hospital, 'families-ring', 'number'], quoted(edit.number))
    case 'weekly':
    case 'shift-new':
    case 'shift-out':
    case 'role-new':
    case 'rung':
    case 'rung-new':
      return patternSpliced(text, edit)
    case 'calendar':
    case 'calendar-stop':
    case 'calendar-out':
      return calendarSpliced(text, edit)
    case 'setting':
    case 'retention':
      return withValue(text, placeOf(edit) ?? [], plainValue(edit.value))
    case 'hours':
      if (edit.value === 'closed') return withoutValue(text, ['opening', edit.day])
      return withValue(text, placeOf(edit) ?? [], hoursValue(edit.value))
    case 'date':
      return withValue(text, placeOf(edit) ?? [], hoursValue(edit.value))
  }
}

/** Where an edit of one value stands in the file; undefined for the others. */
function placeOf(edit: ClinicEdit): readonly [string, string] | readonly [string, string, string] | undefined {
  switch (edit.kind) {
    case 'setting':
      return ['settings', edit.id]
    case 'hours':
      return ['opening', edit.day]
    case 'date':
      return ['opening', 'dates', edit.day]
    case 'retention':
      return ['clinic', 'retention']
    default:
      return undefined
  }
}

/** What stood there, as it is written; undefined where nothing did. */
function valueIn(text: string, edit: ClinicEdit): string | undefined {
  const path = placeOf(edit)
  if (path === undefined) return undefined
  const found = path.reduce<unknown>(
    (held, key) => (held as Record<string, unknown> | null | undefined)?.[key],
    parse(text),
  )
  return found === undefined || found === null
    ? undefined
    : Array.isArray(found)
      ? `[${found.join(', ')}]`
      : String(found)
}

/** A value somebody typed, as YAML of one line that can be nothing else. */
function plainValue(value: string): string {
  if (/^\[[\w., ]+\]$/.test(value) || /^[\w.]+$/.test(value)) return value
  throw new SpliceFailed(`"${value}" is no value of a setting`)
}

function hoursValue(value: string): string {
  if (value === 'closed') return value
  const spans = value.split(',').map(span => span.trim())
  if (spans.some(span => !/^\d{2}:\d{2}-\d{2}:\d{2}$/.test(span)))
    throw new SpliceFailed(`"${value}" is no opening time; 08:00-18:00 was expected, or closed`)
  return spans.length === 1 ? (spans[0] ?? '') : `[${spans.map(quoted).join(', ')}]`
}

const quoted = (text: string): string => JSON.stringify(text)
const reason = (why: string | undefined) => (why === undefined || why.trim() === '' ? {} : { why: why.trim() })

function sectionOf({ people, desks }: Clinic, who: string): 'people' | 'desks' {
  if (people.some(({ id }) => id === who)) return 'people'
  if (desks.some(({ id }) => id === who)) return 'desks'
  throw new SpliceFailed(`nobody is called "${who}"`)
}

/** A local time as the file writes it: `2026-12-24 18:00`. */
export function wallText({ day, minute }: WallTime): string {
  const date = new Date((day + Math.floor(minute / 1440)) * 86_400_000).toISOString().slice(0, 10)
  const clock = minute % 1440
  return `${date} ${String(Math.floor(clock / 60)).padStart(2, '0')}:${String(clock % 60).padStart(2, '0')}`
}

/** Everybody whose nights change, and whoever the edit is about. */
function toldOf(edit: ClinicEdit, differences: readonly RotaDifference[]): readonly string[] {
  const about = edit.kind === 'swap' ? [edit.of, edit.to] : 'who' in edit ? [edit.who] : []
  const changed = differences.flatMap(({ before, after: now }) => [before, now])
  return [...new Set([...about, ...changed])].filter(id => id !== undefined)
}
