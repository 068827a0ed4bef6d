/** Where a phrase of the lexicon stands in a message, its exceptions seen to. */
import type { Lexicon, Phrase } from './lexicon.ts'
import { type NegationAsk, type Stance, stanceOf } from './negation.ts'
import { type Beside, canMatch, type Found, findsOf, placesFrom, type Reading } from './pattern.ts'

export interface PhraseFound extends Found {
  readonly stance: Stance
  /** The words as typed, in plain letters: for "because". */
  readonly words: string
}

/** For everything but danger signs: a denial reaches any word of a list, and what is over is over. */
const MILD: NegationAsk = { pastCounts: false, isThing: true }

/** Words before a find at which an exception may begin. */
const EXCEPTION_REACH = 10

/** Every place where the phrase stands and no exception of its own holds. */
export function* phraseFinds(
  phrase: Phrase,
  reading: Reading,
  lexicon: Lexicon,
  ask: NegationAsk = MILD,
): Generator<PhraseFound> {
  for (const pattern of phrase.patterns) {
    // Nearly no pattern of a lexicon can match a message: those cost a look at their words and nothing else.
    if (!canMatch(pattern, reading)) continue
    for (const found of findsOf(pattern, reading)) {
      if (isException(phrase, found, reading)) continue
      const words = reading.tokens.slice(found.from, found.to + 1).map(token => token.word)
      yield { ...found, stance: stanceOf(found, reading, lexicon.negation, ask), words: words.join(' ') }
    }
  }
}

/** The first place where any of the phrases is said and not denied. */
export function firstSaid(phrases: readonly Phrase[], reading: Reading, lexicon: Lexicon): PhraseFound | undefined {
  for (const phrase of phrases) {
    for (const found of phraseFinds(phrase, reading, lexicon)) if (found.stance === 'said') return found
  }
  return undefined
}

/** The first place where any of the phrases stands, not plainly denied, nor of long ago, nor left out. */
export function firstNotDenied(
  phrases: readonly Phrase[],
  reading: Reading,
  lexicon: Lexicon,
  isLeftOut: (found: Found) => boolean = () => false,
): PhraseFound | undefined {
  for (const phrase of phrases) {
    for (const found of phraseFinds(phrase, reading, lexicon))
      if (found.stance !== 'denied' && !isLeftOut(found) && !isLongAgo(found, reading, lexicon)) return found
  }
  return undefined
}

/** Whether any of the phrases stands, said or denied. */
export const isNamed = (phrases: readonly Phrase[], reading: Reading, lexicon: Lexicon): boolean =>
  phrases.some(phrase => phraseFinds(phrase, reading, lexicon).next().done !== true)

/** The first place where any of the phrases is plainly denied. */
export function firstDenied(phrases: readonly Phrase[], reading: Reading, lexicon: Lexicon): PhraseFound | undefined {
  for (const phrase of phrases) {
    for (const found of phraseFinds(phrase, reading, lexicon)) if (found.stance === 'denied') return found
  }
  return undefined
}

function isException(phrase: Phrase, found: Found, reading: Reading): boolean {
  for (let at = found.from; at <= found.to; at += 1) {
    if (phrase.unlessWithin.has(reading.tokens[at]?.word ?? '')) return true
  }
  return (
    phrase.unlessBefore.some(beside => leadsUpTo(beside, found.from, reading)) ||
    phrase.unlessAfter.some(beside => follows(beside, found.to, reading))
  )
}

/** Whether an exception ends right before a word, its own gap allowed for. */
function leadsUpTo({ pattern, gapAtMost }: Beside, before: number, reading: Reading): boolean {
  for (let at = before - 1; at >= Math.max(0, before - EXCEPTION_REACH); at -= 1) {
    if (reading.tokens[at + 1]?.gap !== 'none') return false
    const places = placesFrom(pattern, reading, at)
    const last = places?.[places.length - 1]
    if (last !== undefined && last >= before - 1 - gapAtMost) return true
  }
  return false
}

/** Whether an exception begins right after a word, its own gap allowed for. */
function follows({ pattern, gapAtMost }: Beside, after: number, reading: Reading): boolean {
  for (let at = after + 1; at <= after + 1 + gapAtMost; at += 1) {
    if (reading.tokens[at]?.gap !== 'none') return false
    if (placesFrom(pattern, reading, at) !== undefined) return true
  }
  return false
}

/** Words between a find and the time it is said to be of, at most. */
const TIME_REACH = 4

/** Whether words like "last year" stand beside the find, in its own piece of the sentence. */
export function isLongAgo(find: Found, reading: Reading, { longAgo, negation }: Lexicon): boolean {
  const isCut = (at: number): boolean => {
    const token = reading.tokens[at]
    return token === undefined || token.gap === 'stop' || negation.contrast.has(token.word)
  }
  let from = find.from
  while (from > 0 && find.from - from <= TIME_REACH + 2 && !isCut(from)) from -= 1
  let to = find.to
  while (to - find.to < TIME_REACH && !isCut(to + 1)) to += 1
  for (let at = from; at <= to; at += 1) {
    if (longAgo.some(pattern => placesFrom(pattern, reading, at)?.every(place => place <= to))) return true
  }
  return false
}
