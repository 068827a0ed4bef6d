/** Times and lengths, typed or tapped. Reading the words of a time is the work of `time/phrases.ts`. */
import { DateTime, Duration } from 'luxon'
import type { Answer } from '../case/answer.ts'
import type { Misread } from '../case/event.ts'
import type { FactDocument } from '../flow/document.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Lexicon } from './lexicon.ts'
import { findsOf, type Pattern, type Reading } from './pattern.ts'

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

/** Why words are no moment, date or length, in the family's terms: a clock time helps nobody who is asked for a length. */
const MISREADS: Readonly<Record<'moment' | 'date' | 'duration', Readonly<Record<string, Misread>>>> = {
  moment: {
    'time-unclear': 'time-unclear',
    'time-future': 'time-future',
    'time-impossible': 'time-impossible',
    'time-twice': 'time-twice',
    'two-answers': 'time-two-ways',
  },
  date: {
    'time-unclear': 'date-unclear',
    'time-future': 'time-future',
    'time-impossible': 'date-impossible',
    'two-answers': 'date-two-ways',
  },
  duration: { 'time-unclear': 'length-unclear', 'time-impossible': 'length-impossible' },
}
const UNCLEAR = { moment: 'time-unclear', date: 'date-unclear', duration: 'length-unclear' } as const

/** The misreading of an answer of this kind, for a reason the readers give; unclear where it has none of its own. */
export function misreadOf(accepts: 'moment' | 'date' | 'duration', reason: string): Misread {
  return MISREADS[accepts][reason] ?? UNCLEAR[accepts]
}

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
  const unclear = { kind: 'misread', reason: UNCLEAR[accepts] } as const
  if (read.kind === 'ask') return { kind: 'misread', reason: misreadOf(accepts, read.reason) }
  if (accepts === 'duration') {
    if (read.kind !== 'length') return unclear
    return { kind: 'answer', answer: { kind: 'length', atLeastMs: read.atLeastMs, atMostMs: read.atMostMs } }
  }
  if (read.kind !== 'between') return unclear
  const between = { earliest: read.earliest, latest: read.latest }
  return { kind: 'answer', answer: { kind: 'moment', ...between }, between }
}

/**
 * A tapped button of a moment, date or length as an answer. For moments and dates the button says how long ago
 * (shortest and longest, both inclusive), counted back from `at`. `words` buttons and unknown ones are no answer.
 * Calendar parts of a date button (`P6W`, `P20Y`) are counted in the clinic's zone.
 */
export function tapped(value: string, fact: FactDocument, context: TimeContext): Answer | undefined {
  const span = fact.taps !== undefined && Object.hasOwn(fact.taps, value) ? fact.taps[value] : undefined
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

/**
 * When something happened, said in the same breath: "came out 20 minutes ago", "at half past one it fell out".
 * Only words that look like a time of day or a time ago are taken, with all that hedges them ("more than", "or so"), so
 * that an age is not read as an hour and nothing gets milder than it was said. Two times in one clause are asked about.
 */
export function sinceIn(
  plain: string,
  reading: Reading,
  fact: string,
  lexicon: Lexicon,
  times: TimeReader,
  context: TimeContext,
): Between | undefined {
  const events = lexicon.sincePhrases[fact] ?? []
  return besideOf(events, pieces(lexicon.timePatterns, reading, lexicon), plain, reading, text =>
    times.readMoment(text, context),
  )
}

/** On which day or days something was done, said in the same breath: "placed three weeks ago". Read as `sinceIn` reads. */
export function saidDate(
  plain: string,
  reading: Reading,
  fact: string,
  lexicon: Lexicon,
  times: TimeReader,
  context: TimeContext,
): Between | undefined {
  const events = lexicon.datePhrases[fact] ?? []
  return besideOf(events, pieces(lexicon.datePatterns, reading, lexicon), plain, reading, text =>
    times.readDate(text, context),
  )
}

/** The one time that stands beside one of the events, where it can be read. */
function besideOf(
  events: readonly Pattern[],
  all: readonly Piece[],
  plain: string,
  reading: Reading,
  readTime: (text: string) => TimeRead,
): Between | undefined {
  if (all.length === 0) return undefined
  for (const event of events) {
    for (const found of findsOf(event, reading)) {
      const [piece, ...others] = piecesBeside(found, all, reading)
      if (piece === undefined || others.length > 0) continue
      const text = plain.slice(reading.tokens[piece.from]?.from ?? 0, reading.tokens[piece.to]?.to ?? 0)
      const read = readTime(text)
      if (read.kind === 'between') return { earliest: read.earliest, latest: read.latest }
    }
  }
  return undefined
}

interface Piece {
  readonly from: number
  readonly to: number
}

/** Times in the clause of what happened, or right before it across a comma ("20 minutes ago, it fell out"). */
function piecesBeside(found: Piece, all: readonly Piece[], reading: Reading): readonly Piece[] {
  const clause = clauseAround(found, reading)
  const before = clauseAround({ from: clause.from - 1, to: clause.from - 1 }, reading)
  return all.filter(
    ({ from, to }) =>
      (from >= clause.from && to <= clause.to) ||
      (from === before.from && to === before.to && isPaused(clause, reading)),
  )
}

const isPaused = ({ from }: Piece, reading: Reading): boolean => reading.tokens[from]?.gap === 'pause'

/** The words around a place up to the next comma or end on either side. */
function clauseAround(place: Piece, reading: Reading): Piece {
  let { from, to } = place
  while (from > 0 && reading.tokens[from]?.gap === 'none') from -= 1
  while (to + 1 < reading.tokens.length && reading.tokens[to + 1]?.gap === 'none') to += 1
  return { from, to }
}

/** Words that look like a time, hedges and all; pieces that overlap are one. */
function pieces(patterns: readonly Pattern[], reading: Reading, lexicon: Lexicon): readonly Piece[] {
  const found = patterns.flatMap(pattern => [...findsOf(pattern, reading)])
  const whole = found.map(piece => withHedges(piece, reading, lexicon)).sort((a, b) => a.from - b.from || b.to - a.to)
  const merged: Piece[] = []
  for (const piece of whole) {
    const last = merged[merged.length - 1]
    if (last === undefined || piece.from > last.to) merged.push(piece)
    else merged[merged.length - 1] = { from: last.from, to: Math.max(last.to, piece.to) }
  }
  return merged
}

function withHedges(piece: Piece, reading: Reading, lexicon: Lexicon): Piece {
  const isHedge = (at: number): boolean => lexicon.timeHedges.has(reading.tokens[at]?.word ?? '')
  let { from, to } = piece
  while (from > 0 && reading.tokens[from]?.gap === 'none' && isHedge(from - 1)) from -= 1
  while (reading.tokens[to + 1]?.gap === 'none' && isHedge(to + 1)) to += 1
  return { from, to }
}
