import { createHash } from 'node:crypto'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import { stretches } from '../oncall/timeline.ts'
import type { Instant } from '../time/instant.ts'

/** Longest line in octets, without its ending (RFC 5545 section 3.1). */
const LINE_OCTETS = 75

/**
 * Who is on call in a role, as an iCalendar text (RFC 5545): one event for each stretch, in UTC, so that no reader can take
 * the hour wrongly. Hours without anybody are left out.
 *
 * @param at  when it was written
 */
export function calendarText(clinic: Clinic, role: string, from: Instant, until: Instant, at: Instant): string {
  const events = stretches(clinic, role, from, until).flatMap(({ from: start, until: end, duty }) => {
    if (duty === undefined) return []
    const who = reachableOf(clinic, duty.who)
    // The same shift keeps its id whenever the calendar is given out: of a piece that is cut off by the beginning its own start counts.
    const begins = start === from ? duty.startsAt : start
    const id = createHash('sha256').update(`${role} ${duty.who} ${begins}`).digest('hex').slice(0, 32)
    return [
      'BEGIN:VEVENT',
      `UID:${id}@on-call`,
      `DTSTAMP:${stamp(at)}`,
      `DTSTART:${stamp(start)}`,
      `DTEND:${stamp(end)}`,
      `SUMMARY:${escaped(who?.name ?? duty.who)}`,
      `CATEGORIES:${escaped(role)}`,
      'END:VEVENT',
    ]
  })
  const head = [
    'BEGIN:VCALENDAR',
    'VERSION:2.0',
    'PRODID:-//Smallhours//Rota//EN',
    'CALSCALE:GREGORIAN',
    'METHOD:PUBLISH',
  ]
  return [...head, ...events, 'END:VCALENDAR', ''].map(folded).join('\r\n')
}

const stamp = (at: Instant): string => new Date(at).toISOString().replaceAll(/[-:]|\.\d+/g, '')

const escaped = (text: string): string => text.replaceAll(/[\\;,]/g, sign => `\\${sign}`).replaceAll(/\r?\n/g, '\\n')

/** A line in pieces of at most 75 octets; a letter is never cut. */
function folded(line: string): string {
  const pieces: string[] = []
  let piece = ''
  for (const letter of line) {
    if (Buffer.byteLength(piece) + Buffer.byteLength(letter) > LINE_OCTETS) {
      pieces.push(piece)
      piece = ' '
    }
    piece += letter
  }
  return [...pieces, piece].join('\r\n')
}
