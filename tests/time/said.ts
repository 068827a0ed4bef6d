import { DateTime } from 'luxon'
import { type Instant, instant } from '../../src/time/instant.ts'

/** Instants of a zone's clock in and out, for tables that read across. luxon is the reference, not the code under test. */

/** "2026-03-01 02:10" on the clock of `zone`. */
export const instantAt = (text: string, zone: string): Instant => instant(DateTime.fromSQL(text, { zone }).toMillis())

type Reading =
  | { readonly kind: 'between'; readonly earliest: number; readonly latest: number }
  | { readonly kind: 'length'; readonly atLeastMs: number; readonly atMostMs: number }
  | { readonly kind: 'ask'; readonly reason: string }

/** "01:45-01:52", "01:30", "23:40-00:40 the day before" (its earlier end), "ask time-unclear", "20-25 min". */
export function shown(reading: Reading, zone: string, said = '2026-03-01'): string {
  if (reading.kind === 'ask') return `ask ${reading.reason}`
  if (reading.kind === 'length') return lengthShown(reading.atLeastMs / 60_000, reading.atMostMs / 60_000)
  const [from, to] = [reading.earliest, reading.latest].map(at => DateTime.fromMillis(at, { zone }))
  if (from === undefined || to === undefined) return 'nothing'
  const ends = [...new Set([from.toFormat('HH:mm'), to.toFormat('HH:mm')])].join('-')
  const back = DateTime.fromISO(said, { zone }).startOf('day').diff(from.startOf('day'), 'days').days
  if (Math.round(back) === 0) return ends
  return Math.round(back) === 1 ? `${ends} the day before` : `${ends} ${from.toFormat('yyyy-MM-dd')}`
}

function lengthShown(least: number, most: number): string {
  return least === most ? `${least} min` : `${least}-${most} min`
}

/** "2025-08-01..2025-08-31": first and last calendar day of a reading, or why it was not taken. */
export function daysShown(reading: Reading, zone: string): string {
  if (reading.kind !== 'between') return reading.kind === 'ask' ? `ask ${reading.reason}` : 'a length'
  const days = [reading.earliest, reading.latest].map(at => DateTime.fromMillis(at, { zone }).toFormat('yyyy-MM-dd'))
  return [...new Set(days)].join('..')
}
