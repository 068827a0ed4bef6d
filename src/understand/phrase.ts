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

const NONE: ReadonlySet<number> = new Set()

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

/** The first place where any of the phrases stands and is not plainly denied, with none of its words among those `taken`. */
export function firstNotDenied(
  phrases: readonly Phrase[],
  reading: Reading,
  lexicon: Lexicon,
  taken: ReadonlySet<number> = NONE,
): PhraseFound | undefined {
  for (const phrase of phrases) {
    for (const found of phraseFinds(phrase, reading, lexicon))
      if (found.stance !== 'denied' && !found.places.some(place => taken.has(place))) return found
  }
  return undefined
}

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
