import type { Answer } from '../case/answer.ts'
import type { CaseEvent, Misread } from '../case/event.ts'
import type { Incoming } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { RunningCase } from './machine.ts'

/** What words or a tap were read as. `said` is as the family said it, or the label tapped. */
export type Understood =
  | {
      readonly kind: 'answer'
      /** Serial of the question it belongs to: the tapped one's, or the open one's for typed words. */
      readonly serial: number
      readonly fact: string
      readonly answer: Answer
      readonly said: string
      readonly readBack?: Between
    }
  | { readonly kind: 'read-back'; readonly serial: number; readonly right: boolean; readonly said: string }
  | { readonly kind: 'stale'; readonly serial: number; readonly said: string }
  | { readonly kind: 'danger'; readonly signs: readonly string[]; readonly said: string; readonly concern?: string }
  /** `despair` is a person wanted, said in other words. */
  | { readonly kind: 'person' | 'despair' | 'cannot-travel'; readonly said: string; readonly concern?: string }
  | { readonly kind: 'they-rang' | 'wrong-tap' | 'left' | 'arrived'; readonly said: string }
  /** A concern named, with whatever facts and danger signs the same words held. */
  | {
      readonly kind: 'concern'
      readonly concern: string
      readonly said: string
      readonly facts?: Readonly<Record<string, Answer>>
      readonly danger?: readonly string[]
    }
  | { readonly kind: 'change'; readonly fact: string; readonly said: string }
  | { readonly kind: 'misread'; readonly reason: Misread; readonly said: string }

/**
 * Reads one message. `state` is the case it belongs to, or undefined for a first message; `at` is when the family made
 * the message, so that "just now" counts from there. Pure; controls never come here.
 */
export type Understand = (message: {
  readonly body: Exclude<Incoming['body'], { readonly kind: 'control' }>
  readonly state: RunningCase | undefined
  readonly at: Instant
}) => Understood

/** Facts that "we have left" and "we are here" answer while they are asked. */
const LEFT = 'have-you-left'
const ARRIVED = 'have-you-arrived'

/** The event of a message that belongs to an open case. Total: whatever cannot be placed goes to a person. */
export function eventOfUnderstood(understood: Understood, state: RunningCase): CaseEvent {
  const { said } = understood
  switch (understood.kind) {
    case 'answer':
      return answered(understood, state)
    case 'read-back':
      if (understood.serial !== state.open?.serial) return { kind: 'staleAnswer', serial: understood.serial, said }
      return { kind: 'readBackAnswered', serial: understood.serial, right: understood.right, said }
    case 'stale':
      return { kind: 'staleAnswer', serial: understood.serial, said }
    case 'danger':
      return { kind: 'dangerSaid', signs: understood.signs, said }
    case 'person':
    case 'despair':
      return { kind: 'personWanted', said }
    case 'cannot-travel':
      return { kind: 'travelRefused', said }
    case 'they-rang':
      return { kind: 'familyRungSaid' }
    case 'wrong-tap':
      return { kind: 'wrongTapSaid' }
    case 'left':
      return followUp(LEFT, said, state)
    case 'arrived':
      return followUp(ARRIVED, said, state)
    case 'change':
      return { kind: 'changeWanted', fact: understood.fact }
    case 'misread':
      return { kind: 'notUnderstood', reason: understood.reason, said }
    case 'concern':
      return concernSaid(understood, state)
  }
}

function answered(understood: Understood & { readonly kind: 'answer' }, state: RunningCase): CaseEvent {
  const { serial, fact, answer, said, readBack } = understood
  if (serial !== state.open?.serial || fact !== state.open.fact) return { kind: 'staleAnswer', serial, said }
  return { kind: 'answerGiven', serial, fact, answer, said, ...(readBack === undefined ? {} : { readBack }) }
}

/** "We have left" or "we are here": an answer while it is asked; said unasked, a person has to know of it. */
function followUp(fact: string, said: string, state: RunningCase): CaseEvent {
  if (state.open?.fact !== fact) return { kind: 'personWanted', said }
  return { kind: 'answerGiven', serial: state.open.serial, fact, answer: { kind: 'choice', value: 'yes' }, said }
}

/** Another concern in the middle of a case is for a person; the same one again, for the open question. */
function concernSaid(understood: Understood & { readonly kind: 'concern' }, state: RunningCase): CaseEvent {
  const { danger, said, concern } = understood
  if (danger !== undefined && danger.length > 0) return { kind: 'dangerSaid', signs: danger, said }
  if (concern !== state.concern) return { kind: 'personWanted', said }
  return state.open === undefined ? { kind: 'greeted' } : { kind: 'notUnderstood', reason: 'not-an-option', said }
}

/** The event of a control in an open case. `said` of a control is its id: the words on the button are the channel's. */
export function eventOfControl(body: Incoming['body'] & { readonly kind: 'control' }): CaseEvent {
  switch (body.control) {
    case 'person':
      return { kind: 'personWanted', said: '' }
    case 'cannot-travel':
      return { kind: 'travelRefused', said: '' }
    case 'wrong-tap':
      return { kind: 'wrongTapSaid' }
    case 'they-rang':
      return { kind: 'familyRungSaid' }
    case 'change':
      return body.subject === undefined ? { kind: 'greeted' } : { kind: 'changeWanted', fact: body.subject }
    case 'new-child':
    case 'show-handover':
    case 'start':
      return { kind: 'greeted' }
  }
}
