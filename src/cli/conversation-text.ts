/** A recorded case as people read it: what happened, and what the family and the clinicians were sent. */

import { CLOSE, CLOSURE, PROMISE, RUNG } from '../case/alarm.ts'
import type { Answer } from '../case/answer.ts'
import { answerText } from '../case/answer-text.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent } from '../case/event.ts'
import { familyLine, type Line, staffLine, wordingOf } from '../case/line.ts'
import { renderPage, renderReply } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import { clockOf } from '../case/values.ts'
import type { Instant } from '../time/instant.ts'

/** How a person is called in what is told, by their id. */
export type Called = (id: string) => string

const BY_ID: Called = id => id

/** What was decided of one event, in lines: replies in the family's words, pages in the clinic's, the rest by name. */
export function decidedLines(
  line: Line,
  state: CaseState | undefined,
  effects: readonly Effect[],
  at: Instant,
  called: Called = BY_ID,
): string[] {
  return effects.flatMap(effect => effectLines(line, state, effect, at, called))
}

function effectLines(
  line: Line,
  state: CaseState | undefined,
  effect: Effect,
  at: Instant,
  called: Called,
): readonly string[] {
  switch (effect.kind) {
    case 'reply':
      return rendered(() => replyLines(line, state, effect, at), replyIds(effect))
    case 'page':
      return rendered(
        () => [
          `PAGE to ${called(effect.to)} (${effect.why}, ${effect.urgency}): ${state === undefined ? '' : renderPage(line, state, effect, at).join(' ')}`,
        ],
        [`PAGE to ${called(effect.to)} (${effect.why}, ${effect.urgency}): ${effect.reason}`],
      )
    case 'setAlarm':
      return [`ALARM at ${clockOf(line, effect.due)}: ${alarmText(line, state, effect.name)}`]
    case 'cancelAlarm':
      return [`ALARM cancelled: ${alarmText(line, state, effect.name)}`]
    case 'note':
      return [`NOTE for the day: ${effect.id}`]
    case 'closeCase':
      return ['CASE closed']
  }
}

/** Words that cannot be filled are told by their ids: the report must come. */
function rendered(words: () => string[], ids: readonly string[]): readonly string[] {
  try {
    return words()
  } catch {
    return ids
  }
}

function replyLines(
  line: Line,
  state: CaseState | undefined,
  reply: Effect & { kind: 'reply' },
  at: Instant,
): string[] {
  if (state === undefined) return replyIds(reply)
  return renderReply(line, state, reply, at, { repeated: false }).map(part => {
    // With its buttons, as they stood on the family's screen.
    if (part.kind === 'question') return [`? ${part.text}`, ...part.options.map(({ label }) => `[${label}]`)].join(' ')
    if (part.kind === 'person') return `"${part.text}"`
    return part.kind === 'withdrawn' ? `! ${part.text}` : `- ${part.text}`
  })
}

const replyIds = (reply: Effect & { kind: 'reply' }): string[] =>
  reply.parts.map(part =>
    'id' in part ? `${part.kind} ${part.id}` : 'fact' in part ? `${part.kind} ${part.fact}` : part.kind,
  )

/** In the clinic's words where there are some; else by its name. */
function clinicText(line: Line, state: CaseState | undefined, id: string, otherwise: string): string {
  if (state === undefined) return otherwise
  const wording = wordingOf(staffLine(line), state.concern)
  try {
    return wording.has(id) ? wording.text(id) : otherwise
  } catch {
    return otherwise
  }
}

/** What an alarm is for. Those of the line's own stand in no flow. */
const alarmText = (line: Line, state: CaseState | undefined, name: string): string =>
  clinicText(line, state, `coming/${name}`, Object.hasOwn(OWN_ALARMS, name) ? (OWN_ALARMS[name] ?? name) : name)

const OWN_ALARMS: Readonly<Record<string, string>> = {
  [RUNG]: 'Pages again, or the next person',
  [PROMISE]: 'Pages again if no call was noted',
  [CLOSURE]: 'The next moment on the clock of the opening',
  [CLOSE]: 'Closes the case',
}

