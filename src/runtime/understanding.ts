import { numberGiven } from '../case/answer.ts'
import type { CaseEvent, InLanguage as Spoken } from '../case/event.ts'
import type { Incoming } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'
import type { Understood } from '../understand/understood.ts'
import type { RunningCase } from './machine.ts'
import { SOMEONE } from './opening.ts'

/** What the words tell of the language they are in, and whether they ask for a language and nothing else. */
export type InLanguage = Spoken & { readonly asksLanguage?: true }

/**
 * Reads one message. `state` is the case it belongs to, or undefined for a first message; `at` is when the family made the
 * message, so that "just now" counts from there; `language` is that of the screen it was made on. Pure.
 */
export type Understand = (message: {
  readonly body: Incoming['body']
  readonly state: RunningCase | undefined
  readonly at: Instant
  readonly language?: string
}) => Understood & InLanguage

/** Facts that "we have left" and "we are here" answer while they are asked. */
const LEFT = 'have-you-left'
const ARRIVED = 'have-you-arrived'
/** Where to ring: may be written at any moment. */
const RING_BACK = 'ring-back'
/** Whether the one who writes is with the child. */
const WITH_CHILD = 'with-child'

/** The event of a message that belongs to an open case. Total: whatever cannot be placed goes to a person. */
export function eventOfUnderstood(
  understood: Understood & InLanguage,
  body: Incoming['body'],
  state: RunningCase,
): CaseEvent & Spoken {
  const { language, foreign, asksLanguage, phone } = understood
  if (asksLanguage === true && language !== undefined) {
    const said = body.kind === 'text' ? { said: body.text } : {}
    return { kind: 'languageChosen', language, ...said }
  }
  const event = { ...plainEvent(understood, body, state), ...(phone === undefined ? {} : { phone }) }
  // What a lexicon of another language makes of the words is no answer, unless it is danger.
  if (foreign !== undefined && event.kind !== 'dangerSaid')
    return { kind: 'personWanted', said: body.kind === 'text' ? body.text : '', foreign }
  return language === undefined ? event : { ...event, language }
}

function plainEvent(understood: Understood, body: Incoming['body'], state: RunningCase): CaseEvent & Spoken {
  switch (understood.kind) {
    case 'answer':
      return answered(understood, state)
    case 'read-back': {
      const { right, said } = understood
      return state.open === undefined
        ? { kind: 'notUnderstood', reason: 'not-now', said }
        : { kind: 'readBackAnswered', serial: state.open.serial, right, said }
    }
    case 'danger':
      return { kind: 'dangerSaid', signs: understood.signs, said: understood.said }
    case 'person':
    case 'despair':
      return { kind: 'personWanted', said: understood.said }
    case 'cannot-travel':
      return { kind: 'travelRefused', said: understood.said }
    case 'they-rang':
      return { kind: 'familyRungSaid', ...written(understood) }
    case 'wrong-tap':
      return { kind: 'wrongTapSaid', ...written(understood) }
    case 'left':
      return followUp(LEFT, understood.said, state)
    case 'arrived':
      return followUp(ARRIVED, understood.said, state)
    case 'photo-kept':
      return { kind: 'photoKept', photo: understood.photo }
    case 'change':
      return {
        kind: 'changeWanted',
        fact: understood.fact,
        ...written(understood),
      }
    case 'fact':
      return state.closed || (state.open === undefined && understood.fact !== RING_BACK)
        ? { kind: 'notUnderstood', reason: 'not-now', said: understood.said }
        : { kind: 'factSaid', fact: understood.fact, answer: understood.answer, said: understood.said }
    case 'misread':
      return misread(understood, body, state)
    case 'concern':
      return concernSaid(understood, state)
    case 'control':
      return { kind: 'greeted' }
  }
}

/** The words of what was written; nothing of what was tapped. */
const written = ({ said }: { readonly said?: string }): { readonly said?: string } =>
  said === undefined ? {} : { said }

function answered(
  { answer, said, readBack }: Understood & { readonly kind: 'answer' },
  { open }: RunningCase,
): CaseEvent & Spoken {
  if (open === undefined) return { kind: 'notUnderstood', reason: 'not-now', said }
  const { serial, fact } = open
  return {
    kind: 'answerGiven',
    serial,
    fact,
    answer,
    said,
    ...(readBack === undefined ? {} : { readBack }),
    ...numberGiven(answer),
  }
}

/** A tap on a question that is not the open one never answers the open one. */
function misread(
  { reason, said }: Understood & { readonly kind: 'misread' },
  body: Incoming['body'],
  { open }: RunningCase,
): CaseEvent {
  const isStale = body.kind === 'choice' && body.serial !== open?.serial
  return isStale ? { kind: 'staleAnswer', serial: body.serial, said } : { kind: 'notUnderstood', reason, said }
}

/** "We have left" or "we are here": an answer while it is asked; said unasked, a person has to know of it. */
function followUp(fact: string, said: string, { open }: RunningCase): CaseEvent {
  if (open?.fact !== fact) return fact === LEFT ? { kind: 'leftSaid', said } : { kind: 'personWanted', said }
  return { kind: 'answerGiven', serial: open.serial, fact, answer: { kind: 'choice', value: 'yes' }, said }
}

/**
 * Words that are no answer. Another concern named in the middle of a case is heard; whoever is not with the child, and
 * whatever else is written while nothing is asked ("write it here at once"), need a person, but for thanks and good night, which page
 * nobody and are answered, and for news that it is over, which who was paged is told; the rest is kept as said and asked again.
 */
function concernSaid(
  { concerns, facts, readBacks, said, small, news }: Understood & { readonly kind: 'concern' },
  { open, closed, concern }: RunningCase,
): CaseEvent {
  if (small === true) return { kind: 'greeted', said }
  if (news === true && !closed) return { kind: 'greeted', said, news }
  const others = concerns.filter(each => each !== concern && each !== SOMEONE)
  if (others.length > 0 && !closed) {
    // A typed time that has to be read back is no answer yet.
    const held = Object.fromEntries(Object.entries(facts).filter(([fact]) => !(fact in readBacks)))
    return { kind: 'concernNamed', concerns: others, said, ...(Object.keys(held).length === 0 ? {} : { facts: held }) }
  }
  // The same trouble said again while something is asked is no answer to it.
  if (concerns.length > 0 && open !== undefined && !closed)
    return { kind: 'notUnderstood', reason: 'not-an-option', said }
  const withChild = facts[WITH_CHILD]
  const isAway = withChild?.kind === 'choice' && withChild.value === 'no'
  if (concerns.length > 0 || isAway || (open === undefined && !closed)) return { kind: 'personWanted', said }
  return { kind: 'notUnderstood', reason: closed ? 'not-now' : 'not-an-option', said }
}
