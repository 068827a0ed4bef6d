import { readEnglishDate } from './phrase-dates.ts'
import { readEnglishDuration } from './phrase-durations.ts'
import { readEnglishMoment } from './phrase-moments.ts'
import { ask, type LengthReading, type MomentReading, type PhraseContext } from './reading.ts'

/**
 * Reads what caregivers write about time. A text is read only when the whole of it is understood; then it comes to an
 * interval in the past (or a length), whose worse end is never milder than the words. Everything else is asked about.
 * English only; another language is asked about, never read by English rules.
 */

export type { AskReason, LengthReading, MomentReading, PhraseContext } from './reading.ts'

const isEnglish = (language: string): boolean => /^en(?:-|$)/i.test(language)

/**
 * When something happened tonight: "about 20 minutes ago", "at half past nine", "last saw it in at 1, found it out at 2".
 *
 * @example at 02:10, "at 9:40" → 21:40 the evening before; "about an hour ago" → 00:55 to 01:25
 */
export function readMoment(text: string, context: PhraseContext): MomentReading {
  return isEnglish(context.language) ? readEnglishMoment(text, context) : ask('time-unclear')
}

/** On which day or days: "3 weeks ago", "in August", "2026-08-03". */
export function readDate(text: string, context: PhraseContext): MomentReading {
  return isEnglish(context.language) ? readEnglishDate(text, context) : ask('time-unclear')
}

/** How long something takes: "25 min", "about half an hour". */
export function readDuration(text: string, context: Pick<PhraseContext, 'language'>): LengthReading {
  return isEnglish(context.language) ? readEnglishDuration(text) : { kind: 'ask', reason: 'time-unclear' }
}
