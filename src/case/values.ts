/** The variables of a text, worked out from the case: final text in the family's or the clinician's words. */

import type { Values } from '../flow/wording.ts'
import { promiseDueAt } from '../oncall/acknowledgement.ts'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { numberText } from '../oncall/number-text.ts'
import { nextOpening } from '../oncall/opening.ts'
import type { Instant } from '../time/instant.ts'
import { clockSaid, clockText } from '../time/local-time.ts'
import type { Between } from '../time/span.ts'
import { expectedArrival } from './alarm.ts'
import { lastDigitsOf, numberGiven } from './answer.ts'
import { closureTimesOf, reachedAnswer } from './derive.ts'
import { familyLine, type Line, type LineSettings } from './line.ts'
import type { CaseState } from './state.ts'

/** A clock time in the clinic's zone and form, short: for margins and buttons. */
export function clockOf(line: Line, at: Instant): string {
  return clockText(at, line.clinic.zone, line.clinic.clock, line.language)
}

/** The same as a sentence says it, with its article where the language has one. */
export function clockSaidOf(line: Line, at: Instant): string {
  return clockSaid(at, line.clinic.zone, line.clinic.clock, line.language)
}

/** "between 1:30 am and 1:45 am", or one time when the ends are the same minute. */
export function betweenText(line: Line, between: Between): string {
  const [from, to] = [clockSaidOf(line, between.earliest), clockSaidOf(line, between.latest)]
  return from === to
    ? from
    : line.flows.wording.get(line.language)?.has('between')
      ? text(line, 'between', from, to)
      : `${from} – ${to}`
}

function text(line: Line, id: string, from: string, to: string): string {
  return line.flows.wording.get(line.language)?.text(id, { reading: from, answer: to }) ?? `${from} – ${to}`
}

/** Minutes in words, rounded up to five: "25 minutes", "1 hour 30 minutes", "1 hora 30 minutos". */
export function lengthText(milliseconds: number, language: string): string {
  const minutes = Math.max(5, Math.ceil(milliseconds / 300_000) * 5)
  const parts = [
    ...(minutes < 60 ? [] : [counted(Math.floor(minutes / 60), 'hour', language)]),
    ...(minutes % 60 === 0 ? [] : [counted(minutes % 60, 'minute', language)]),
  ]
  return new Intl.ListFormat(language, { type: 'unit', style: 'narrow' }).format(parts)
}

/** "3 weeks" in a language, by the unit patterns of CLDR. */
export function counted(
  count: number,
  unit: 'minute' | 'hour' | 'day' | 'week' | 'month' | 'year',
  language: string,
): string {
  return countingIn(language, unit).format(count)
}

const counting = new Map<string, Intl.NumberFormat>()

/** Kept: making one costs more than a whole reply. */
function countingIn(language: string, unit: string): Intl.NumberFormat {
  const key = `${language} ${unit}`
  const kept = counting.get(key) ?? new Intl.NumberFormat(language, { style: 'unit', unit, unitDisplay: 'long' })
  counting.set(key, kept)
  return kept
}

/** Concerns by their titles, as the clinic's people read them. */
export const concernNames = (line: Line, concerns: readonly string[]): string => listed(line, concerns, 'concern')

function listed(line: Line, concerns: readonly string[], kind: 'concern' | 'option/about'): string {
  const wording = line.flows.wording.get(line.language)
  // Making the list's form costs more than the rest of a reply's variables; most cases have nothing beside.
  if (concerns.length === 0) return ''
  const name = (id: string) => (wording?.has(`${kind}/${id}`) === true ? wording.text(`${kind}/${id}`) : id)
  return new Intl.ListFormat(line.language, { type: 'unit', style: 'short' }).format(concerns.map(name))
}

/** A language's name in the language the line speaks, by CLDR. */
export const languageName = (line: Line, language: string): string =>
  new Intl.DisplayNames(line.language, { type: 'language' }).of(language) ?? language

/** Whether a family is written to in the language the line speaks here. */
export const speaksAlike = (line: Line, state: Pick<CaseState, 'language'>): boolean =>
  familyLine(line, state).language === line.language

/** Numbers and names that stand whatever the case is. The only numbers in it are those families may see. */
export function lineValues(line: Line, at: Instant): Values {
  const opens = nextOpening(line.clinic, at)
  return {
    ...standingValues(line),
    now: clockSaidOf(line, at),
    ...(opens === undefined ? {} : { opensAt: clockSaidOf(line, opens) }),
  }
}

/** By clinic and settings as they are read: a file that is changed while the line runs gives others. */
const standing = new WeakMap<Clinic, WeakMap<LineSettings, Map<string, Values>>>()

