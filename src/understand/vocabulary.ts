/**
 * The words a lexicon knows, and which of them a typed word may be: itself, a beginning (`vomit*`), or, for long
 * words, one slip of the finger or of dictation away. Each look-up costs no more than the word's length.
 */
import { type SameAs, sameAsOf } from './same-as.ts'

/** From this length on a word is also known with one letter wrong, missing, added, or two swapped. */
export const MISSPELT_FROM_LENGTH = 6

/** From this length on a beginning (`struggl*`) is also known with a slip inside it. */
const BEGINNING_MISSPELT_FROM_LENGTH = 7

/** A lexicon word that stands for any digits. */
export const ANY_DIGITS = '#'

/** A lexicon word that stands for any whole number from one to another, both inclusive: `#40-91`. */
export const DIGITS_FROM_TO = /^#(\d{1,6})-(\d{1,6})$/

export interface Vocabulary {
  /** Numbers of the lexicon words that a typed word may stand for; empty when it is none. */
  readonly idsOf: (word: string) => readonly number[]
  /** Number of a lexicon word (or `beginning*`), giving it one when it is new. */
  readonly add: (word: string) => number
  /** Number of a new pattern that begins with one of these words. */
  readonly begin: (words: ReadonlySet<number>) => number
  /** Numbers of the patterns that begin with a word. */
  readonly begunBy: (word: number) => readonly number[]
  /** Two words typed without a space ("notbreathing"), when both are known; the word alone otherwise. */
  readonly splitOf: (word: string) => readonly string[]
  /** Words read as others. */
  readonly sameAs: SameAs
}

/** An ending of the language, and what may stand in its place in the word it was made from ("sangrita": sangre). */
export interface Ending {
  readonly ending: string
  readonly instead: readonly string[]
}

/** Letters that are left of a word without its ending, at least. */
const STEM_AT_LEAST = 3

/**
 * @param realWords words that are never a misspelling of another ("sloppy" for "floppy")
 * @param endings tried in order on a word that is none otherwise
 * @param sameAs words said otherwise, and the words that are meant
 * @param shortWords words too short for that, known with one letter wrong too where the first is right
 */
