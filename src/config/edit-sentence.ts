import { DateTime } from 'luxon'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { RotaDifference } from '../oncall/differences.ts'
import { numberText } from '../oncall/number-text.ts'
import { instantsOf, type WallTime } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'
import type { ClinicEdit } from './clinic-edits.ts'
import { type EditPhrases, englishPhrases } from './edit-phrases.ts'
import { spanishPhrases } from './edit-phrases-es.ts'
import { patternSentence } from './pattern-edits.ts'
import { roleText } from './role-words.ts'
import { type Definition, isSettingId, settingDefinitions } from './setting-definitions.ts'
import { settingWords } from './setting-words.ts'
import { dateText, lengthWords, valueWords } from './value-words.ts'

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

/** Sentences in these languages; in another, English. */
const PHRASES: Readonly<Record<string, EditPhrases>> = { en: englishPhrases, es: spanishPhrases }

/** @param language  of the clinic's people; left out: English */
export function editSentence(given: EditTold, language = 'en'): string {
  const phrases = PHRASES[language] ?? englishPhrases
  return `${whatChanges(given, phrases)}; ${whoIsTold(given, phrases)}; ${whichNights(given, phrases)}.`
}

function whatChanges({ edit, was, before, after, differences }: EditTold, phrases: EditPhrases): string {
  const name = (id: string) => nameOf(after, id)
  const moment = (at: Instant) => momentText(after, at, phrases)
  const wall = (time: WallTime) => moment(instantsOf(after.zone, time).earlier)
  const number = (of: string | undefined): string | undefined => (of === undefined ? undefined : numberText(of))
  switch (edit.kind) {
    case 'cover': {
      const instead = new Set(differences.map(one => (one.before === undefined ? phrases.nobody : name(one.before))))
      const { from, until, who } = edit
      const role = roleText(edit.role, phrases.locale)
      return phrases.cover({ who: name(who), role, from: wall(from), until: wall(until), instead: [...instead] })
    }
    case 'swap': {
      const taken = differences.find(one => one.before === edit.of && one.after === edit.to)
      const { inReturn } = edit
      const role = roleText(edit.role, phrases.locale)
      const [to, of] = [name(edit.to), name(edit.of)]
      const until = taken === undefined ? undefined : moment(taken.until)
      const first = phrases.swap({ to, of, role, from: wall(edit.starts), until })
      if (inReturn === undefined) return first
      return `${first}${phrases.inReturn({ to, of, role: roleText(inReturn.role, phrases.locale), from: wall(inReturn.starts) })}`
    }
    case 'leave': {
      const open = differences.filter(({ after: now }) => now === undefined)
      const holes = open
        .slice(0, DATES_MOST)
        .map(one => phrases.hole(roleText(one.role, phrases.locale), moment(one.from), moment(one.until)))
      const more = open.length - holes.length
      return phrases.leave({ who: name(edit.who), from: wall(edit.from), until: wall(edit.until), holes, more })
    }
    case 'take-back': {
      const [first] = differences
      const said = phrases.takenBack(edit.line + 1, edit.section)
      if (first === undefined) return said
      const now = first.after === undefined ? phrases.nobody : name(first.after)
      return `${said}${phrases.backTo(now, roleText(first.role, phrases.locale), moment(first.from), moment(first.until))}`
    }
    case 'weekly':
    case 'shift-new':
    case 'shift-out':
    case 'role-new':
    case 'rung':
    case 'rung-new':
      return patternSentence(edit, before, after, phrases)
    case 'calendar': {
      const shifts = (after.rota.calendar ?? []).filter(one => one.calendar === edit.file)
      const [last] = shifts.map(one => one.endsAt).toSorted((a, b) => b - a)
      return phrases.calendar({
        ...{ role: roleText(edit.role, phrases.locale), shifts: shifts.length },
        host: edit.from === undefined ? undefined : new URL(edit.from).host,
        until: last === undefined ? undefined : moment(last),
      })
    }
    case 'calendar-stop':
      return phrases.calendarStop(roleText(edit.role, phrases.locale))
    case 'calendar-out':
      return phrases.calendarOut(roleText(edit.role, phrases.locale))
    case 'private-number': {
      const had = reachableOf(before, edit.who)?.privateNumber
      const now = reachableOf(after, edit.who)?.privateNumber ?? edit.number
      return phrases.privateNumber(name(edit.who), number(had), numberText(now))
    }
    case 'page-address': {
      const had = reachableOf(before, edit.who)?.pageAt[edit.way]
      return phrases.pageAddress(name(edit.who), had?.pager, edit.address, had?.address)
    }
    case 'setting': {
      if (!isSettingId(edit.id)) return phrases.setting(edit.id, was, edit.value)
      const definition: Definition = settingDefinitions[edit.id]
      const { name } = settingWords(edit.id, phrases.locale)
      const [had, value] = [was, edit.value].map(each =>
        each === undefined ? undefined : valueWords(each, definition, phrases.locale),
      )
      return phrases.setting(name, had, value ?? '')
    }
    case 'hours':
      return phrases.hours(edit.day, edit.value, was)
    case 'date':
      return phrases.date(dateText(edit.day, phrases.locale), edit.value, was)
    case 'retention':
      return phrases.retention(
        lengthWords(edit.value, phrases.locale),
        was === undefined ? undefined : lengthWords(was, phrases.locale),
      )
    case 'hospital-number': {
      const of = (clinic: Clinic) => clinic.hospitals.find(({ id }) => id === edit.hospital)
      const [had, now] = [of(before)?.familiesRing.number ?? '', of(after)?.familiesRing.number ?? edit.number]
      return phrases.hospitalNumber(of(after)?.name ?? edit.hospital, numberText(had), numberText(now))
    }
    case 'families-number': {
      const which = { emergency: 'emergency', 'families-ring': 'familiesRing', transport: 'transport' } as const
      const of = (clinic: Clinic) => numberText(clinic.numbers[which[edit.which]].number)
      return phrases.familiesNumber(edit.which, of(before), of(after))
    }
  }
}

function whoIsTold({ told, after, edit }: EditTold, phrases: EditPhrases): string {
  const isSeen = edit.kind === 'families-number' || edit.kind === 'hospital-number'
  if (told.length === 0) return isSeen ? phrases.everyFamilySees : phrases.nobodyTold
  return phrases.told(told.map(id => nameOf(after, id)))
}

function whichNights({ differences, after }: EditTold, phrases: EditPhrases): string {
  const dates = [...new Set(differences.flatMap(one => datesOf(after, one)))].sort()
  if (dates.length === 0) return phrases.noNight
  const shown = dates
    .slice(0, DATES_MOST)
    .map(date => DateTime.fromISO(date, { locale: phrases.locale }).toFormat('ccc d LLL'))
  return phrases.nights(dates.length, shown, dates.length - shown.length)
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

function momentText({ zone, clock }: Clinic, at: Instant, { locale }: EditPhrases): string {
  return DateTime.fromMillis(at, { zone, locale }).toFormat(
    clock === '12h' ? 'ccc d LLL yyyy h:mm a' : 'ccc d LLL yyyy HH:mm',
  )
}