/** Those that hold at any time; worked out once for each language. */
function standingValues({ clinic, settings, language }: Line): Values {
  const ofClinic = standing.get(clinic) ?? new WeakMap<LineSettings, Map<string, Values>>()
  const ofSettings = ofClinic.get(settings) ?? new Map<string, Values>()
  const values = ofSettings.get(language) ?? standingIn(clinic, settings, language)
  standing.set(clinic, ofClinic.set(settings, ofSettings.set(language, values)))
  return values
}

function standingIn(clinic: Clinic, settings: LineSettings, language: string): Values {
  const numbers = familyNumbers(clinic, language)
  const hospital = numbers.hospitals[0]
  const [flushLeast, flushMost] = settings['flush-ml']
  return {
    emergency: numberText(numbers.emergency.number),
    clinicNumber: numberText(numbers.clinic.number),
    clinicWords: numbers.clinic.words ?? '',
    clinicName: clinic.name,
    transport: numberText(numbers.transport.number),
    hospital: hospital?.name ?? '',
    hospitalDoor: hospital?.door ?? '',
    hospitalNumber: numberText(hospital?.number.number ?? numbers.clinic.number),
    staffNumber: numberText(hospital?.number.number ?? numbers.clinic.number),
    flushLeast,
    flushMost,
    flushWait: lengthText(settings['flush-wait'], language),
  }
}

/** All variables of a case at `at`. Where something is not known the text's own select says so. */
export function caseValues(line: Line, state: CaseState, at: Instant, late?: { due: Instant }): Values {
  return {
    ...lineValues(line, at),
    code: state.code,
    nickname: state.nickname ?? '',
    also: listed(line, state.also ?? [], 'option/about'),
    ...answerValues(line, state, at),
    ...calloutValues(line, state, at),
    late: late === undefined ? '' : lengthText(at - late.due, line.language),
  }
}

function answerValues(line: Line, state: CaseState, at: Instant): Values {
  const travel = reachedAnswer(state, 'travel')
  const out = reachedAnswer(state, 'out-since')
  const placed = reachedAnswer(state, 'first-placed')
  const phone = reachedAnswer(state, 'ring-back')
  const times = closureTimesOf(line, state)
  const leaveBy = times === undefined || times === 'unknown' ? undefined : times.leaveBy
  const arrival = expectedArrival(state)
  const number = phone === undefined ? undefined : numberGiven(phone).phone
  return {
    travel: travel?.kind === 'length' ? lengthText(travel.atMostMs, line.language) : '',
    hasTravel: travel?.kind === 'length' ? 'yes' : 'no',
    outSince: out?.kind === 'moment' ? betweenText(line, out) : '',
    placed: placed?.kind === 'moment' ? agoText(at - placed.latest, line.language) : '',
    leaveBy: leaveBy === undefined ? '' : clockSaidOf(line, leaveBy),
    hasLeaveBy: leaveBy === undefined ? 'no' : 'yes',
    leavePast: leaveBy === undefined || leaveBy <= at ? 'yes' : 'no',
    phoneEnds: number === undefined ? '' : lastDigitsOf(number),
    hasPhone: number === undefined ? 'no' : 'yes',
    arrival: arrival === undefined ? '' : clockSaidOf(line, arrival.latest),
  }
}

/** A page this old was asked for before what is said now. */
const ASKED_BEFORE_MS = 60_000

/** Whether a person was asked for before, and one has taken it: "taken", "before" or "new". */
function pagingSaid({ callout }: CaseState, at: Instant): string {
  if (callout.taken !== undefined) return 'taken'
  const first = callout.pages[0]
  return first !== undefined && at - first.at >= ASKED_BEFORE_MS ? 'before' : 'new'
}

function calloutValues(line: Line, state: CaseState, at: Instant): Values {
  const { taken, pages } = state.callout
  const lastPaged = pages.at(-1)?.to
  const paged = lastPaged === undefined ? undefined : reachableOf(line.clinic, lastPaged)
  return {
    clinician: taken?.by.name ?? paged?.name ?? line.clinic.name,
    clinicianRole: taken?.by.role ?? (paged?.kind === 'person' ? paged.job : ''),
    dayTaker: state.day?.taker.name ?? line.clinic.name,
    promisedBy: taken === undefined ? '' : clockSaidOf(line, taken.promisedAt),
    promiseFailsAt: taken === undefined ? '' : clockSaidOf(line, promiseDueAt(taken.promisedAt, line.settings)),
    promisePast: taken !== undefined && taken.promisedAt <= at ? 'yes' : 'no',
    paging: pagingSaid(state, at),
    pagesSent: pages.length,
  }
}

/** Days and weeks since, rounded down: the younger reading. */
export function agoText(milliseconds: number, language: string): string {
  const days = Math.floor(milliseconds / 86_400_000)
  if (days < 14) return counted(days, 'day', language)
  const weeks = Math.floor(days / 7)
  return weeks < 16 ? counted(weeks, 'week', language) : counted(Math.floor(days / 30), 'month', language)
}
