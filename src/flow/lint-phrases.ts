/** Finding words of a list in a text: whole phrases, and verbs with what they are done to. */
import { patternOf, plainLetters } from './lint-text.ts'

/** Words of so many letters are met whole, and those with a full stop after them; the others by how they begin. */
const WHOLE = 3

const WORD_OR_SIGN = /[\p{L}\p{M}\d]+(?:['-][\p{L}\p{M}\d]+)*|[^\s\p{L}\p{M}\d]/gu

/** A text in lower case with one space before and after each word and sign: phrases are looked for in it as they stand. */
export function spaced(text: string): string {
  return ` ${(text.toLowerCase().replace(/’/g, "'").match(WORD_OR_SIGN) ?? []).join(' ')} `
}

/** Finds any of the phrases, whole words of them, in a text that was `spaced`. Answers the first of the list that is met. */
export function phraseFinder(phrases: readonly string[]): (spacedText: string) => string | undefined {
  const known = phrases.map(phrase => ({ phrase, spaced: spaced(phrase) }))
  return text => known.find(one => text.includes(one.spaced))?.phrase
}

/** One word of a pair: met whole, or by how a word begins. Words of a pair are in lower case. */
interface Word {
  readonly text: string
  readonly isWhole: boolean
}

/** A verb and the words that go with it, ready to be looked for. */
interface Pair {
  readonly words: string
  readonly isNegated: boolean
  readonly verb: Word
  readonly others: readonly Word[]
}

/** What is needed to tell an order from an order not to. */
export interface Forbidding {
  /** Negations that forbid a verb they stand before. */
  readonly before: readonly string[]
  /** Negations that forbid only what they stand beside: "give no feed", "no sips". */
  readonly beside: readonly string[]
  readonly breaks: readonly string[]
  /** Words of a condition: a negation after one belongs to it, unless the verb follows at once. */
  readonly conditions: readonly string[]
  readonly requests: readonly string[]
  /** How many words before the verb a negation still forbids it. */
  readonly reach: number
}

interface Token {
  readonly text: string
  /** Without accents; empty for a short word, which keeps its accent: "dé" is no "de". */
  readonly plain: string
}

/**
 * Finds the pairs that a sentence tells somebody to do. A pair is told when all its words stand in the sentence and its verb stands in
 * a part of it that does not forbid it: see `Forbidding`. A negation that is itself a word of the pair ("not stop feed") does
 * not count. A question tells nothing, unless it begins as a request. In doubt a sentence is taken for an order.
 */
export function actFinder(pairs: readonly string[], forbidding: Forbidding): (sentence: string) => string[] {
  if (pairs.length === 0) return () => []
  const negates = phraseFinder(forbidding.before)
  const known = pairs.map(words => pairOf(words, negates(spaced(words.split(' ')[0] ?? '')) !== undefined))
  const isRequest = phraseFinder(forbidding.requests)
  const words = forbidding.breaks.map(word => `(?<![\\p{L}\\d])${patternOf(word)}(?![\\p{L}\\d])`)
  const breaks = new RegExp(['[,;:()"“”«»–]', ...words].join('|'), 'iu')
  const forbids = forbiddingOf(forbidding)
  return sentence => {
    if (/\?["”»]?\s*$/.test(sentence) && isRequest(spaced(sentence)) === undefined) return []
    const whole = tokensOf(sentence)
    const present = known.filter(pair => hasAll(pair, whole))
    if (present.length === 0) return []
    const parts = sentence.split(breaks).map(tokensOf)
    return present.filter(pair => parts.some(part => tells(part, pair, forbids))).map(({ words }) => words)
  }
}

function pairOf(words: string, isNegated: boolean): Pair {
  const [verb = { text: '', isWhole: true }, ...others] = words.split(/\s+/).map(word => {
    const bare = word.toLowerCase().replace(/\.$/, '')
    const isShort = [...bare].length <= WHOLE
    return { text: isShort ? bare : plainLetters(bare), isWhole: isShort || word.endsWith('.') }
  })
  return { words, isNegated, verb, others }
}

function tokensOf(text: string): Token[] {
  const words =
    text
      .toLowerCase()
      .replace(/’/g, "'")
      .match(/[\p{L}\p{M}\d]+(?:['-][\p{L}\p{M}\d]+)*/gu) ?? []
  return words.map(token => {
    const plain = plainLetters(token)
    return { text: token, plain: [...plain].length > WHOLE ? plain : '' }
  })
}

const met = ({ text, isWhole }: Word, token: Token): boolean =>
  isWhole ? token.text === text || token.plain === text : token.plain.startsWith(text) || token.text.startsWith(text)

/** Whether every word of the pair is met, each by a token of its own. */
function hasAll(pair: Pair, tokens: readonly Token[]): boolean {
  if (!tokens.some(token => met(pair.verb, token))) return false
  const left = [...tokens]
  return [pair.verb, ...pair.others].every(word => {
    const at = left.findIndex(token => met(word, token))
    if (at >= 0) left.splice(at, 1)
    return at >= 0
  })
}

function tells(part: readonly Token[], pair: Pair, forbids: Forbids): boolean {
  // A pair that begins with a negation stands in one part: "not stop feed" is not in "Stop: no more feed".
  if (pair.isNegated && !hasAll(pair, part)) return false
  return part.some((token, at) => met(pair.verb, token) && !forbids(part, at, pair))
}

type Forbids = (part: readonly Token[], at: number, pair: Pair) => boolean

function forbiddingOf({ before, beside, conditions, reach }: Forbidding): Forbids {
  const [isBefore, isBeside, isCondition] = [before, beside, conditions].map(phraseFinder)
  return (part, at, pair) => {
    const isOfPair = (one: Token) => met(pair.verb, one) || pair.others.some(other => met(other, one))
    const has = (find: typeof isBefore, from: number, to: number) => {
      const between = part.slice(Math.max(0, from), Math.max(0, to)).filter(one => !isOfPair(one))
      return find?.(` ${between.map(one => one.text).join(' ')} `) !== undefined
    }
    const near = has(isCondition, 0, at) ? 1 : reach
    const isBeforeOther = part.some(
      (one, i) => i > at && pair.others.some(other => met(other, one)) && has(isBeside, i - 1, i),
    )
    return has(isBefore, at - near, at) || has(isBeside, at - 1, at) || has(isBeside, at + 1, at + 2) || isBeforeOther
  }
}
