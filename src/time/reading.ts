import type { Instant } from './instant.ts'
import type { Between } from './span.ts'

/** What a caregiver's words about time were read as. */
export type MomentReading =
  | ({ readonly kind: 'between' } & Between)
  | {
      readonly kind: 'ask'
      readonly reason: AskReason
      /** What the words may mean, where that is a short list. */
      readonly candidates?: readonly Between[]
    }

export type LengthReading =
  /** Both inclusive, in milliseconds. */
  | { readonly kind: 'length'; readonly atLeastMs: number; readonly atMostMs: number }
  | { readonly kind: 'ask'; readonly reason: AskReason }

/** Why words were not taken: each has its own plain reply. */
export type AskReason =
  /** Nothing, or nothing sure, could be made of them. */
  | 'time-unclear'
  /** It lies ahead of now. */
  | 'time-future'
  /** No clock and no calendar shows it. */
  | 'time-impossible'
  /** The clocks went back over it. */
  | 'time-twice'
  /** Two times and no range, or a correction towards the milder end. */
  | 'two-answers'

/** What a reader of time words has to know beside them. */
export interface PhraseContext {
  /** The moment the words were made: the earlier of made and received. Relative words count back from it. */
  readonly at: Instant
  /** IANA zone of the family's clock. */
  readonly zone: string
  /** Language of the words; English and Spanish (`en`, `es-MX` …) are read, anything else is asked about. */
  readonly language: string
  /** When the feed that was running began, where that is known. */
  readonly lastFeedStart?: Instant
}

export const ask = (reason: AskReason, candidates?: readonly Between[]): Extract<MomentReading, { kind: 'ask' }> =>
  candidates === undefined || candidates.length === 0 ? { kind: 'ask', reason } : { kind: 'ask', reason, candidates }
