/** Danger signs named in free words. Looked for in every text, at every moment, before anything else. */
import type { Lexicon } from './lexicon.ts'
import type { Reading } from './pattern.ts'
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
 * month, today only a leak") is not of now.
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
      if (find.stance !== 'denied' && !isLongAgo(find, reading, lexicon)) return find
  }
  return undefined
}
