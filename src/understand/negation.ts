/**
 * Whether the words around a found phrase deny it. Only a plain denial counts: "no blue lips", "lips are not blue",
 * "blue lips? no". Anything less is `unclear`: two negatives, half denials ("not very blue"), doubt ("I don't think"),
 * "not any more" of a sign whose past matters. Callers must treat `unclear` of a danger sign as the sign itself.
 */
import type { Negation } from './lexicon.ts'
import { type Found, placesFrom, type Reading } from './pattern.ts'
import type { Token } from './token.ts'

export type Stance = 'said' | 'denied' | 'unclear'

export interface NegationAsk {
  readonly pastCounts: boolean
  readonly isThing: boolean
}

/** Words a denial reaches over, and in a list ("no blood, fits or rash"). */
const REACH = 6
const REACH_IN_LIST = 14
/** Words after the phrase in which "but … earlier" is looked for. */
const REACH_AFTER = 9

/** What the message says of the phrase found: that it is so, that it is not, or neither clearly. */
export function stanceOf(found: Found, reading: Reading, negation: Negation, ask: NegationAsk): Stance {
  const { tokens } = reading
  if (found.places.some(at => negation.negatives.has(tokens[at]?.word ?? '')))
    return isParted(found, tokens) ? 'denied' : 'said'
  const inside = denialsInside(found, tokens, negation)
  const before = denialsBefore(found, tokens, negation, ask)
  const all = [...inside, ...before]
  if (all.length === 0) return deniedAfter(found, tokens, negation) ? 'denied' : 'said'
  // "no vomiting, no blood": each half of the phrase has its own denial.
  const isEachDenied = inside.length === 1 && before.length === 1 && inside[0]?.isNewItem === true
  if (all.some(denial => !denial.isPlain) || (all.length > 1 && !isEachDenied)) return 'unclear'
  if (isSaidOfEarlier(found, tokens, negation)) return 'unclear'
  return isTakenBack(found, reading, negation, ask) ? 'unclear' : 'denied'
}

/** "not floppy, breathing well": the comma after a word of its own ends the negative phrase before it is whole. */
function isParted(found: Found, tokens: readonly Token[]): boolean {
  const own = new Set(found.places)
  for (let at = found.from + 2; at <= found.to; at += 1) {
    if (/[,:()\-–—]/.test(tokens[at]?.mark ?? '') && !own.has(at - 1)) return true
  }
  return false
}

interface Denial {
  /** A plain one reaches the phrase over light words only, and is not half a denial. */
  readonly isPlain: boolean
  /** It begins a new item: after a comma, or with a word like "nor" or the "no" of a thing ("no blood no vomiting"). */
  readonly isNewItem: boolean
}

/** Denials between the phrase's own words, as far as they reach its last word ("lips are not blue"). */
function denialsInside(found: Found, tokens: readonly Token[], negation: Negation): Denial[] {
  const own = new Set(found.places)
  const denials: Denial[] = []
  for (let at = found.from + 1; at < found.to; at += 1) {
    if (own.has(at) || !isNegatorWord(tokens, at, negation)) continue
    const between = tokens.slice(at + 1, found.to)
    if (isOfNearerThing(at, found.to, tokens, negation)) continue
    const isCut = tokens.slice(at + 1, found.to + 1).some(token => token.gap !== 'none')
    // "lips not pink but blue", "not pink, they are blue": the denial belongs to something else.
    if (isCut || between.some(token => negation.contrast.has(token.word) || negation.subjects.has(token.word))) continue
    const isLight = between.every(
      (token, offset) => own.has(at + 1 + offset) || negation.light.has(token.word) || negation.list.has(token.word),
    )
    const word = tokens[at]?.word ?? ''
    // "threw up milk, no blood or green": the list is denied, and its last word with it.
    const isListed = negation.denyingThings.has(word) && negation.list.has(tokens[found.to - 1]?.word ?? '')
    const isNewItem = tokens[at]?.gap === 'pause' || negation.again.has(word) || negation.denyingThings.has(word)
    denials.push({ isPlain: (isLight || isListed) && isWhole(tokens, at, negation), isNewItem })
  }
  return denials
}

/** "vomited milk, not green not bloody": a later denial is the last word's, and this one denies a thing of its own between. */
function isOfNearerThing(at: number, last: number, tokens: readonly Token[], negation: Negation): boolean {
  const next = tokens.findIndex((_, place) => place > at && place < last && isNegatorWord(tokens, place, negation))
  if (next < 0 || !negation.negators.has(tokens[at]?.word ?? '')) return false
  return tokens.slice(at + 1, next).some(({ word }) => !negation.light.has(word) && !negation.list.has(word))
}

/** Denials standing before the phrase, nearest first, as far as they reach. */
function denialsBefore(found: Found, tokens: readonly Token[], negation: Negation, ask: NegationAsk): Denial[] {
  const denials: Denial[] = []
  const closes = listCloses(found, tokens, negation)
  let isLight = true
  for (let at = found.from - 1; at >= Math.max(0, found.from - REACH_IN_LIST); at -= 1) {
    const gapAfter = tokens[at + 1]?.gap ?? 'none'
    const word = tokens[at]?.word ?? ''
    if (gapAfter === 'stop' || (gapAfter === 'pause' && !closes)) break
    if (isNegatorWord(tokens, at, negation)) {
      // "no, blue lips": an answer, then a statement. In a list "no" reaches only things, "not" any word.
      const inList = closes && !isLight
      if (gapAfter === 'pause' || (inList && !ask.isThing && negation.denyingThings.has(word))) break
      if (tokens[at + 1]?.word === word && negation.denyingThings.has(word)) continue
      denials.push({ isPlain: (isLight || closes) && isWhole(tokens, at, negation), isNewItem: false })
      if (negation.again.has(word) || isOfNewThing(tokens, at, negation)) break
      isLight = true
      continue
    }
    if (negation.negators.has(word) && denials.length > 0) denials.push({ isPlain: false, isNewItem: false })
    if (negation.contrast.has(word) || negation.subjects.has(word)) break
    if (!negation.light.has(word) && !negation.list.has(word)) isLight = false
    if (!isLight && negation.verbs.has(word)) break
    if (!closes && found.from - at >= REACH) break
  }
  return denials
}

