/** Times and lengths, typed or tapped. Reading the words of a time is the work of `time/phrases.ts`. */
import { DateTime, Duration } from 'luxon'
import type { Answer } from '../case/answer.ts'
import type { Misread } from '../case/event.ts'
import type { FactDocument } from '../flow/document.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Lexicon } from './lexicon.ts'
import { findsOf, type Reading } from './pattern.ts'

/** What `time/phrases.ts` gives back. */
export type TimeRead =
  | { readonly kind: 'between'; readonly earliest: Instant; readonly latest: Instant }
  | { readonly kind: 'length'; readonly atLeastMs: number; readonly atMostMs: number }
  | { readonly kind: 'ask'; readonly reason: string }

export interface TimeContext {
  readonly at: Instant
  readonly zone: string
  readonly language: string
}

/** The reader of time words, handed in so that this folder needs only its shape. */
export interface TimeReader {
  readonly readMoment: (text: string, context: TimeContext) => TimeRead
  readonly readDate: (text: string, context: TimeContext) => TimeRead
  readonly readDuration: (text: string, context: TimeContext) => TimeRead
}

export type Timed =
  | { readonly kind: 'answer'; readonly answer: Answer; readonly between?: Between }
  | { readonly kind: 'misread'; readonly reason: Misread }

const REASONS: ReadonlySet<string> = new Set(['time-unclear', 'time-future', 'time-impossible', 'time-twice'])

/** Typed words as a moment, a date or a length, as the question wants. What cannot be read is asked again. */
export function timeIn(
  text: string,
  accepts: 'moment' | 'date' | 'duration',
  times: TimeReader,
  context: TimeContext,
): Timed {
  const read = (accepts === 'moment' ? times.readMoment : accepts === 'date' ? times.readDate : times.readDuration)(
    text,
    context,
  )
  if (read.kind === 'ask')
    return { kind: 'misread', reason: REASONS.has(read.reason) ? (read.reason as Misread) : 'time-unclear' }
  if (accepts === 'duration') {
    if (read.kind !== 'length') return { kind: 'misread', reason: 'time-unclear' }
    return { kind: 'answer', answer: { kind: 'length', atLeastMs: read.atLeastMs, atMostMs: read.atMostMs } }
  }
  if (read.kind !== 'between') return { kind: 'misread', reason: 'time-unclear' }
  const between = { earliest: read.earliest, latest: read.latest }
  return { kind: 'answer', answer: { kind: 'moment', ...between }, between }
}

/**
 * A tapped button of a moment, date or length as an answer. For moments and dates the button says how long ago
 * (shortest and longest, both inclusive), counted back from `at`. `words` buttons and unknown ones are no answer.
 * Calendar parts of a date button (`P6W`, `P20Y`) are counted in the clinic's zone.
 */
export function tapped(value: string, fact: FactDocument, context: TimeContext): Answer | undefined {
  const span = fact.taps?.[value]
  if (span === undefined || span === 'words') return undefined
  const [shortest, longest] = span.map(text => Duration.fromISO(text))
  if (shortest?.isValid !== true || longest?.isValid !== true) return undefined
  if (fact.kind === 'length') return { kind: 'length', atLeastMs: shortest.toMillis(), atMostMs: longest.toMillis() }
  return { kind: 'moment', earliest: agoOf(longest, fact.kind, context), latest: agoOf(shortest, fact.kind, context) }
}

/** `length` before `at`; a date counts whole calendar days, so it begins at midnight of its day in the clinic's zone. */
function agoOf(length: Duration, kind: FactDocument['kind'], context: TimeContext): Instant {
  const now = DateTime.fromMillis(context.at, { zone: context.zone })
  return instant(kind === 'date' ? now.minus(length).toMillis() : context.at - length.toMillis())
}

/** Lengths of pieces of a sentence (in words) that are tried as a time. */
const PIECE_AT_MOST = 7

/**
 * When something happened, said in the same breath: "came out 20 minutes ago", "at half past one it fell out".
 * Only pieces that carry a mark of a time of day or of a time ago are tried, so that an age is not read as an hour.
 */
export function sinceIn(
  plain: string,
  reading: Reading,
  fact: string,
  lexicon: Lexicon,
  times: TimeReader,
  context: TimeContext,
): Between | undefined {
  for (const pattern of lexicon.sincePhrases[fact] ?? []) {
    for (const found of findsOf(pattern, reading)) {
      const [from, to] = sentenceAround(found.from, reading)
      for (const piece of pieces(reading, from, to, lexicon)) {
        const text = plain.slice(reading.tokens[piece.from]?.from ?? 0, reading.tokens[piece.to]?.to ?? 0)
        const read = times.readMoment(text, context)
        if (read.kind === 'between') return { earliest: read.earliest, latest: read.latest }
      }
    }
  }
  return undefined
}

function sentenceAround(at: number, reading: Reading): readonly [number, number] {
  let from = at
  while (from > 0 && reading.tokens[from]?.gap !== 'stop' && at - from < 24) from -= 1
  let to = at
  while (to + 1 < reading.tokens.length && reading.tokens[to + 1]?.gap !== 'stop' && to - at < 24) to += 1
  return [from, to]
}

/** Pieces of the sentence that look like a time, longest first. */
function pieces(reading: Reading, from: number, to: number, lexicon: Lexicon): { from: number; to: number }[] {
  const found: { from: number; to: number }[] = []
  for (const pattern of lexicon.timePatterns) {
    for (const piece of findsOf(pattern, reading)) {
      if (piece.from >= from && piece.to <= to && piece.to - piece.from < PIECE_AT_MOST) found.push(piece)
    }
  }
  return found.sort((a, b) => b.to - b.from - (a.to - a.from))
}
