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
  if (found.length > 0) {
    const own = found.filter(one => !covered.has(one.concern))
    return withLeading(own, reading, lexicon)
  }
  return lexicon.concerns.flatMap(({ id, onlyAlone }) => {
    const said = firstNotDenied(onlyAlone, reading, lexicon)
    return said === undefined ? [] : [{ concern: id, because: said.words }]
  })
}

/** A dose that came up is vomiting too: the words may say that what is less urgent by itself comes first this time. */
function withLeading(found: readonly ConcernFound[], reading: Reading, lexicon: Lexicon): readonly ConcernFound[] {
  let order = found
  for (const { id, leads } of lexicon.concerns) {
    const first = order.findIndex(({ concern }) => leads?.over.includes(concern) === true)
    const own = order.findIndex(({ concern }) => concern === id)
    if (
      leads === undefined ||
      first < 0 ||
      own < first ||
      firstNotDenied(leads.phrases, reading, lexicon) === undefined
    )
      continue
    const rest = order.filter(({ concern }) => concern !== id)
    order = [...rest.slice(0, first), ...order.slice(own, own + 1), ...rest.slice(first)]
  }
  return order
}