/** What happened, in one line. Words that were taken out are told as understood. */
export function happenedLine(
  line: Line,
  state: CaseState,
  event: CaseEvent,
  at: Instant,
  called: Called = BY_ID,
): string {
  const label = (fact: string) => clinicText(line, state, `label/${fact}`, fact)
  const dangers = (values: readonly string[]) => answered(line, state, 'danger-signs', { kind: 'many', values }, at)
  switch (event.kind) {
    case 'caseOpened':
      return `FAMILY: about ${clinicText(line, state, `concern/${event.concern}`, event.concern)}${event.danger === undefined ? '' : `, danger: ${dangers(event.danger)}`}${factsText(line, state, event.facts ?? {}, at)}`
    case 'answerGiven':
    case 'factSaid':
      return `FAMILY: ${label(event.fact)}: ${answered(line, state, event.fact, event.answer, at)}`
    case 'readBackAnswered':
      return `FAMILY: ${event.right ? 'yes, that is right' : 'no, that is not right'}`
    case 'changeWanted':
      return `FAMILY: changes ${label(event.fact)}`
    case 'dangerSaid':
      return `FAMILY: danger: ${dangers(event.signs)}`
    case 'concernNamed':
      return `FAMILY: names ${event.concerns.map(id => clinicText(line, state, `concern/${id}`, id)).join(', ')}`
    case 'alarmDue':
      return `TIME: alarm due ${clockOf(line, event.due)}: ${alarmText(line, state, event.name)}`
    case 'pageSettled':
      return `PAGER: page to ${called(event.to)} ${event.outcome}`
    case 'resumed':
      return `LINE: runs again, was down since ${clockOf(line, event.downSince)}`
    case 'replyGivenUp':
      return 'LINE: a message did not get through and is not tried any more'
    case 'notUnderstood':
    case 'greeted':
    case 'languageChosen':
    case 'photoKept':
    case 'staleAnswer':
    case 'wrongTapSaid':
    case 'personWanted':
    case 'travelRefused':
    case 'leftSaid':
    case 'familyRungSaid':
      return `FAMILY: ${OF_FAMILY[event.kind]}`
    default:
      return `CLINICIAN ${called(typeof event.by === 'string' ? event.by : event.by.id)}: ${actText(event, (id, otherwise) => clinicText(line, state, id, otherwise))}`
  }
}

const OF_FAMILY = {
  notUnderstood: 'writes what is not understood',
  greeted: 'thanks, or tells news',
  languageChosen: 'goes on in another language',
  photoKept: 'sends a photo',
  staleAnswer: 'answers an earlier question',
  wrongTapSaid: 'says that a tap was wrong',
  personWanted: 'wants a person',
  travelRefused: 'cannot get there',
  leftSaid: 'has left',
  familyRungSaid: 'says that they were rung',
} as const

type Act = Extract<CaseEvent, { readonly by: unknown }>

const DOING = { 'ringing-now': 'rings now', 'ringing-by': 'rings later', 'go-in': 'tells them to come in' } as const

function actText(event: Act, said: (id: string, otherwise: string) => string): string {
  switch (event.kind) {
    case 'pageAcknowledged':
      return `takes the case: ${DOING[event.doing.kind]}`
    case 'outcomeSet':
      return `sets the outcome: ${said(`outcome/${event.outcome}`, event.outcome)}`
    case 'pageOpened':
      return 'opens the page'
    case 'passedOn':
      return 'passes it on'
    case 'clinicianWrote':
      return 'writes to the family'
    case 'callMade':
      return 'notes a call with the family'
    case 'dispositionLowered':
      return `lowers the decision to ${event.to}`
    case 'alarmStopped':
      return `stops an alarm: ${said(`coming/${event.name}`, event.name)}`
    case 'rotaChanged':
      return 'changes who is on call'
    case 'dayTaken':
      return 'names who looks after it by day'
  }
}

const factsText = (line: Line, state: CaseState, facts: Readonly<Record<string, Answer>>, at: Instant): string =>
  Object.entries(facts)
    .map(
      ([fact, answer]) =>
        `, ${clinicText(line, state, `label/${fact}`, fact)}: ${answered(line, state, fact, answer, at)}`,
    )
    .join('')

function answered(whole: Line, state: CaseState, fact: string, answer: Answer, at: Instant): string {
  const line = familyLine(whole, state)
  try {
    return answerText(line, wordingOf(line, state.concern), fact, answer, at)
  } catch {
    return answer.kind === 'choice' ? answer.value : answer.kind === 'many' ? answer.values.join(', ') : answer.kind
  }
}
