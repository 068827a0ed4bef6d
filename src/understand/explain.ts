/** What a message was taken for and which words made it so: for reading a lexicon against labelled lines. */
import { concernsIn, SOMEONE } from './concern.ts'
import { dangerIn } from './danger.ts'
import type { Lexicon } from './lexicon.ts'
import { readingOf } from './pattern.ts'
import { firstSaid } from './phrase.ts'
import { picturesAsWords, plainOf } from './plain.ts'
import { tokensOf } from './token.ts'

export interface Explained {
  /** Most urgent first; empty means that buttons are shown. */
  readonly concerns: readonly string[]
  readonly danger: readonly string[]
  /** The words found, each after the id it stands for: `tube-out: tube came out`. */
  readonly because: readonly string[]
}

/**
 * Reads a first message as `understand` does. A danger sign, a wish for a person and words of despair are the concern
 * `someone` when no other is named.
 */
export function explain(text: string, lexicon: Lexicon): Explained {
  const reading = readingOf(tokensOf(picturesAsWords(plainOf(text), lexicon.pictures)), lexicon.vocabulary)
  const danger = dangerIn(reading, lexicon)
  const concerns = concernsIn(reading, lexicon, danger)
  const person =
    firstSaid(lexicon.controls.person, reading, lexicon) ?? firstSaid(lexicon.controls.despair, reading, lexicon)
  const named = concerns.map(found => found.concern)
  return {
    concerns: named.length === 0 && (person !== undefined || danger.length > 0) ? [SOMEONE] : named,
    danger: danger.map(found => found.sign),
    because: [
      ...danger.map(found => `${found.sign}: ${found.because}`),
      ...concerns.map(found => `${found.concern}: ${found.because}`),
      ...(person === undefined ? [] : [`${SOMEONE}: ${person.words}`]),
    ],
  }
}
