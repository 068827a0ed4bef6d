import type { Lane, OutboxRow, StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import type { Outcome } from './lane.ts'

/** One row made ready to go. */
export interface Ready {
  /** JSON of the text to be kept with the row before it goes; undefined when what the row has is sent again. */
  readonly content?: string
  /** When the first try of this row began. */
  readonly firstAt: Instant
  /** Hands it to the channel or pager. */
  send(): Promise<Outcome>
}

/** Makes rows of a lane ready, and tells the case how they ended. */
export interface Sending {
  readonly lane: Lane
  /**
   * A row ready to go, from its case as it is now (undefined: erased). What cannot be rendered goes out as the fixed text;
   * a throw means that the row itself cannot be read, now or later: it is given up.
   */
  ready(row: OutboxRow, stored: StoredCase | undefined, now: Instant): Ready
  /** Called after a row ended; tells the case. Rejects when the store does: it is called again then. */
  ended(row: OutboxRow, outcome: 'sent' | 'given-up'): Promise<void>
}

/** Text rendered longer ago than this is rendered again before it is sent again: the case has moved on. */
export const RENDERED_FRESH_MS = 5 * 60_000

/** What is kept with a row: the text as sent, when the first try began, and until when its words hold. */
export type Kept<T> = T & {
  readonly firstAt: Instant
  /** The earliest instant the text may name as still to come; from it on (inclusive) the text is rendered again. */
  readonly holdsUntil?: Instant
}

/** The kept content of a row where it may be sent again as it is: not old, and no time it names has passed. */
export function freshIn<T>(row: OutboxRow, kept: Kept<T> | undefined, now: Instant): Kept<T> | undefined {
  if (kept === undefined || row.renderedAt === undefined || now - row.renderedAt > RENDERED_FRESH_MS) return undefined
  return kept.holdsUntil !== undefined && kept.holdsUntil <= now ? undefined : kept
}

/** The text to be kept with a row. `ahead`: instants it may name; those that have passed at `now` do not count. */
export function toKeep<T>(sent: T, firstAt: Instant, ahead: readonly Instant[], now: Instant): Kept<T> {
  const [holdsUntil] = ahead.filter(one => one > now).sort((a, b) => a - b)
  return { ...sent, firstAt, ...(holdsUntil === undefined ? {} : { holdsUntil }) }
}

/** What was sent, out of what is kept. */
export function sentOf<T>({ firstAt: _first, holdsUntil: _until, ...sent }: Kept<T>): T {
  return sent as unknown as T
}

/** The kept content of a row, or undefined where there is none that can be read. */
export function keptOf<T>(row: OutboxRow): Kept<T> | undefined {
  if (row.content === undefined) return undefined
  try {
    return JSON.parse(row.content) as Kept<T>
  } catch {
    return undefined
  }
}