export function vocabularyOf(
  realWords: readonly string[],
  endings: readonly Ending[] = [],
  sameAs: Readonly<Record<string, string>> = {},
  shortWords: readonly string[] = [],
): Vocabulary {
  const exact = new Map<string, number>()
  const beginnings = new Map<string, number>()
  const shortened = new Map<string, number[]>()
  const shortenedBeginnings = new Map<string, number[]>()
  const shortenedShort = new Map<string, number[]>()
  const ranges: { readonly least: number; readonly most: number; readonly id: number }[] = []
  const words: string[] = []
  const real = new Set(realWords)
  const known = new Map<string, readonly number[]>()
  const begun = new Map<number, number[]>()
  let patterns = 0

  const begin = (ids: ReadonlySet<number>): number => {
    const number = patterns
    patterns += 1
    for (const id of ids) {
      const there = begun.get(id)
      if (there === undefined) begun.set(id, [number])
      else there.push(number)
    }
    return number
  }

  const add = (entry: string): number => {
    const isBeginning = entry.endsWith('*')
    const word = isBeginning ? entry.slice(0, -1) : entry
    const home = isBeginning ? beginnings : exact
    const there = home.get(word)
    if (there !== undefined) return there
    const id = words.push(word) - 1
    home.set(word, id)
    const [, least, most] = DIGITS_FROM_TO.exec(word) ?? []
    if (least !== undefined) ranges.push({ least: Number(least), most: Number(most), id })
    if (word.length >= (isBeginning ? BEGINNING_MISSPELT_FROM_LENGTH : MISSPELT_FROM_LENGTH)) {
      shorten(word, id, isBeginning ? shortenedBeginnings : shortened)
    }
    known.clear()
    return id
  }

  const shorten = (word: string, id: number, index: Map<string, number[]>): void => {
    for (const short of [word, ...shorterBy1(word)]) index.set(short, [...(index.get(short) ?? []), id])
  }

  const look = (word: string): readonly number[] => {
    const ids = new Set<number>()
    for (const itself of [exact.get(word), /^\d+$/.test(word) ? exact.get(ANY_DIGITS) : undefined]) {
      if (itself !== undefined) ids.add(itself)
    }
    if (/^\d+$/.test(word)) {
      for (const { least, most, id } of ranges) if (Number(word) >= least && Number(word) <= most) ids.add(id)
    }
    const isItself = ids.size > 0
    for (let length = 2; length <= word.length; length += 1) {
      const id = beginnings.get(word.slice(0, length))
      if (id !== undefined) ids.add(id)
    }
    // "breathng" begins like `breath*`, and may still be "breathing" misspelt.
    if (isItself || real.has(word)) return [...ids]
    for (const id of oneSlipFrom(word, shortenedShort)) if (words[id]?.[0] === word[0]) ids.add(id)
    if (word.length < MISSPELT_FROM_LENGTH - 1) return [...ids]
    for (const id of [...oneSlipFrom(word, shortened), ...beginningsMisspelt(word)]) ids.add(id)
    return [...ids]
  }

  /** "strugling" begins one slip away from `struggl*`: a slip inside the beginning, for its ends may be of another word. */
  const beginningsMisspelt = (word: string): readonly number[] => {
    const ids = new Set<number>()
    for (let length = BEGINNING_MISSPELT_FROM_LENGTH - 1; length <= word.length; length += 1) {
      const typed = word.slice(0, length)
      for (const id of oneSlipFrom(typed, shortenedBeginnings)) {
        const beginning = words[id] ?? ''
        if (beginning[0] === typed[0] && beginning.at(-1) === typed.at(-1)) ids.add(id)
      }
    }
    return [...ids]
  }

  const oneSlipFrom = (typed: string, index: ReadonlyMap<string, readonly number[]>): number[] =>
    [typed, ...shorterBy1(typed)].flatMap(short =>
      (index.get(short) ?? []).filter(id => isOneSlip(typed, words[id] ?? '')),
    )

  /** "sangrita" as "sangre", "twitchin" as "twitching": only what stands in the lexicon letter for letter. */
  const fromEnding = (word: string): readonly number[] => {
    for (const { ending, instead } of endings) {
      if (!word.endsWith(ending) || word.length - ending.length < STEM_AT_LEAST) continue
      const stem = word.slice(0, -ending.length)
      const ids = instead.flatMap(last => exact.get(stem + last) ?? [])
      if (ids.length > 0) return ids
    }
    return []
  }

  const idsOf = (word: string): readonly number[] => {
    const before = known.get(word)
    if (before !== undefined) return before
    const once = word.replace(/(\p{L})\1/gu, '$1')
    const direct = look(word)
    const isSpelt = once === word || exact.has(word) || real.has(word)
    const spelt = isSpelt ? direct : [...new Set([...direct, ...look(once)])]
    const ids = spelt.length > 0 || real.has(word) ? spelt : fromEnding(word)
    if (known.size > 5_000) known.clear()
    known.set(word, ids)
    return ids
  }

  const splitOf = (word: string): readonly string[] => {
    if (word.length < 7 || word.length > 24 || real.has(word) || idsOf(word).length > 0) return [word]
    for (let cut = 3; cut <= word.length - 3; cut += 1) {
      const [first, second] = [word.slice(0, cut), word.slice(cut)]
      if (exact.has(first) && exact.has(second)) return [first, second]
    }
    return [word]
  }

  for (const word of shortWords) shorten(word, add(word), shortenedShort)
  return { idsOf, add, begin, begunBy: word => begun.get(word) ?? [], splitOf, sameAs: sameAsOf(sameAs) }
}

function shorterBy1(word: string): string[] {
  return Array.from({ length: word.length }, (_, at) => word.slice(0, at) + word.slice(at + 1))
}

/** Whether one letter wrong, missing, added, or two neighbours swapped turns one word into the other. */
export function isOneSlip(a: string, b: string): boolean {
  if (a === b) return true
  if (Math.abs(a.length - b.length) > 1) return false
  let head = 0
  while (head < a.length && a[head] === b[head]) head += 1
  const [restA, restB] = [a.slice(head), b.slice(head)]
  return (
    restA.slice(1) === restB.slice(1) ||
    restA.slice(1) === restB ||
    restA === restB.slice(1) ||
    (restA[0] === restB[1] && restA[1] === restB[0] && restA.slice(2) === restB.slice(2))
  )
}
