/** From ids to final text: replies in the family's words, pages in the clinic's. Pure; called when first sent. */

import type { Catalogue, Values } from '../flow/wording.ts'
import type { Instant } from '../time/instant.ts'
import { clockText } from '../time/local-time.ts'
import { lastDigitsOf, numberGiven } from './answer.ts'
import { answerText } from './answer-text.ts'
import { reachedAnswer } from './derive.ts'
import type { Effect, Saying } from './effect.ts'
import {
  familyLine,
  flowOf,
  InvariantBroken,
  isWorded,
  type Line,
  languagesOf,
  lineIn,
  staffLine,
  wordingOf,
} from './line.ts'
import { ABOUT } from './line-questions.ts'
import type { Drawing, Option, Part, Question } from './message.ts'
import { questionsToCome } from './questions-to-come.ts'
import type { CaseState } from './state.ts'
import { betweenText, caseValues, concernNames, languageName, lineValues, speaksAlike } from './values.ts'

type Reply = Effect & { kind: 'reply' }
type PageEffect = Effect & { kind: 'page' }

/** A reply as it reads at `at`. A repeat is labelled first. Instants come from the case as it stands now. */
export function renderReply(
  whole: Line,
  state: CaseState,
  reply: Reply,
  at: Instant,
  extra: { repeated: boolean },
): Part[] {
  const line = familyLine(whole, state)
  const concern = reply.concern ?? state.concern
  const wording = wordingOf(line, concern)
  const values = caseValues(line, state, at, reply.late)
  const notice = (id: string): Part => ({ kind: 'notice', id, text: wording.text(`say/${id}`, values) })
  const labels = [
    ...(extra.repeated ? [notice('repeat-label')] : []),
    ...(reply.late === undefined ? [] : [notice('late')]),
  ]
  const parts = reply.parts.map(part => renderPart({ line, state, concern, wording, at, values }, part))
  return [...labels, ...parts.filter(isSaidOnce)]
}

/** Two pieces of advice with the same words are one line. */
function isSaidOnce(part: Part, index: number, parts: readonly Part[]): boolean {
  return (
    part.kind !== 'advice' || !parts.slice(0, index).some(other => other.kind === 'advice' && other.text === part.text)
  )
}

interface Rendering {
  readonly line: Line
  readonly state: CaseState
  /** What the case was about when it was said. */
  readonly concern: string
  readonly wording: Catalogue
  readonly at: Instant
  readonly values: Values
}

function renderPart(rendering: Rendering, part: Saying): Part {
  const { line, state, concern, wording, at, values } = rendering
  switch (part.kind) {
    case 'say': {
      const { tags = [], drawing } = flowOf(line, concern).advice.get(part.id) ?? {}
      const text = wording.text(`say/${part.id}`, values)
      if (tags.length === 0) return { kind: 'notice', id: part.id, text }
      return { kind: 'advice', id: part.id, text, tags, ...drawn(drawing, wording) }
    }
    case 'stop': {
      const of = part.of ?? concern
      const tags = flowOf(line, of).advice.get(part.id)?.tags ?? []
      const text = wordingOf(line, of).text(`stop/${part.id}`, values)
      return { kind: 'withdrawn', id: part.id, text, tags }
    }
    case 'foreign': {
      const text =
        line.foreign?.get(part.language)?.text('say', { ...values, languages: spokenBy(line, part.language) }) ??
        wording.text('say/fallback', values)
      const tags = ['call-emergency', 'call-clinician']
      return { kind: 'advice', id: 'foreign', text, tags, language: part.language }
    }
    case 'both': {
      const answer = answerText(line, wording, part.fact, part.answer, at)
      return {
        kind: 'notice',
        id: 'both',
        text: wording.text('say/both-said', { ...values, answer, quoted: quoted(part.said) }),
      }
    }
    case 'noted': {
      const { phone } = numberGiven(part.answer)
      if (phone !== undefined && wording.has('say/noted-number')) {
        const answer = lastDigitsOf(phone)
        return { kind: 'notice', id: 'noted', text: wording.text('say/noted-number', { ...values, answer }) }
      }
      const label = wording.text(`label/${part.fact}`, values)
      const answer = answerText(line, wording, part.fact, part.answer, at)
      return { kind: 'notice', id: 'noted', text: wording.text('say/noted', { ...values, label, answer }) }
    }
    case 'heard': {
      const read = part.answers.map(
        ({ fact, answer }) =>
          `${wording.text(`label/${fact}`, values)}: ${answerText(line, wording, fact, answer, at)}`,
      )
      return { kind: 'notice', id: 'heard', text: wording.text('say/heard', { ...values, answer: read.join('; ') }) }
    }
    case 'misread': {
      const own = `misread/${part.reason}/${part.fact}`
      const once = wording.has(own) ? own : `misread/${part.reason}`
      // A measure of something else is said back each time: the number was not taken.
      const isAgain = part.again === true && part.said === undefined
      const words = part.said === undefined ? values : { ...values, quoted: quoted(part.said) }
      const text = wording.text(isAgain ? 'misread/again' : once, words)
      return { kind: 'notice', id: `misread-${part.reason}`, text }
    }
    case 'clinician':
      return { kind: 'person', name: part.name, role: part.role, text: part.text }
    case 'read-back':
      return {
        kind: 'question',
        serial: part.serial,
        fact: part.fact,
        several: false,
        accepts: 'moment',
        text: wording.text('say/read-back', { ...values, reading: betweenText(line, part.reading) }),
        options: [
          { value: 'yes', label: wording.text('option/read-back/yes') },
          { value: 'no', label: wording.text('option/read-back/no') },
        ],
      }
    case 'ask':
      return questionShown(line, state, part.serial, part.fact, wording, at, values)
  }
}

