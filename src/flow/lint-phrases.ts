/** Finding words of a list in a text: whole phrases, and verbs with what they are done to. */
import { plainLetters } from './lint-text.ts'

/** Words of so many letters are met whole, and those with a full stop after them; the others by how they begin. */
const WHOLE = 3

const EDGE = '(?<![\\p{L}\\d])'
const END = '(?![\\p{L}\\d])'

const escaped = (text: string): string => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')

/** Finds any of the phrases, as they stand, between the edges of words. Case and the form of an apostrophe do not count. */
export function phraseFinder(phrases: readonly string[]): (text: string) => string | undefined {
  if (phrases.length === 0) return () => undefined
  const parts = phrases.map(phrase => {
    const body = escaped(phrase.toLowerCase().replace(/’/g, "'")).replace(/\s+/g, '\\s+')
    return `${/^[\p{L}\d]/u.test(phrase) ? EDGE : ''}${body}${/[\p{L}\d]$/u.test(phrase) ? END : ''}`
  })
  const pattern = new RegExp(parts.join('|'), 'u')
  return text => pattern.exec(text.toLowerCase().replace(/’/g, "'"))?.[0]
}

/** A verb and the words that go with it, ready to be looked for. */
interface Pair {
  readonly words: string
  readonly isNegated: boolean
  readonly verb: RegExp
  readonly others: readonly RegExp[]
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
  const negates = phraseFinder(forbidding.before)
  const known = pairs.map(words => pairOf(words, negates(words.split(' ')[0] ?? '') !== undefined))
  const isRequest = phraseFinder(forbidding.requests)
  const breaks = new RegExp(
    `[,;:()"“”«»–]|${forbidding.breaks.map(word => `${EDGE}${escaped(word)}${END}`).join('|') || '(?!)'}`,
    'iu',
  )
  const forbids = forbiddingOf(forbidding)
  return sentence => {
    if (/\?["”»]?\s*$/.test(sentence) && isRequest(sentence) === undefined) return []
    const whole = tokensOf(sentence)
    const present = known.filter(pair => hasAll(pair, whole))
    if (present.length === 0) return []
    const parts = sentence.split(breaks).map(tokensOf)
    return present.filter(pair => parts.some(part => tells(part, pair, forbids))).map(({ words }) => words)
  }
}

function pairOf(words: string, isNegated: boolean): Pair {
  const [verb = '(?!)', ...others] = words.split(/\s+/).map(word => {
    const bare = word.replace(/\.$/, '')
    if ([...bare].length <= WHOLE) return `^${escaped(bare.toLowerCase())}$`
    return `^${escaped(plainLetters(bare))}${bare === word ? '' : '$'}`
  })
  const made = (source: string) => new RegExp(source, 'u')
  return { words, isNegated, verb: made(verb), others: others.map(made) }
}

function tokensOf(text: string): Token[] {
  return (text.toLowerCase().match(/[\p{L}\p{M}\d]+(?:['’-][\p{L}\p{M}\d]+)*/gu) ?? []).map(token => {
    const plain = plainLetters(token)
    return { text: token, plain: [...plain].length > WHOLE ? plain : '' }
  })
}

const met = (pattern: RegExp, token: Token): boolean =>
  pattern.test(token.text) || (token.plain !== token.text && pattern.test(token.plain))

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
      return find?.(between.map(one => one.text).join(' ')) !== undefined
    }
    const near = has(isCondition, 0, at) ? 1 : reach
    const isBeforeOther = part.some(
      (one, i) => i > at && pair.others.some(other => met(other, one)) && has(isBeside, i - 1, i),
    )
    return has(isBefore, at - near, at) || has(isBeside, at - 1, at) || has(isBeside, at + 1, at + 2) || isBeforeOther
  }
}
