/** What a first message is about. */
import type { DangerFound } from './danger.ts'
import type { Lexicon } from './lexicon.ts'
import type { Reading } from './pattern.ts'
import { firstNotDenied } from './phrase.ts'

export interface ConcernFound {
  readonly concern: string
  readonly because: string
}

/**
 * The concerns a message names, most urgent first (the lexicon's order), those its danger signs are about among them. A
 * concern's `only-alone` phrases count only when nothing else was found.
 */
export function concernsIn(
  reading: Reading,
  lexicon: Lexicon,
  danger: readonly DangerFound[] = [],
): readonly ConcernFound[] {
  const found = lexicon.concerns.flatMap(({ id, phrases }) => {
    const said = firstNotDenied(phrases, reading, lexicon)
    const sign = danger.find(({ sign }) => lexicon.signs.some(known => known.id === sign && known.concern === id))
    const because = said?.words ?? sign?.because
    return because === undefined ? [] : [{ concern: id, because }]
  })
  const covered = new Set(
    lexicon.concerns.filter(({ id }) => found.some(one => one.concern === id)).flatMap(({ covers }) => covers),
  )
  if (found.length > 0) return found.filter(one => !covered.has(one.concern))
  return lexicon.concerns.flatMap(({ id, onlyAlone }) => {
    const said = firstNotDenied(onlyAlone, reading, lexicon)
    return said === undefined ? [] : [{ concern: id, because: said.words }]
  })
}
