import type { Lane, OutboxRow } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import type { Outcome } from './lane.ts'

/** One row made ready to go. */
export interface Ready {
  /** JSON of the text to be kept with the row; undefined when what the row has is sent again. */
  readonly content?: string
  /** When the first try of this row began. */
  readonly firstAt: Instant
  /** Hands it to the channel or pager. */
  send(): Promise<Outcome>
}

/** Makes rows of a lane ready. Never throws for a row's own sake: what cannot be rendered goes out as the fixed text. */
export interface Sending {
  readonly lane: Lane
  ready(row: OutboxRow, now: Instant): Promise<Ready>
  /** Called after a row ended; tells the case. */
  ended(row: OutboxRow, outcome: 'sent' | 'given-up'): void
}

/** Text rendered longer ago than this is rendered again before it is sent again: a time in it may have passed. */
export const RENDERED_FRESH_MS = 5 * 60_000

/** Whether what a row already holds may be sent again as it is. */
export function isFresh(row: OutboxRow, now: Instant): boolean {
  return row.content !== undefined && row.renderedAt !== undefined && now - row.renderedAt <= RENDERED_FRESH_MS
}

/** What is kept with a row: the text as sent, and when the first try began. */
export type Kept<T> = T & { readonly firstAt: Instant }

/** The kept content of a row, or undefined where there is none that can be read. */
export function keptOf<T>(row: OutboxRow): Kept<T> | undefined {
  if (row.content === undefined) return undefined
  try {
    return JSON.parse(row.content) as Kept<T>
  } catch {
    return undefined
  }
}
