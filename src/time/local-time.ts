/** Instants as a person in a zone reads them. The host's own zone never matters. */
import { DateTime } from 'luxon'
import type { Instant } from './instant.ts'

/** A clock time: "1:30 am", or "01:30" on a 24-hour clock. Minutes are cut, never rounded. */
export function clockText(at: Instant, zone: string, clock: '12h' | '24h', language: string): string {
  const local = DateTime.fromMillis(at, { zone, locale: language })
  if (clock === '24h') return local.toFormat('HH:mm')
  return `${local.toFormat('h:mm')} ${local.hour < 12 ? 'am' : 'pm'}`
}

/** Day of the week in a zone, 0 is Sunday. */
export function weekdayAt(at: Instant, zone: string): number {
  return DateTime.fromMillis(at, { zone }).weekday % 7
}
