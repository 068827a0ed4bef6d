import type { Instant } from '../time/instant.ts'

/** A way a clinician is reached. Adapters: board, smtp, webhook (more may join). */
export interface Pager {
  readonly id: string
  /** Sends one page to one address. Never throws: every outcome is a value. */
  page(page: Page): Promise<Paged>
  stop(): Promise<void>
}

export interface Page {
  /** Idempotency key: the effect id and the address's position; a repeat carries the same key. */
  readonly key: string
  readonly caseId: string
  /** Spoken case code, e.g. "Sun 4719". */
  readonly code: string
  /** Person or desk being paged, by id and name. */
  readonly to: { readonly id: string; readonly name: string }
  /** Address in the pager's own terms (e-mail address, URL, nothing for the board). */
  readonly address: string
  /** Page text of at most 306 characters of the basic SMS alphabet, no child's name, link included. */
  readonly text: string
  /** Signed, expiring link to the case page. */
  readonly link: string
  readonly urgency: 'ambulance' | 'set-out' | 'speak'
  readonly kind: 'page' | 'repeat' | 'update' | 'taken'
  readonly at: Instant
  readonly repeated: boolean
}

export type Paged =
  | { readonly kind: 'accepted' }
  | { readonly kind: 'failed'; readonly reason: string; readonly retryAfterMs?: number }
  | { readonly kind: 'unknown'; readonly reason: string }
  | { readonly kind: 'refused'; readonly reason: string }
