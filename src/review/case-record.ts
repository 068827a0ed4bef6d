import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { Instant } from '../time/instant.ts'

/** One step of a case as it was made. */
export interface RecordStep {
  readonly at: Instant
  readonly event: CaseEvent & InLanguage
  readonly effects: readonly Effect[]
}

/** A case as it is on record, in the store or in a transcript. */
export interface CaseRecord {
  readonly caseId: string
  /** The same for every case of one chat. It need not tell which. */
  readonly family: string
  readonly channel: string
  readonly concern: string
  /** Left out: the first language of the clinic. */
  readonly language?: string
  readonly openedAt: Instant
  /** Serial of the last question of the same chat before it. */
  readonly serialAfter: number
  readonly closed: boolean
  /** In order. */
  readonly steps: readonly RecordStep[]
}
