import type { Instant } from '../time/instant.ts'
import type { Disposition } from './event.ts'
import type { Part } from './message.ts'

/** What a clinician sees of one case. Made from state and history by `case/handover.ts`; all text is final. */
export interface CaseView {
  readonly caseId: string
  readonly code: string
  readonly concern: string
  readonly openedAt: Instant
  readonly closed: boolean
  /** In words: "Go to hospital, told 2:13 am". */
  readonly headline: string
  readonly disposition: Disposition | undefined
  readonly callout: {
    /** open · taken · spoken-to · outcome set · unanswered · passed on, as a sentence with name and time. */
    readonly sentence: string
    readonly state: 'none' | 'paging' | 'taken' | 'spoken-to' | 'outcome-set' | 'unanswered'
    readonly takenBy?: string
    /** By when whoever took it said they would be in touch. */
    readonly promisedAt?: Instant
    /** When somebody is paged again or next, unless one answers before. */
    readonly nextPageAt?: Instant
  }
  /** Situation, background, assessment, recommendation and read-back: each a list of lines. */
  readonly handover: {
    readonly situation: readonly string[]
    readonly background: readonly string[]
    readonly assessment: readonly string[]
    readonly recommendation: readonly string[]
    readonly readBack: readonly string[]
  }
  /** What the family answered: question in short, answer in words, when; `changed` when corrected. */
  readonly answers: readonly { fact: string; label: string; answer: string; at: Instant; changed: boolean }[]
  /** Labels of what this flow would ask that was not asked or answered "not sure". */
  readonly notAsked: readonly string[]
  /** Word for word what was told and said, in order. */
  readonly told: readonly LogLine[]
  /** What the bot would still send and when; each can be stopped. */
  readonly coming: readonly { name: string; due: Instant; says: string }[]
  /** What the flow left for the clinic's day, in words. */
  readonly notes: readonly string[]
  /** Who looks after it in the clinic's day. */
  readonly day?: { readonly taker: string; readonly at: Instant }
  /** Marks: "driving: ring, do not write" · "can't travel" · "write only" · "family says wrong tap" … */
  readonly marks: readonly string[]
  /** E.164, for a tap-to-call link on the clinician's page only. */
  readonly ringBack?: string
  readonly expectedArrival?: { readonly earliest: Instant; readonly latest: Instant }
}

/** One line of the log, for the family's page and the clinician's alike. */
export interface LogLine {
  readonly at: Instant
  readonly speaker:
    | { readonly kind: 'bot' }
    | { readonly kind: 'family' }
    | { readonly kind: 'clinician'; readonly name: string; readonly role: string }
  readonly parts: readonly Part[]
  /** Family lines only: their words or the label tapped. */
  readonly said?: string
  readonly reached: 'delivered' | 'waiting' | 'unknown' | 'not-delivered' | 'received'
}
