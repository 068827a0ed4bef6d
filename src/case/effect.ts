import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Answer } from './answer.ts'

/** Page reason and wording id of a case that was handed to people because it could not go on by itself. */
export const PARKED_REASON = 'parked'

/** One thing to say, by id; text is rendered when it is first sent. */
export type Saying =
  | { readonly kind: 'say'; readonly id: string }
  /** `of`: the concern whose words it is in, where talk has turned to another. */
  | { readonly kind: 'stop'; readonly id: string; readonly of?: string }
  | { readonly kind: 'ask'; readonly serial: number; readonly fact: string }
  /** A typed time read back for confirmation: "So it came out between … Is that right?" */
  | { readonly kind: 'read-back'; readonly serial: number; readonly fact: string; readonly reading: Between }
  /** `fact`: what was asked, where the hint may be in its own terms. `again`: the words before were no answer either. */
  /** `said` where the family's words are said back. */
  | {
      readonly kind: 'misread'
      readonly reason: string
      readonly fact?: string
      readonly again?: true
      readonly said?: string
    }
  /** Two answers that contradict, both read back: the one on record, and the words that say otherwise. */
  | { readonly kind: 'both'; readonly fact: string; readonly answer: Answer; readonly said: string }
  /** An answer to a question that was not asked yet, read back: it is not asked any more. */
  | { readonly kind: 'noted'; readonly fact: string; readonly answer: Answer }
  /** What the words of a message answered beside their trouble, read back: it is not asked, and can be set right. */
  | { readonly kind: 'heard'; readonly answers: readonly { readonly fact: string; readonly answer: Answer }[] }
  /** In a language this line does not speak: that it does not, the numbers, and that a person is paged. */
  | { readonly kind: 'foreign'; readonly language: string }
  | { readonly kind: 'clinician'; readonly name: string; readonly role: string; readonly text: string }

export type Urgency = 'ambulance' | 'set-out' | 'speak'

/**
 * Everything a step may ask for. Imperative; ids and instants only, so that it can be stored without text.
 * An effect's id is case id + event number + position.
 */
export type Effect =
  /** One reply to the family, parts in order. `late` is set when an alarm fired after its moment. */
  | {
      readonly kind: 'reply'
      readonly parts: readonly Saying[]
      readonly audible: boolean
      /** What the case was about when it was said; left out while it never was about anything else. */
      readonly concern?: string
      readonly late?: { readonly due: Instant }
    }
  /** Page one person or desk (every address of theirs). */
  | {
      readonly kind: 'page'
      readonly to: string
      readonly why: 'page' | 'repeat' | 'update' | 'taken'
      readonly reason: string
      readonly urgency: Urgency
      /** "Page 1 of 3, next person 02:18". */
      readonly number: number
      readonly of: number
      readonly nextAt?: Instant
    }
  | { readonly kind: 'setAlarm'; readonly name: string; readonly due: Instant }
  | { readonly kind: 'cancelAlarm'; readonly name: string }
  /** A note for the clinic's day. */
  | { readonly kind: 'note'; readonly id: string }
  | { readonly kind: 'closeCase' }