/** "no fever no vomiting", "not blue not floppy": the second begins anew, and the first belongs to the word before it. */
function isOfNewThing(tokens: readonly Token[], at: number, negation: Negation): boolean {
  const previous = tokens[at - 1]
  if (previous === undefined) return false
  if (!negation.denyingThings.has(tokens[at]?.word ?? '') && !isNegatorWord(tokens, at - 2, negation)) return false
  return ![negation.negators, negation.light, negation.list, negation.doubt].some(words => words.has(previous.word))
}

/**
 * Whether the phrase belongs to a list ("no fits, blue lips or rash"): "or" or "nor" stands beside it, and the phrase
 * makes no statement of its own ("lips blue").
 */
function listCloses(found: Found, tokens: readonly Token[], negation: Negation): boolean {
  for (let at = found.from; at < found.to; at += 1) if (negation.subjects.has(tokens[at]?.word ?? '')) return false
  if (negation.list.has(tokens[found.from - 1]?.word ?? '')) return true
  for (let at = found.to + 1; at <= found.to + REACH; at += 1) {
    const token = tokens[at]
    if (token === undefined || token.gap === 'stop') return false
    if (negation.subjects.has(token.word) || negation.verbs.has(token.word)) return false
    if (negation.list.has(token.word)) return true
  }
  return false
}

/** Whether a word denies, looking at the word after it ("not sure" and "no she is" deny nothing). */
export function isNegatorWord(tokens: readonly Token[], at: number, negation: Negation): boolean {
  const word = tokens[at]?.word ?? ''
  const next = tokens[at + 1]
  const nextWord = next === undefined || next.gap === 'stop' ? '' : next.word
  const ifBefore = negation.negatorsIfBefore.get(word)
  if (ifBefore !== undefined) return ifBefore.has(nextWord)
  if (!negation.negators.has(word)) return false
  if (negation.notNegatingBefore.get('any')?.has(nextWord) === true) return false
  return negation.notNegatingBefore.get(word)?.has(nextWord) !== true
}

/** Whether a denial is a whole one: not "not very", not "I don't think". */
function isWhole(tokens: readonly Token[], at: number, negation: Negation): boolean {
  const next = tokens[at + 1]?.word ?? ''
  const previous = tokens[at - 1]?.word ?? ''
  return !negation.partial.has(next) && !negation.doubt.has(next) && !negation.doubt.has(previous)
}

/** "blood? no" · "blue lips: none": the answer stands right after a mark and alone. */
function deniedAfter(found: Found, tokens: readonly Token[], negation: Negation): boolean {
  const next = tokens[found.to + 1]
  if (next === undefined || !/^[?:=\-–—]+$/.test(next.mark) || !negation.after.has(next.word)) return false
  const following = tokens[found.to + 2]
  return following === undefined || following.gap !== 'none'
}

/** "no blood now but earlier it was pouring": the phrase itself goes on, past a contrast, to what was there before. */
function isSaidOfEarlier(found: Found, tokens: readonly Token[], negation: Negation): boolean {
  const own = new Set(found.places)
  const denial = tokens.findLastIndex((_, at) => at < found.to && isNegatorWord(tokens, at, negation))
  // "rumbling and a bit bloated, not hard": what is said before the denial takes nothing of it back.
  const from = Math.max(found.from, denial)
  const after = tokens.slice(from, found.to + 1)
  const contrast = after.findIndex((token, at) => at > 0 && !own.has(from + at) && negation.contrast.has(token.word))
  return contrast > 0 && after.slice(contrast).some(token => negation.earlier.has(token.word))
}

/** "not blue any more" · "no blood now but earlier": said to be over, or taken back. */
function isTakenBack(found: Found, reading: Reading, negation: Negation, ask: NegationAsk): boolean {
  const { tokens } = reading
  let contrasted = false
  let isOfOther = false
  for (let at = found.to + 1; at <= found.to + REACH_AFTER; at += 1) {
    const token = tokens[at]
    if (token === undefined) return false
    if (ask.pastCounts && !contrasted && token.gap !== 'stop' && beginsOver(reading, at, negation)) return true
    if (contrasted && negation.earlier.has(token.word) && !isOfSomethingElse(tokens, at, negation, isOfOther))
      return true
    if (negation.contrast.has(token.word)) contrasted = true
    else if (token.gap === 'stop') return false
    else if (contrasted && !negation.light.has(token.word)) isOfOther = true
  }
  return false
}

/** "not floppy, just a bit of leaking", "just leaking a bit": a bit of another thing takes nothing back. */
function isOfSomethingElse(tokens: readonly Token[], at: number, negation: Negation, isOfOther: boolean): boolean {
  const others = negation.notEarlierBefore.get(tokens[at]?.word ?? '')
  return others !== undefined && (isOfOther || others.has(tokens[at + 1]?.word ?? ''))
}

const beginsOver = (reading: Reading, at: number, negation: Negation): boolean =>
  negation.over.some(pattern => placesFrom(pattern, reading, at) !== undefined)
