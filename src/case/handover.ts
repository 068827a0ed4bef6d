/** What a clinician sees of a case: urgency, SBAR with read-back, answers, what was not asked, what is still to come. */

import type { Catalogue } from '../flow/wording.ts'
import type { Instant } from '../time/instant.ts'
import { CLOSE, CLOSURE, expectedArrival, NEVER, PROMISE, RUNG } from './alarm.ts'
import { numberGiven } from './answer.ts'
import { answerText } from './answer-text.ts'
import { closureTimesOf, reachedAnswer } from './derive.ts'
import { familyLine, flowOf, type Line, staffLine, wordingOf } from './line.ts'
import type { CaseState } from './state.ts'
import {
  agoText,
  betweenText,
  caseValues,
  clockSaidOf,
  concernNames,
  languageName,
  lengthText,
  speaksAlike,
} from './values.ts'
import type { CaseView, LogLine } from './view.ts'

/** Alarms that say nothing to the family by themselves. */
const SHELL_ALARMS: readonly string[] = [RUNG, PROMISE, CLOSURE, CLOSE]

/** Facts of the handover, in the order a receiving clinician asks for them. */
const BACKGROUND = [
  'device',
  'which-tube',
  'first-placed',
  'changed-before',
  'difficult-before',
  'fasting-risk',
  'own-plan',
  'acid-medicine',
  'taught',
  'spare',
]
const ASSESSMENT = [
  'danger-signs',
  'pain-or-bleeding',
  'came-out-with',
  'tube-found',
  'skin-signs',
  'replaced',
  'ph',
  'unwell-too',
  'last-feed',
  'feed-running',
  'critical-medicine-due',
]

export function viewOf(whole: Line, state: CaseState, log: readonly LogLine[], at: Instant): CaseView {
  const line = staffLine(whole)
  const wording = wordingOf(line, state.concern)
  const arrival = expectedArrival(state)
  const ringBack = state.answers['ring-back']?.answer
  const number = ringBack === undefined ? undefined : numberGiven(ringBack).phone
  return {
    caseId: state.caseId,
    code: state.code,
    concern: text(wording, `concern/${state.concern}`, state.concern),
    openedAt: state.openedAt,
    closed: state.closed,
    headline: headlineOf(line, state, wording),
    disposition: state.disposition?.id,
    callout: calloutOf(line, state, wording, at),
    handover: {
      situation: situation(line, state, wording, at),
      background: facts(line, state, wording, at, BACKGROUND),
      assessment: [...dangerLines(state, wording), ...facts(line, state, wording, at, ASSESSMENT)],
      recommendation: recommendation(line, state, wording, at),
      readBack: [text(wording, 'handover/read-back', '', caseValues(line, state, at))],
    },
    answers: Object.entries(state.answers).map(([fact, record]) => ({
      fact,
      label: text(wording, `label/${fact}`, fact),
      answer: answerText(line, wording, fact, record.answer, record.at),
      at: record.at,
      changed: record.changed,
    })),
    notAsked: notAskedOf(line, state, wording),
    told: log,
    coming: comingOf(line, state, wording, at),
    marks: state.marks
      .filter(mark => wording.has(`mark/${mark}`))
      .map(mark => wording.text(`mark/${mark}`, caseValues(line, state, at)))
      .concat(drivingMark(line, state, wording, at))
      .concat(namedMarks(line, state, wording)),
    notes: state.path.notes.map(note => text(wording, `note/${note}`, note, caseValues(line, state, at))),
    ...(state.day === undefined ? {} : { day: { taker: state.day.taker.name, at: state.day.at } }),
    ...(number === undefined ? {} : { ringBack: number }),
    ...(arrival === undefined ? {} : { expectedArrival: arrival }),
  }
}

function text(wording: Catalogue, id: string, otherwise: string, values = {}): string {
  return wording.has(id) ? wording.text(id, values) : otherwise
}

function headlineOf(line: Line, state: CaseState, wording: Catalogue): string {
  const { disposition } = state
  if (disposition === undefined) return text(wording, 'page-head/none', 'No decision yet')
  return wording.text(`headline/${disposition.id}`, { now: clockSaidOf(line, disposition.at) })
}

const STATES: Readonly<Record<string, CaseView['callout']['state']>> = {
  idle: 'none',
  first: 'paging',
  again: 'paging',
  next: 'paging',
  everyone: 'unanswered',
  broken: 'paging',
  taken: 'taken',
  spoken: 'spoken-to',
  settled: 'outcome-set',
}

function calloutOf(line: Line, state: CaseState, wording: Catalogue, at: Instant): CaseView['callout'] {
  const stage = state.kernel.callout
  const { taken } = state.callout
  const values = {
    ...caseValues(line, state, at),
    answer: taken === undefined ? '' : clockSaidOf(line, taken.at),
    label: state.callout.rangAt === undefined ? '' : clockSaidOf(line, state.callout.rangAt),
  }
  return {
    sentence: text(wording, `callout/${stage}`, stage, values),
    state: STATES[stage] ?? 'none',
    ...(taken === undefined ? {} : { takenBy: taken.by.id }),
    ...(taken?.promisedAt === undefined ? {} : { promisedAt: taken.promisedAt }),
    ...(state.alarms[RUNG] === undefined ? {} : { nextPageAt: state.alarms[RUNG].due }),
  }
}

