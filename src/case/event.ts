import type { DISPOSITIONS } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Answer } from './answer.ts'

/** What a clinician says they will do when taking a case. */
export type Doing =
  | { readonly kind: 'ringing-now' }
  | { readonly kind: 'ringing-by'; readonly by: Instant }
  | { readonly kind: 'go-in'; readonly hospital?: string }

/** Most urgent first in `DISPOSITIONS`. */
export type Disposition = (typeof DISPOSITIONS)[number]

/** Everything that can happen to a case. Past tense; instants arrive as data; free text stays as said. */
export type CaseEvent =
  | {
      readonly kind: 'caseOpened'
      readonly concern: string
      readonly said?: string
      /** What is on the child's record or was already said; answered before anything is asked. */
      readonly facts?: Readonly<Record<string, Answer>>
      /** Danger signs the first message named. */
      readonly danger?: readonly string[]
      /** What else it is about, most urgent first: kept for later. */
      readonly also?: readonly string[]
      /** It names nothing: the family is shown a button for each concern. */
      readonly unclear?: true
      /** What names nothing says that the child is not well: danger is asked about before what it is about. */
      readonly dangerFirst?: true
      /** It asks for a person, beside the trouble it names. */
      readonly wantsPerson?: true
      /** Why it could not be read: a photo, a voice message, pictures alone. */
      readonly unread?: Misread
      /** Serial of the last question of the chat's cases before; left out: 0. Written down so that the case can be replayed. */
      readonly serialAfter?: number
      /** The language it begins in; left out: the first of the clinic. Written down so that the case can be replayed. */
      readonly inLanguage?: string
    }
  /** What a message in the middle of a case is about beside, most urgent first, and what it tells along. */
  | {
      readonly kind: 'concernNamed'
      readonly concerns: readonly string[]
      readonly facts?: Readonly<Record<string, Answer>>
      readonly said: string
    }
  /** The family goes on in another language, by a word or a tap: the open question is said again in it. */
  | { readonly kind: 'languageChosen'; readonly language: string; readonly said?: string }
  /** A photo is kept for the clinician, by its id. It decides nothing. */
  | { readonly kind: 'photoKept'; readonly photo: string }
  /** The line is back after it was down: the open question is asked again. */
  | { readonly kind: 'resumed'; readonly downSince: Instant }
  | {
      readonly kind: 'answerGiven'
      readonly serial: number
      readonly fact: string
      readonly answer: Answer
      readonly said: string
      /** A typed time to be confirmed before it counts. */
      readonly readBack?: Between
    }
  | { readonly kind: 'readBackAnswered'; readonly serial: number; readonly right: boolean; readonly said: string }
  /** `said` where words took the earlier answer back, instead of a tap on *Change*. */
  | { readonly kind: 'changeWanted'; readonly fact: string; readonly said?: string }
  /** Words that are the answer to another question than the open one. */
  | { readonly kind: 'factSaid'; readonly fact: string; readonly answer: Answer; readonly said: string }
  | { readonly kind: 'staleAnswer'; readonly serial: number; readonly said: string }
  | { readonly kind: 'dangerSaid'; readonly signs: readonly string[]; readonly said: string }
  | { readonly kind: 'wrongTapSaid'; readonly said?: string }
  | { readonly kind: 'personWanted'; readonly said: string }
  | { readonly kind: 'travelRefused'; readonly said: string }
  /** "We have left", said while something else was asked. */
  | { readonly kind: 'leftSaid'; readonly said: string }
  | { readonly kind: 'familyRungSaid'; readonly said?: string }
  | { readonly kind: 'notUnderstood'; readonly reason: Misread; readonly said: string }
  /** Thanks and the like; with `news`, word that it is over or that help has come. It asks for nothing and closes nothing. */
  | { readonly kind: 'greeted'; readonly said?: string; readonly news?: true }
  | { readonly kind: 'alarmDue'; readonly name: string; readonly due: Instant }
  | {
      readonly kind: 'pageSettled'
      readonly pageId: string
      readonly to: string
      readonly outcome: 'accepted' | 'given-up'
    }
  | { readonly kind: 'pageOpened'; readonly pageId: string; readonly by: string }
  | { readonly kind: 'pageAcknowledged'; readonly by: Clinician; readonly doing: Doing }
  | { readonly kind: 'passedOn'; readonly by: Clinician; readonly reason?: string }
  | { readonly kind: 'clinicianWrote'; readonly by: Clinician; readonly text: string }
  | { readonly kind: 'callMade'; readonly by: Clinician }
  | { readonly kind: 'dispositionLowered'; readonly by: Clinician; readonly to: Disposition; readonly reason: string }
  | { readonly kind: 'alarmStopped'; readonly by: Clinician; readonly name: string }
  | {
      readonly kind: 'outcomeSet'
      readonly by: Clinician
      readonly outcome: string
      readonly note?: string
      readonly doNotWrite: boolean
    }
  /** Somebody else is on call now: a call-out under way pages them too. */
  | { readonly kind: 'rotaChanged'; readonly by: Clinician }
  /** Who looks after the case in the clinic's day; `by` is who named them. It stops no page: only an answer to one does. */
  | { readonly kind: 'dayTaken'; readonly by: Clinician; readonly taker: Clinician }
  | { readonly kind: 'replyGivenUp'; readonly effectId: string }

/** What a message tells beside what it means: its language, and where to ring. */
export interface InLanguage {
  /** A telephone number, in E.164, that the message gives: read back once it is taken. */
  readonly phone?: string
  /** The language of this line that the family is to be answered in from here on. */
  readonly language?: string
  /** ISO 639 code of a language that this line does not speak. */
  readonly foreign?: string
}

export interface Clinician {
  readonly id: string
  readonly name: string
  readonly role: string
}

/** Why words could not be taken as an answer; each has its own plain reply in the wording. */
export type Misread =
  | 'empty'
  | 'too-long'
  | 'no-words'
  | 'not-an-option'
  | 'time-unclear'
  | 'time-future'
  | 'time-impossible'
  | 'time-twice'
  | 'time-two-ways'
  | 'date-unclear'
  | 'date-impossible'
  | 'date-two-ways'
  | 'length-unclear'
  | 'length-impossible'
  | 'number-unclear'
  | 'number-unit'
  | 'number-impossible'
  | 'phone-unclear'
  | 'phone-two'
  | 'phone-none'
  | 'media'
  | 'edited'
  | 'forwarded'
  | 'not-now'
  | 'two-answers'

export type CaseEventKind = CaseEvent['kind']