/** Most characters of a family's own words that are read back to it. */
const QUOTED_MOST = 200

/** A family's own words inside a text of the bot's, in one line, apart from its direction (Unicode bidi, FSI and PDI). */
function quoted(said: string): string {
  const words = said.replace(/[\p{Cc}\p{Bidi_Control}\s]+/gu, ' ').trim()
  return `\u2068${words.length > QUOTED_MOST ? `${words.slice(0, QUOTED_MOST).toWellFormed()} …` : words}\u2069`
}

/** Names of the line's languages in another language, by CLDR; where it has none for Haitian Creole, in French. */
function spokenBy(line: Line, language: string): string {
  const names = new Intl.DisplayNames([language, 'fr'], { type: 'language' })
  return languagesOf(line)
    .map(each => names.of(each) ?? each)
    .join(', ')
}

const ACCEPTS: Readonly<Record<string, Question['accepts']>> = {
  choice: 'words',
  many: 'words',
  moment: 'moment',
  date: 'date',
  length: 'duration',
  number: 'number',
  phone: 'phone',
}

const drawn = (id: string | undefined, wording: Catalogue): { readonly drawing?: Drawing } =>
  id === undefined ? {} : { drawing: { id, text: wording.text(`drawing/${id}`) } }

/** The open question as it is shown, in the language the line speaks, with about how many are to come. */
export function questionShown(
  line: Line,
  state: CaseState,
  serial: number,
  fact: string,
  wording: Catalogue,
  at: Instant,
  values: Values = caseValues(line, state, at),
): Question {
  const more = state.open?.changing === true ? undefined : questionsToCome(line, state, at)
  const question = questionOf(line, serial, fact, wording, values)
  return more === undefined || more === 0 ? question : { ...question, more }
}

/** A question, its answers and what it takes, in the language the line speaks. Values may be worked out where a text asks for them. */
export function questionOf(
  line: Line,
  serial: number,
  fact: string,
  wording: Catalogue,
  values: Values | (() => Values),
): Question {
  const document = line.flows.facts[fact]
  if (document === undefined) throw new InvariantBroken(`no fact "${fact}"`)
  const all = [...(document.values ?? []), ...Object.keys(document.taps ?? {})]
  const shown = fact === ABOUT ? all.filter(concern => isWorded(line, concern, line.language)) : all
  const options: Option[] = shown.map(value => ({
    value,
    label: wording.text(`option/${fact}/${value}`, values),
    ...(document.apart?.includes(value) === true ? { apart: true } : {}),
    ...(document.drawings === true ? { drawing: value } : {}),
  }))
  if (document.kind === 'phone')
    options.push({ value: 'write-only', label: wording.text(`option/${fact}/write-only`, values) })
  options.push({
    value: 'not-sure',
    label: wording.text('option/not-sure'),
    apart: true,
    ...(document.drawings === true ? { drawing: 'unsure' } : {}),
  })
  return {
    kind: 'question',
    serial,
    fact,
    text: wording.text(`ask/${fact}`, values),
    ...drawn(document.drawing, wording),
    ...(wording.has(`why/${fact}`) ? { why: wording.text(`why/${fact}`, values) } : {}),
    options,
    several: document.kind === 'many' && document['act-at-once'] !== true,
    accepts: ACCEPTS[document.kind] ?? 'words',
  }
}

