/** Danger signs named in free words. Looked for in every text, at every moment, before anything else. */
import type { Lexicon } from './lexicon.ts'
import { type Found, placesFrom, type Reading } from './pattern.ts'
import { isLongAgo, type PhraseFound, phraseFinds } from './phrase.ts'

export interface DangerFound {
  readonly sign: string
  readonly because: string
  /** The words that say it, by their places in the reading. */
  readonly places: readonly number[]
}

/**
 * The danger signs a message names, in the lexicon's order. A sign that is denied plainly ("no", "not blue") is not
 * named; one that is denied doubtfully or doubly is: nothing unclear is dropped. One said to be of long ago ("a fit last
 * month, today only a leak") is not of now, nor is one that is only supposed ("will it make him drowsy").
 */
export function dangerIn(reading: Reading, lexicon: Lexicon): readonly DangerFound[] {
  const found: DangerFound[] = []
  for (const sign of lexicon.signs) {
    const first = firstOf(sign.phrases, reading, lexicon, sign.pastCounts)
    if (first !== undefined) found.push({ sign: sign.id, because: first.words, places: first.places })
  }
  return found
}

function firstOf(
  phrases: Lexicon['signs'][number]['phrases'],
  reading: Reading,
  lexicon: Lexicon,
  pastCounts: boolean,
): PhraseFound | undefined {
  for (const phrase of phrases) {
    const ask = { pastCounts, isThing: phrase.isThing }
    for (const find of phraseFinds(phrase, reading, lexicon, ask))
      if (find.stance !== 'denied' && !isLongAgo(find, reading, lexicon) && !isSupposed(find, reading, lexicon))
        return find
  }
  return undefined
}

/** Words between what supposes and the sign ("what if he goes blue"), at most; and words back at which it may begin. */
const SUPPOSED_GAP = 2
const SUPPOSED_REACH = 8

/** Whether words that only suppose lead up to the find, nothing cut between. */
function isSupposed(find: Found, reading: Reading, { supposed }: Lexicon): boolean {
  for (let at = find.from - 1; at >= Math.max(0, find.from - SUPPOSED_REACH); at -= 1) {
    if (reading.tokens[at + 1]?.gap !== 'none') return false
    if (supposed.some(pattern => isNear(placesFrom(pattern, reading, at)?.at(-1), find.from))) return true
  }
  return false
}

const isNear = (last: number | undefined, from: number): boolean =>
  last !== undefined && last < from && from - last - 1 <= SUPPOSED_GAP
