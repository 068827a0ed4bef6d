/**
 * Patterns of words, as the lexicon writes them:
 *   `lips ..4 blue|grey`   one word, then within at most four others another;  `a|b` either;  `@child` a named group;
 *   `do_not|dont` several words where one may stand;  `vomit*` any word that begins so;  `#` any digits;  `#40-91` a whole
 *   number between. Words follow each other inside one sentence; a comma does not part them.
 * Matching costs at most (words of the text) × (patterns that can match at all) × (bounded gaps): no backtracking
 * beyond the few words of a pattern.
 */
import { meantBy } from './same-as.ts'
import type { Token } from './token.ts'
import { ANY_DIGITS, DIGITS_FROM_TO, type Vocabulary } from './vocabulary.ts'

export interface Slot {
  readonly ids: ReadonlySet<number>
  /** How many other words may stand before this one. */
  readonly gapAtMost: number
}

export interface Pattern {
  readonly slots: readonly Slot[]
  readonly text: string
  /** Its number in the vocabulary, by which a message finds the patterns that can begin in it. */
  readonly number: number
}

/**
 * An exception beside a find: its pattern, and how many words may stand between it and the find. Written with the gap
 * at its outer end: `tube ..2` before, `..1 cap` after; without a gap it stands right beside.
 */
export interface Beside {
  readonly pattern: Pattern
  readonly gapAtMost: number
}

/** Where a pattern was found: first and last word (inclusive), and the places of its own words. */
export interface Found {
  readonly from: number
  readonly to: number
  readonly places: readonly number[]
}

export const GAP_AT_MOST = 8
export const SLOTS_AT_MOST = 8

/** Words of one message, each with the lexicon words it may be. */
export interface Reading {
  readonly tokens: readonly Token[]
  readonly ids: readonly (readonly number[])[]
  /** Every lexicon word in the text: a pattern with a word not in it cannot match. */
  readonly present: ReadonlySet<number>
  /** Numbers of the patterns that begin with one of those words: nearly all of a lexicon's do not. */
  readonly begun: ReadonlySet<number>
}

export function readingOf(tokens: readonly Token[], vocabulary: Vocabulary): Reading {
  const parted: Token[] = []
  const ids: (readonly number[])[] = []
  const present = new Set<number>()
  for (const token of meantBy(tokens, vocabulary.sameAs)) {
    for (const word of vocabulary.splitOf(token.word)) {
      parted.push(partOf(token, word, parted[parted.length - 1]))
      const known = vocabulary.idsOf(word)
      ids.push(known)
      for (const id of known) present.add(id)
    }
  }
  const begun = new Set<number>()
  for (const id of present) for (const number of vocabulary.begunBy(id)) begun.add(number)
  return { tokens: parted, ids, present, begun }
}

/** A word typed without a space after the one before stands in the same token, with nothing between. */
function partOf(token: Token, word: string, last: Token | undefined): Token {
  if (word === token.word) return token
  return last?.from === token.from ? { ...token, word, gap: 'none', mark: '' } : { ...token, word }
}

type Groups = Readonly<Record<string, readonly string[]>>

/** Compiles a pattern with `a_b|c` alternatives of several words as one pattern for each. Throws as `patternOf`. */
export function patternsOf(text: string, groups: Groups, vocabulary: Vocabulary): readonly Pattern[] {
  let texts: readonly string[] = ['']
  for (const part of text.trim().split(/\s+/)) {
    const single = part.split('|').filter(word => !word.includes('_'))
    const ways = [
      ...(single.length > 0 ? [single.join('|')] : []),
      ...part.split('|').flatMap(word => (word.includes('_') ? [word.replaceAll('_', ' ')] : [])),
    ]
    texts = texts.flatMap(before => ways.map(way => `${before} ${way}`))
  }
  return texts.map(one => patternOf(one, groups, vocabulary))
}

/** Compiles an exception that stands `before` or `after` a find. Throws as `patternOf`. */
export function besidesOf(
  text: string,
  side: 'before' | 'after',
  groups: Groups,
  vocabulary: Vocabulary,
): readonly Beside[] {
  const outer = side === 'before' ? /\s\.\.(\d)$/.exec(text.trim()) : /^\.\.(\d)\s/.exec(text.trim())
  const gapAtMost = outer === null ? 0 : Number(outer[1])
  const whole = text.trim()
  const length = outer?.[0].length ?? 0
  const inner = side === 'before' ? whole.slice(0, whole.length - length) : whole.slice(length)
  return patternsOf(inner, groups, vocabulary).map(pattern => ({ pattern, gapAtMost }))
}