function situation(line: Line, state: CaseState, wording: Catalogue, at: Instant): string[] {
  const values = caseValues(line, state, at)
  const named = (id: string, concerns: readonly string[]) =>
    concerns.length === 0 ? '' : text(wording, id, '', { also: concernNames(line, concerns) })
  const out = reachedAnswer(state, 'out-since')
  const inOpening = reachedAnswer(state, 'in-opening')
  const times = closureTimesOf(line, state)
  return [
    text(wording, `concern/${state.concern}`, state.concern),
    inOpening === undefined ? '' : labelled(line, wording, 'in-opening', inOpening, at),
    out === undefined
      ? ''
      : `${text(wording, 'label/out-since', 'out-since')}: ${out.kind === 'moment' ? `${betweenText(line, out)} (${lengthText(at - out.earliest, wording.language)})` : wording.text('option/not-sure')}`,
    times === undefined || times === 'unknown'
      ? ''
      : text(wording, 'handover/window', '', {
          ...values,
          reading: clockSaidOf(line, times.soonestAt),
          answer: clockSaidOf(line, times.latestAt),
        }),
    text(wording, 'handover/travel', '', values),
    speaksAlike(line, state)
      ? ''
      : text(wording, 'handover/language', '', { label: languageName(line, familyLine(line, state).language) }),
    state.foreign === undefined
      ? ''
      : text(wording, 'handover/foreign', '', { label: languageName(line, state.foreign) }),
    named('handover/also', [...(state.also ?? []), ...(state.alsoLeft ?? [])]),
    named(
      'handover/before',
      (state.before ?? []).map(({ concern }) => concern),
    ),
  ].filter(line => line !== '')
}

function labelled(
  line: Line,
  wording: Catalogue,
  fact: string,
  answer: NonNullable<ReturnType<typeof reachedAnswer>>,
  at: Instant,
): string {
  const shown =
    fact === 'first-placed' && answer.kind === 'moment'
      ? agoText(Math.max(0, at - answer.latest), wording.language)
      : answerText(line, wording, fact, answer, at)
  return `${text(wording, `label/${fact}`, fact)}: ${shown}`
}

function facts(line: Line, state: CaseState, wording: Catalogue, at: Instant, ids: readonly string[]): string[] {
  return ids.flatMap(fact => {
    const answer = reachedAnswer(state, fact)
    return answer === undefined ? [] : [labelled(line, wording, fact, answer, at)]
  })
}

function dangerLines(state: CaseState, wording: Catalogue): string[] {
  if (state.danger === undefined) return []
  const signs = state.danger.signs.map(sign => text(wording, `option/danger-signs/${sign}`, sign))
  return [[text(wording, 'handover/danger', ''), ...signs].filter(part => part !== '').join(' ')]
}

function recommendation(line: Line, state: CaseState, wording: Catalogue, at: Instant): string[] {
  const values = caseValues(line, state, at)
  const decided = state.disposition === undefined ? [] : [text(wording, `handover/${state.disposition.id}`, '', values)]
  const earlier = (state.before ?? []).flatMap(({ reasons }) => reasons)
  const reasons = [...new Set([...earlier, ...state.path.reasons, state.callout.reason])]
    .filter(reason => reason !== '')
    .map(reason => text(wording, `reason/${reason}`, reason))
  return [...decided, ...reasons].filter(part => part !== '')
}

function notAskedOf(line: Line, state: CaseState, wording: Catalogue): string[] {
  const asked = new Set(
    [...flowOf(line, state.concern).steps.values()].flatMap(step => (step.ask === undefined ? [] : [step.ask])),
  )
  return [...asked]
    .filter(fact => state.answers[fact] === undefined || state.answers[fact]?.answer.kind === 'unsure')
    .filter(fact => BACKGROUND.includes(fact) || ASSESSMENT.includes(fact) || fact === 'out-since' || fact === 'travel')
    .map(fact => text(wording, `label/${fact}`, fact))
}

function comingOf(line: Line, state: CaseState, wording: Catalogue, at: Instant): CaseView['coming'] {
  return Object.entries(state.alarms)
    .filter(([name, alarm]) => !SHELL_ALARMS.includes(name) && alarm.due !== NEVER)
    .map(([name, alarm]) => ({
      name,
      due: alarm.due,
      says: text(wording, `coming/${name}`, name, caseValues(line, state, at)),
    }))
    .sort((a, b) => a.due - b.due)
}

/** What is not to be missed of words and troubles: a language the bot does not speak, a trouble nobody asked about. */
function namedMarks(line: Line, { foreign, also = [] }: CaseState, wording: Catalogue): string[] {
  const waiting = also.length === 0 ? '' : text(wording, 'mark/also-waiting', '', { also: concernNames(line, also) })
  const writes = foreign === undefined ? '' : text(wording, 'mark/foreign', '', { label: languageName(line, foreign) })
  return [writes, waiting].filter(mark => mark !== '')
}

function drivingMark(line: Line, state: CaseState, wording: Catalogue, at: Instant): string[] {
  return state.leftAt === undefined || reachedAnswer(state, 'have-you-arrived')?.kind === 'choice'
    ? []
    : [text(wording, 'mark/driving', 'driving: ring, do not write', caseValues(line, state, at))]
}
