/** What a first message is about. */
import type { DangerFound } from './danger.ts'
import type { Lexicon } from './lexicon.ts'
import type { Reading } from './pattern.ts'
import { firstNotDenied } from './phrase.ts'

/** The concern of whoever wants a person, or names no trouble that another flow is for. */
export const SOMEONE = 'someone'

export interface ConcernFound {
  readonly concern: string
  readonly because: string
  /** First and last word that names it, by their places in the reading; none where only its danger sign does. */
  readonly words?: { readonly from: number; readonly to: number }
}

/**
 * The concerns a message names, most urgent first (the lexicon's order), those its danger signs are about among them. Words
 * that say a danger sign name no other trouble ("her chest isn't moving" is no blocked tube). A concern's `only-alone`
 * phrases count only when nothing else was found, no danger sign either.
 */
export function concernsIn(
  reading: Reading,
  lexicon: Lexicon,
  danger: readonly DangerFound[] = [],
): readonly ConcernFound[] {
  const taken = new Set(danger.flatMap(({ places }) => places))
  const found = lexicon.concerns.flatMap(({ id, phrases, leads }) => {
    const said =
      firstNotDenied(phrases, reading, lexicon, taken) ?? firstNotDenied(leads?.phrases ?? [], reading, lexicon, taken)
    const sign = danger.find(({ sign }) => lexicon.signs.some(known => known.id === sign && known.concern === id))
    const because = said?.words ?? sign?.because
    if (because === undefined) return []
    return [{ concern: id, because, ...(said === undefined ? {} : { words: { from: said.from, to: said.to } }) }]
  })
  const covered = new Set(
    lexicon.concerns.filter(({ id }) => found.some(one => one.concern === id)).flatMap(({ covers }) => covers),
  )
  if (found.length > 0) {
    const own = found.filter(one => !covered.has(one.concern))
    const ordered = withLeading(own, reading, lexicon)
    return isReadTwoWays(ordered, reading, lexicon) ? [] : ordered
  }
  if (danger.length > 0) return []
  return lexicon.concerns.flatMap(({ id, onlyAlone }) => {
    const said = firstNotDenied(onlyAlone, reading, lexicon)
    return said === undefined ? [] : [{ concern: id, because: said.words }]
  })
}

/**
 * The same words name two troubles ("carne salida junto al botón"), and the lexicon does not say which leads: neither is
 * guessed, and buttons are shown.
 */
function isReadTwoWays([first, ...others]: readonly ConcernFound[], reading: Reading, lexicon: Lexicon): boolean {
  const known = lexicon.concerns.find(({ id }) => id === first?.concern)
  const leads = known?.leads?.over ?? []
  return others.some(
    ({ concern, words }) =>
      !leads.includes(concern) &&
      (isWithin(first?.words, words) ||
        isWithin(words, first?.words) ||
        (known?.atOnce !== true && areOneThing(first?.words, words, reading, lexicon))),
  )
}

/** In one piece of a sentence, with nothing between that joins two things ("water came out pinkish from the balloon"). */
function areOneThing(
  one: ConcernFound['words'],
  other: ConcernFound['words'],
  { tokens }: Reading,
  { negation }: Lexicon,
): boolean {
  if (one === undefined || other === undefined) return false
  const [before, after] = one.from <= other.from ? [one, other] : [other, one]
  for (let at = Math.min(before.to, after.from) + 1; at <= after.from; at += 1) {
    const token = tokens[at]
    if (token === undefined || token.gap !== 'none' || negation.contrast.has(token.word)) return false
  }
  return true
}

const isWithin = (inner: ConcernFound['words'], outer: ConcernFound['words']): boolean =>
  inner !== undefined && outer !== undefined && outer.from <= inner.from && inner.to <= outer.to

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
