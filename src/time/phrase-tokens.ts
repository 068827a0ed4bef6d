/**
 * A caregiver's time phrase as small plain pieces. A piece is a word, a whole number ("20", "0940"), a clock ("9:40"), a
 * number with a point ("1.5", "9.40"), a fraction ("1/2"), a calendar date ("2025-08-03") or one of the marks `-`, `,`
 * and `?`. Anything else makes the text unreadable: it is asked again.
 */
export type Tokens = readonly string[]

/** Longer than this (in UTF-16 units) is a story, not an answer to "when?". It is asked again, unread. */
const LENGTH_AT_MOST = 240

const INVISIBLE = /[\p{Cf}\ufe0f]/gu
const QUOTES = /[\u2018\u2019\u201a\u201b\u2032\u02bc\u0060\u00b4']/g
/** Longer dashes and the minus sign. */
const DASHES = /[\u2010-\u2015\u2212]/g
/** Faces, folded hands and hearts: a feeling, never a time. Clock faces and keycaps stay, and make the text unreadable. */
const FEELINGS = /[\u{1f600}-\u{1f64f}\u{2764}\u{1f494}]/gu
const FRACTIONS: ReadonlyMap<string, string> = new Map([
  ['½', ' 1/2 '],
  ['¼', ' 1/4 '],
  ['¾', ' 3/4 '],
])

const TOKEN = /\d{4}-\d{2}-\d{2}(?!\d)|\d+:\d+|\d+\.\d+|\d+\/\d+(?:\/\d+)?|\d+|[a-z]+|[-,?]/y
const GAP = /[\s.!()"]+/y

/** The pieces, in order; undefined when the text is too long, empty, or holds anything that is not understood. */
export function tokensOf(text: string): Tokens | undefined {
  if (text.length > LENGTH_AT_MOST) return undefined
  const plain = plainOf(text)
  const tokens: string[] = []
  let at = 0
  while (at < plain.length) {
    const gap = matchAt(GAP, plain, at)
    const token = gap === undefined ? matchAt(TOKEN, plain, at) : undefined
    if (gap === undefined && token === undefined) return undefined
    if (token !== undefined) tokens.push(token)
    at += (gap ?? token ?? '').length
  }
  return tokens.length === 0 ? undefined : tokens
}

function matchAt(pattern: RegExp, text: string, at: number): string | undefined {
  pattern.lastIndex = at
  return pattern.exec(text)?.[0]
}

function plainOf(text: string): string {
  return text
    .toWellFormed()
    .replace(/[½¼¾]/g, part => FRACTIONS.get(part) ?? part)
    .normalize('NFKC')
    .replace(INVISIBLE, '')
    .replace(FEELINGS, ' ')
    .toLowerCase()
    .replace(QUOTES, '')
    .replace(DASHES, '-')
    .replace(/~/g, ' about ')
    .replace(/[\n;]+/g, ' , ')
    .replace(/\b([ap])\.? ?m\b\.?/g, '$1m ')
    .replace(/(\w)-?ish\b/g, '$1 ish ')
    .replace(/\bo[- ]clock\b/g, 'oclock')
    .replace(/\b(half|quarter|mid)-(?=[a-z])/g, '$1 ')
    .replace(/\bmid (night|day)\b/g, 'mid$1')
}

/** Whether `words` stand at `at`; gives the place after them. */
export function afterWords(tokens: Tokens, at: number, words: string): number | undefined {
  let next = at
  for (const word of words.split(' ')) {
    if (tokens[next] !== word) return undefined
    next += 1
  }
  return next
}

/** The place after the longest of `phrases` that stands at `at`. */
export function afterAny(tokens: Tokens, at: number, phrases: readonly string[]): number | undefined {
  let best: number | undefined
  for (const phrase of phrases) {
    const next = afterWords(tokens, at, phrase)
    if (next !== undefined && next > (best ?? at)) best = next
  }
  return best
}

/** What was read from a place on, and the place after it. */
export interface Part<Value> {
  readonly value: Value
  readonly next: number
}
