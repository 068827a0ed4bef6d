import { DateTime } from 'luxon'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { RotaDifference } from '../oncall/differences.ts'
import { numberText } from '../oncall/number-text.ts'
import { instantsOf, type WallTime } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'
import type { ClinicEdit } from './clinic-edits.ts'
import { patternSentence } from './pattern-edits.ts'

/** An edit in one sentence, read before it is saved: who, from when until when, who is told, which nights change. */

export interface EditTold {
  readonly edit: ClinicEdit
  /** What stood there before, where the edit is of one value. */
  readonly was?: string | undefined
  readonly before: Clinic
  readonly after: Clinic
  readonly differences: readonly RotaDifference[]
  /** Ids. */
  readonly told: readonly string[]
}

/** Dates named one by one, at most. */
const DATES_MOST = 6

export function editSentence(given: EditTold): string {
  return `${whatChanges(given)}; ${whoIsTold(given)}; ${whichNights(given)}.`
}

function whatChanges({ edit, was, before, after, differences }: EditTold): string {
  const name = (id: string) => nameOf(after, id)
  const wall = (time: WallTime) => momentText(after, instantsOf(after.zone, time).earlier)
  switch (edit.kind) {
    case 'cover': {
      const instead = [...new Set(differences.map(one => (one.before === undefined ? 'nobody' : name(one.before))))]
      const place = instead.length === 0 ? '' : ` in place of ${listed(instead)}`
      return `${name(edit.who)} is on call as "${edit.role}" from ${wall(edit.from)} until ${wall(edit.until)}${place}`
    }
    case 'swap': {
      const taken = differences.filter(one => one.before === edit.of && one.after === edit.to)
      const until = taken[0] === undefined ? '' : ` until ${momentText(after, taken[0].until)}`
      const first = `${name(edit.to)} takes the shift of ${name(edit.of)} as "${edit.role}" from ${wall(edit.starts)}${until}`
      if (edit.inReturn === undefined) return first
      return `${first}, and ${name(edit.of)} takes that of ${name(edit.to)} as "${edit.inReturn.role}" from ${wall(edit.inReturn.starts)}`
    }
    case 'leave': {
      const open = differences.filter(({ after: now }) => now === undefined)
      const holes = open.map(
        one => `"${one.role}" from ${momentText(after, one.from)} until ${momentText(after, one.until)}`,
      )
      const shown = holes.slice(0, DATES_MOST)
      const more = holes.length > shown.length ? ` and ${holes.length - shown.length} more` : ''
      const nobody =
        holes.length === 0
          ? 'no shift is left open'
          : `nobody is then on call as ${listed(shown)}${more} until it is covered`
      return `${name(edit.who)} is away from ${wall(edit.from)} until ${wall(edit.until)}, and ${nobody}`
    }
    case 'take-back':
      return `Line ${edit.line + 1} of ${edit.section} is taken back${backText(given(differences), after)}`
    case 'weekly':
    case 'rung':
    case 'rung-new':
      return patternSentence(edit, before, after)
    case 'private-number': {
      const had = reachableOf(before, edit.who)?.privateNumber
      const now = reachableOf(after, edit.who)?.privateNumber ?? edit.number
      return `The private number of ${name(edit.who)} ${had === undefined ? 'is' : `changes from ${numberText(had)} to`} ${numberText(now)}`
    }
    case 'page-address': {
      const had = reachableOf(before, edit.who)?.pageAt[edit.way]
      return `${name(edit.who)} is paged by ${had?.pager ?? 'another way'} at ${edit.address}${had === undefined ? '' : `, no more at ${had.address}`}`
    }
    case 'setting':
      return `The setting "${edit.id}" ${was === undefined ? 'is' : `changes from ${was} to`} ${edit.value}`
    case 'hours':
      return `The clinic is open on ${edit.day} ${edit.value}${was === undefined ? '' : `, no more ${was}`}`
    case 'date':
      return `On ${edit.day} the clinic is ${edit.value === 'closed' ? 'closed' : `open ${edit.value}`}${was === undefined ? '' : `, no more ${was}`}`
    case 'retention':
      return `Closed cases are kept for ${edit.value}${was === undefined ? '' : `, no more ${was}`}`
    case 'hospital-number': {
      const of = (clinic: Clinic) => clinic.hospitals.find(({ id }) => id === edit.hospital)
      return `The number families ring at ${of(after)?.name ?? edit.hospital} changes from ${numberText(of(before)?.familiesRing.number ?? '')} to ${numberText(of(after)?.familiesRing.number ?? edit.number)}`
    }
    case 'families-number': {
      const which = { emergency: 'emergency', 'families-ring': 'familiesRing', transport: 'transport' } as const
      const had = before.numbers[which[edit.which]].number
      const now = after.numbers[which[edit.which]].number
      return `The number "${edit.which}" that families are shown changes from ${numberText(had)} to ${numberText(now)}`
    }
  }
}

const given = (differences: readonly RotaDifference[]): RotaDifference | undefined => differences[0]

function backText(first: RotaDifference | undefined, clinic: Clinic): string {
  if (first === undefined) return ''
  const now = first.after === undefined ? 'nobody' : nameOf(clinic, first.after)
  return `: ${now} is on call as "${first.role}" from ${momentText(clinic, first.from)} until ${momentText(clinic, first.until)}`
}

function whoIsTold({ told, after, edit }: EditTold): string {
  const names = told.map(id => nameOf(after, id))
  const isSeen = edit.kind === 'families-number' || edit.kind === 'hospital-number'
  if (names.length === 0) return isSeen ? 'every family sees it at once' : 'nobody is told'
  return `${listed(names)} ${names.length === 1 ? 'is' : 'are'} told`
}

function whichNights({ differences, after }: EditTold): string {
  const dates = [...new Set(differences.flatMap(one => datesOf(after, one)))].sort()
  if (dates.length === 0) return 'no night changes'
  const shown = dates.slice(0, DATES_MOST).map(date => DateTime.fromISO(date, { locale: 'en' }).toFormat('ccc d LLL'))
  const more = dates.length > shown.length ? ` and ${dates.length - shown.length} more` : ''
  return `${dates.length === 1 ? 'one day changes' : `${dates.length} days change`}: ${shown.join(', ')}${more}`
}

/** Local dates on which a stretch begins, and each further one it holds at noon. */
function datesOf({ zone }: Clinic, { from, until }: RotaDifference): readonly string[] {
  const first = DateTime.fromMillis(from, { zone })
  const dates = [first.toISODate() ?? '']
  for (
    let noon = first.set({ hour: 12, minute: 0 }).plus({ days: 1 });
    noon.toMillis() < until;
    noon = noon.plus({ days: 1 })
  )
    dates.push(noon.toISODate() ?? '')
  return dates
}

const nameOf = (clinic: Clinic, id: string): string => reachableOf(clinic, id)?.name ?? `"${id}"`

function momentText({ zone, clock }: Clinic, at: Instant): string {
  return DateTime.fromMillis(at, { zone, locale: 'en' }).toFormat(
    clock === '12h' ? 'ccc d LLL yyyy h:mm a' : 'ccc d LLL yyyy HH:mm',
  )
}

function listed(words: readonly string[]): string {
  return words.length < 2 ? (words[0] ?? '') : `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`
}
