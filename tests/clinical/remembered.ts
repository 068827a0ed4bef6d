import { type Instant, instant } from '../../src/time/instant.ts'
import type { Between } from '../../src/time/span.ts'

/** Instants, memories and lengths in few words, for tables that read across. */

/** "01:30" on the night of 1 March 2026 (UTC); "+05:00" is the day after. */
export function clock(text: string): Instant {
  const day = text.startsWith('+') ? '02' : '01'
  return instant(Date.parse(`2026-03-${day}T${text.replace('+', '')}:00Z`))
}

export const clockText = (at: number): string => new Date(at).toISOString().slice(11, 16)

export const remembered = (earliest: number, latest: number): Between => ({
  earliest: instant(earliest),
  latest: instant(latest),
})

const MINUTE_MS = 60_000
/** A length of travel in minutes, at least and at most. */
export const travel = (atLeast: number, atMost: number) => ({
  atLeastMs: atLeast * MINUTE_MS,
  atMostMs: atMost * MINUTE_MS,
})
