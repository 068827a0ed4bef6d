import { readEnglishDate } from './phrase-dates.ts'
import { readEnglishDuration } from './phrase-durations.ts'
import { readSpanishDate, readSpanishDuration, readSpanishMoment } from './phrase-es.ts'
import { readEnglishMoment } from './phrase-moments.ts'
import { ask, type LengthReading, type MomentReading, type PhraseContext } from './reading.ts'

/**
 * Reads what caregivers write about time. A text is read only when the whole of it is understood; then it comes to an
 * interval in the past (or a length), whose worse end is never milder than the words. Everything else is asked about.
 * English and Spanish; another language is asked about, never read by their rules.
 */

export type { AskReason, LengthReading, MomentReading, PhraseContext } from './reading.ts'

interface Readers {
  readonly moment: (text: string, context: PhraseContext) => MomentReading
  readonly date: (text: string, context: PhraseContext) => MomentReading
  readonly duration: (text: string) => LengthReading
}

const READERS: ReadonlyMap<string, Readers> = new Map([
  ['en', { moment: readEnglishMoment, date: readEnglishDate, duration: readEnglishDuration }],
  ['es', { moment: readSpanishMoment, date: readSpanishDate, duration: readSpanishDuration }],
])

/** By the language alone: "en-GB" and "en" are read alike. */
const readersOf = (language: string): Readers | undefined => READERS.get(language.toLowerCase().split('-')[0] ?? '')

/**
 * When something happened tonight: "about 20 minutes ago", "at half past nine", "last saw it in at 1, found it out at 2",
 * "hace media hora", "como a las 2 y cuarto".
 *
 * @example at 02:10, "at 9:40" → 21:40 the evening before; "about an hour ago" → 00:55 to 01:25
 */
export function readMoment(text: string, context: PhraseContext): MomentReading {
  return readersOf(context.language)?.moment(text, context) ?? ask('time-unclear')
}

/** On which day or days: "3 weeks ago", "in August", "2026-08-03", "hace tres semanas", "en agosto". */
export function readDate(text: string, context: PhraseContext): MomentReading {
  return readersOf(context.language)?.date(text, context) ?? ask('time-unclear')
}

/** How long something takes: "25 min", "about half an hour", "como media hora". */
export function readDuration(text: string, context: Pick<PhraseContext, 'language'>): LengthReading {
  return readersOf(context.language)?.duration(text) ?? { kind: 'ask', reason: 'time-unclear' }
}
