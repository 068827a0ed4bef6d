/**
 * Takes out of events and effects what tells who somebody is: free words, names, numbers, ids. What was understood stays, so
 * that a case still replays: for every event, what the step decides of the de-identified event is the de-identified decision.
 *
 * What stays: instants, concern, answers from lists, times, ages, measures, roles. That is still about a child: it is no open data.
 */
import type { Answer } from '../case/answer.ts'
import type { Effect, Saying } from '../case/effect.ts'
import type { CaseEvent, Clinician, InLanguage } from '../case/event.ts'
import type { Names } from './names.ts'

/** The names of one case. */
export interface CaseNames extends Names {
  readonly caseId: string
}

type Event = CaseEvent & InLanguage

export function deidentifiedEvent(event: Event, names: CaseNames): Event {
  const plain = withoutNames(event, names)
  return event.phone === undefined ? plain : { ...plain, phone: names.familyNumber(names.caseId, event.phone) }
}

function withoutNames(event: Event, names: CaseNames): Event {
  const words = <T extends { readonly said?: string }>(one: T): T =>
    one.said === undefined ? one : { ...one, said: names.words(one.said) }
  switch (event.kind) {
    case 'caseOpened':
    case 'concernNamed':
      return event.facts === undefined ? words(event) : { ...words(event), facts: factsIn(event.facts, names) }
    case 'answerGiven':
    case 'factSaid':
      return { ...words(event), answer: answerIn(event.answer, names) }
    case 'languageChosen':
    case 'readBackAnswered':
    case 'changeWanted':
    case 'staleAnswer':
    case 'dangerSaid':
    case 'wrongTapSaid':
    case 'personWanted':
    case 'travelRefused':
    case 'leftSaid':
    case 'familyRungSaid':
    case 'notUnderstood':
    case 'greeted':
      return words(event)
    case 'resumed':
    case 'alarmDue':
      return event
    // That there was one; its id is made of when it came, and names a file.
    case 'photoKept':
      return { ...event, photo: 'photo' }
    case 'pageSettled':
      return { ...event, pageId: effectIdIn(event.pageId, names), to: names.person(event.to) }
    case 'pageOpened':
      return { ...event, pageId: effectIdIn(event.pageId, names), by: names.person(event.by) }
    case 'replyGivenUp':
      return { ...event, effectId: effectIdIn(event.effectId, names) }
    case 'pageAcknowledged':
    case 'callMade':
    case 'alarmStopped':
    case 'rotaChanged':
      return { ...event, by: clinicianIn(event.by, names) }
    case 'passedOn':
      return {
        ...event,
        by: clinicianIn(event.by, names),
        ...(event.reason === undefined ? {} : { reason: names.words(event.reason) }),
      }
    case 'clinicianWrote':
      return { ...event, by: clinicianIn(event.by, names), text: names.words(event.text) }
    case 'dispositionLowered':
      return { ...event, by: clinicianIn(event.by, names), reason: names.words(event.reason) }
    case 'outcomeSet':
      return {
        ...event,
        by: clinicianIn(event.by, names),
        ...(event.note === undefined ? {} : { note: names.words(event.note) }),
      }
    case 'dayTaken':
      return { ...event, by: clinicianIn(event.by, names), taker: clinicianIn(event.taker, names) }
  }
}

export function deidentifiedEffect(effect: Effect, names: CaseNames): Effect {
  if (effect.kind === 'page') return { ...effect, to: names.person(effect.to) }
  return effect.kind === 'reply' ? { ...effect, parts: effect.parts.map(part => sayingIn(part, names)) } : effect
}

function sayingIn(part: Saying, names: CaseNames): Saying {
  switch (part.kind) {
    case 'both':
      return { ...part, answer: answerIn(part.answer, names), said: names.words(part.said) }
    case 'noted':
      return { ...part, answer: answerIn(part.answer, names) }
    case 'heard':
      return {
        ...part,
        answers: part.answers.map(({ fact, answer }) => ({ fact, answer: answerIn(answer, names) })),
      }
    case 'clinician':
      return { ...part, name: names.personName(part.name), text: names.words(part.text) }
    case 'say':
    case 'stop':
    case 'ask':
    case 'read-back':
    case 'foreign':
      return part
    case 'misread':
      return part.said === undefined ? part : { ...part, said: names.words(part.said) }
  }
}

const factsIn = (facts: Readonly<Record<string, Answer>>, names: CaseNames) =>
  Object.fromEntries(Object.entries(facts).map(([fact, answer]) => [fact, answerIn(answer, names)]))

function answerIn(answer: Answer, names: CaseNames): Answer {
  if (answer.kind !== 'phone' || answer.number === 'write-only') return answer
  return { ...answer, number: names.familyNumber(names.caseId, answer.number) }
}

const clinicianIn = (by: Clinician, names: Names): Clinician => ({
  ...by,
  id: names.person(by.id),
  name: names.personName(by.name),
})

/** An effect's id begins with its case's. */
const effectIdIn = (effectId: string, names: CaseNames): string =>
  effectId.startsWith(`${names.caseId}.`)
    ? `${names.case(names.caseId)}${effectId.slice(names.caseId.length)}`
    : names.words(effectId)