/**
 * The pieces of a page, most urgent first: what the family was told and when, since when, tube and opening, danger,
 * advice, travel, what is wanted, code, who is next. No name, number or free word of the family is in it.
 */
export function renderPage(whole: Line, state: CaseState, page: PageEffect, at: Instant): string[] {
  const line = staffLine(whole)
  const wording = wordingOf(line, state.concern)
  const values = caseValues(line, state, at)
  const clock = (instant: Instant) => clockText(instant, line.clinic.zone, '24h', line.language)
  const has = (id: string, extra: Readonly<Record<string, string>> = {}) =>
    wording.has(id) ? wording.text(id, { ...values, ...extra }) : ''
  const kind = page.why === 'page' ? '' : has(`page/${page.why}`)
  const told = has(`page-head/${page.urgency}`, { now: clock(state.disposition?.at ?? at) })
  const short = (fact: string) => {
    const answer = reachedAnswer(state, fact)
    if (answer?.kind === 'unsure') return has(`page/unsure-${fact}`)
    return answer === undefined ? '' : answerText(line, wording, fact, answer, at, '24h')
  }
  const out = short('out-since')
  const pieces = [
    kind === '' ? told : `${kind} ${told}`,
    state.foreign === undefined ? '' : has('page/foreign', { label: languageName(line, state.foreign) }),
    page.why === 'taken'
      ? has('page/taken-by', {
          clinician: state.callout.taken?.by.name ?? '',
          now: clock(state.callout.taken?.at ?? at),
        })
      : has(`reason/${page.reason}`),
    out === '' || reachedAnswer(state, 'out-since')?.kind === 'unsure' ? out : has('page/out-since', { outSince: out }),
    [short('device'), has(`page/tract-${state.kernel.facts.tract ?? 'not-asked'}`)]
      .filter(piece => piece !== '')
      .join(', '),
    state.danger === undefined
      ? has(`page/danger-${state.kernel.facts.danger ?? 'not-asked'}`)
      : state.danger.signs.map(sign => has(`option/danger-signs/${sign}`)).join(', '),
    state.before === undefined ? '' : concernNames(line, [state.concern]),
    (state.also ?? []).length === 0 ? '' : has('page/also', { also: concernNames(line, state.also ?? []) }),
    speaksAlike(line, state)
      ? ''
      : has('page/language', { label: languageName(line, familyLine(line, state).language) }),
    state.marks.includes('wrong-tap') ? has('page/wrong-tap') : '',
    state.marks.includes('cannot-travel') ? has('page/cannot-travel') : has('page/travel'),
    state.leftAt === undefined ? '' : has('page/driving'),
    has(`page/${state.marks.includes('write-only') ? 'write-only' : 'wants-call'}`),
    has('page/code'),
    page.nextAt === undefined || page.nextAt <= at
      ? ''
      : has('page/next', { now: clock(page.nextAt), label: String(page.number), answer: String(page.of) }),
  ]
  return pieces.map(piece => sentence(piece.trim(), line.language)).filter(piece => piece !== '')
}

/** With a capital at its start and a stop at its end. */
function sentence(piece: string, language: string): string {
  const begun = piece.charAt(0).toLocaleUpperCase(language) + piece.slice(1)
  return begun === '' || /[.:!?]$/.test(begun) ? begun : `${begun}.`
}

/**
 * The fixed text for any doubt at run time: what holds always, and the numbers. In every language families may use, where
 * it is not known which one this family reads.
 */
export function fallbackParts(line: Line, at: Instant, language?: string): Part[] {
  const languages = languagesOf(line)
  const spoken = language !== undefined && languages.includes(language) ? [language] : languages
  return spoken.map(each => {
    const wording = line.flows.wording.get(each)
    if (wording === undefined) throw new InvariantBroken(`no wording in "${each}"`)
    const text = wording.text('say/fallback', lineValues(lineIn(line, each), at))
    return { kind: 'advice', id: 'fallback', text, tags: ['call-emergency', 'call-clinician'] }
  })
}
