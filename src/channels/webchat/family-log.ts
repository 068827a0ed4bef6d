import type { ChatRef, Control, Incoming, Part, Question } from '../../case/message.ts'
import type { LogLine } from '../../case/view.ts'
import type { Instant } from '../../time/instant.ts'
import type { FamilyFoot, Wording } from '../web-page.ts'
import type { Photo } from '../web-photo.ts'

/** What one chat's page shows. Read afresh from the store for every page: it is the truth, an event is only a hint. */
export interface FamilyLog {
  readonly lines: readonly LogLine[]
  /** The open question; absent when nothing is asked. */
  readonly question?: Question
  /** Answers on record, each with a *Change* beside it. */
  readonly changeable: readonly { readonly fact: string; readonly label: string; readonly answer: string }[]
  /** Spoken code of the case ("Sun 4719"). */
  readonly code?: string
  /** Who was paged and what they said, as one sentence; present while a call is awaited. */
  readonly callState?: string
  /** Language the family of this chat is written to in; absent before anything was said. */
  readonly language?: string
  /** How many photos the family may still send for the clinician; left out or 0: none. */
  readonly photosLeft?: number
  /** Which controls make sense now, in order. `change` and `start` need not be listed. */
  readonly controls: readonly Control[]
  /** Shown when one chat holds more than one child. */
  readonly nickname?: string
  /** What to show at the desk; absent: made from code, answers and advice told. */
  readonly desk?: DeskSheet
}

/** One screen for the people at the hospital's desk, in their language. */
export interface DeskSheet {
  /** Sentences to read to reception, first. */
  readonly say: readonly string[]
  /** Label and text, in the order triage asks. */
  readonly facts: readonly { readonly label: string; readonly text: string }[]
  /** The number for staff to ring the clinic. */
  readonly staff?: { readonly label: string; readonly number: string; readonly shown?: string }
}

/** Clock and calendar as the clinic writes them. */
export interface FamilyClock {
  now(): Instant
  /** "2:09 am", in the clinic's zone and form. */
  text(at: Instant): string
  /** "Sunday 1 March"; a heading where the day changes. */
  day(at: Instant): string
}

/** What a page is made of in one language. */
export interface Spoken {
  readonly clock: FamilyClock
  foot(): FamilyFoot
  /** Approved holding advice of the tube-out flow, shown before anything is sent. */
  firstAdvice(): readonly Part[]
  /** Concern buttons; the first is the big one. */
  concerns(): readonly { readonly id: string; readonly label: string }[]
  /** What the clinic tells every family before anything else: that the line is closed, or slow. Left out: nothing. */
  lineNotice?(): readonly string[]
  readonly wording: Wording
  /** BCP 47 of the wording; default `en`. */
  readonly language?: string
}

/** Everything the web chat needs from the rest of the bot; the words are those of the first language. */
export interface WebchatPorts extends Spoken {
  /**
   * Takes one message; resolves once it is committed. A rejection with `retryAfterSeconds` becomes 503 with
   * Retry-After, any other rejection 500; both with the numbers to ring and a way to send again.
   *
   * A tap on a concern before anything is asked arrives as a choice with serial {@link CONCERN_SERIAL}.
   */
  receive(incoming: Incoming): Promise<void>
  log(chat: ChatRef): Promise<FamilyLog>
  /** Keeps a photo for the case this chat is about; its id, or undefined where none may be kept now. */
  keepPhoto?(chat: ChatRef, photo: Photo): Promise<string | undefined>
  /** At least 128 random bits, as letters, digits, `-` and `_`. */
  randomId(): string
  /** Languages a family may choose, each with its own name for itself; none: there is only the one. */
  readonly languages?: readonly { readonly tag: string; readonly name: string }[]
  /** Language of the people at the hospital's desk; absent: the first. */
  readonly deskLanguage?: string
  /** The words of one of them. */
  inLanguage?(tag: string): Spoken
  /** The SVG of a drawing, or undefined. */
  drawing?(id: string): string | undefined
  readonly demonstration: boolean
  /** Scheme and host as families see them; absent: taken from each request. */
  readonly origin?: string
  /** Milliseconds between heartbeats of an event stream; default 20 000. */
  readonly heartbeatMs?: number
}

/** Serial of a tapped concern button: no question has it, questions start at 1. */
export const CONCERN_SERIAL = 0