/**
 * Compiles one pattern. Throws `SyntaxError` saying what is wrong with it: an unknown group, a gap at an end, too
 * many words, or nothing at all.
 */
export function patternOf(text: string, groups: Groups, vocabulary: Vocabulary): Pattern {
  const slots: Slot[] = []
  let gapAtMost = 0
  for (const part of text.trim().split(/\s+/)) {
    if (part.startsWith('..')) {
      gapAtMost = Number(part.slice(2))
      const isGap = Number.isInteger(gapAtMost) && gapAtMost >= 1 && gapAtMost <= GAP_AT_MOST && slots.length > 0
      if (!isGap) throw new SyntaxError(`pattern "${text}": "${part}" must be ..1 to ..${GAP_AT_MOST}, after a word`)
      continue
    }
    slots.push({ ids: new Set(wordsOf(part, text, groups).map(vocabulary.add)), gapAtMost })
    gapAtMost = 0
  }
  if (gapAtMost > 0) throw new SyntaxError(`pattern "${text}": a gap needs a word after it`)
  if (slots.length === 0 || slots.length > SLOTS_AT_MOST)
    throw new SyntaxError(`pattern "${text}": expected 1 to ${SLOTS_AT_MOST} words`)
  return { slots, text, number: vocabulary.begin(slots[0]?.ids ?? new Set()) }
}

function wordsOf(part: string, text: string, groups: Groups): string[] {
  return part.split('|').flatMap(word => {
    if (!word.startsWith('@')) {
      if (word === ANY_DIGITS || DIGITS_FROM_TO.test(word) || /^[\p{L}\p{Nd}]+\*?$/u.test(word)) return [word]
      throw new SyntaxError(`pattern "${text}": "${word}" must be plain letters, without apostrophes or accents`)
    }
    const group = groups[word.slice(1)]
    if (group === undefined) throw new SyntaxError(`pattern "${text}": no group "${word.slice(1)}"`)
    return [...group]
  })
}

/** Whether every word of the pattern stands somewhere in the text. */
export const canMatch = (pattern: Pattern, reading: Reading): boolean =>
  reading.begun.has(pattern.number) && pattern.slots.every(slot => isAnyIn(slot.ids, reading.present))

/** Whether two sets share a member; looks through the smaller. */
function isAnyIn(a: ReadonlySet<number>, b: ReadonlySet<number>): boolean {
  const [small, large] = a.size < b.size ? [a, b] : [b, a]
  for (const id of small) if (large.has(id)) return true
  return false
}

/** Every place where the pattern stands, in order; at each beginning the nearest ending. */
export function* findsOf(pattern: Pattern, reading: Reading): Generator<Found> {
  if (!canMatch(pattern, reading)) return
  for (let from = 0; from < reading.tokens.length; from += 1) {
    const places = placesFrom(pattern, reading, from)
    if (places !== undefined) yield { from, to: places[places.length - 1] ?? from, places }
  }
}

/** Whether a pattern begins at a word: its words' places, or undefined. */
export function placesFrom(pattern: Pattern, reading: Reading, from: number): readonly number[] | undefined {
  const first = pattern.slots[0]
  if (first === undefined || !fits(first, reading, from)) return undefined
  return restFrom(pattern, reading, 1, [from])
}

function restFrom(
  pattern: Pattern,
  reading: Reading,
  next: number,
  places: readonly number[],
): readonly number[] | undefined {
  const slot = pattern.slots[next]
  if (slot === undefined) return places
  const last = places[places.length - 1] ?? 0
  for (let at = last + 1; at <= last + 1 + slot.gapAtMost; at += 1) {
    if (at >= reading.tokens.length || reading.tokens[at]?.gap === 'stop') return undefined
    if (!fits(slot, reading, at)) continue
    const all = restFrom(pattern, reading, next + 1, [...places, at])
    if (all !== undefined) return all
  }
  return undefined
}

const fits = (slot: Slot, reading: Reading, at: number): boolean =>
  reading.ids[at]?.some(id => slot.ids.has(id)) ?? false
