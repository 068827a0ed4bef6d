/** What a first message is about. */
import type { DangerFound } from './danger.ts'
import type { ItMeans, Lexicon } from './lexicon.ts'
import { canMatch, type Found, type Pattern, placesFrom, type Reading } from './pattern.ts'
import { firstNotDenied, type PhraseFound } from './phrase.ts'

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
 * that say a danger sign name no other trouble ("her chest isn't moving" is no blocked tube), nor do words that could be of a
 * tube where no thing of it is named ("jerking and dribbling" is no leak). What is half denied counts
 * only beside nothing that is said plainly ("not really vomiting, only a leak"), unless it cannot wait. A concern's `only-alone`
 * phrases count only when nothing else was found, no danger sign either.
 */
export function concernsIn(
  reading: Reading,
  lexicon: Lexicon,
  danger: readonly DangerFound[] = [],
): readonly ConcernFound[] {
  const named = lexicon.concerns.map(concern => namedBy(concern, reading, lexicon, danger))
  const all = named.filter(one => one !== undefined && one !== URGENT_IN_DOUBT)
  if (named.includes(URGENT_IN_DOUBT) && !all.some(({ isUrgent }) => isUrgent)) return []
  const found = all.some(({ isClear }) => isClear) ? all.filter(({ isClear }) => isClear) : all
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

/** What cannot wait is named only by words that may be of another thing: buttons are shown. */
const URGENT_IN_DOUBT = 'urgent-in-doubt'

interface Named extends ConcernFound {
  /** Not half denied, or so urgent that this does not matter. */
  readonly isClear: boolean
  readonly isUrgent: boolean
}

/** How one concern is named, if it is. */
function namedBy(
  { id, phrases, leads, atOnce, itMeans, besideDanger }: Lexicon['concerns'][number],
  reading: Reading,
  lexicon: Lexicon,
  danger: readonly DangerFound[],
): Named | typeof URGENT_IN_DOUBT | undefined {
  if (danger.length > 0 && besideDanger !== undefined && !canMatch(besideDanger, reading)) return undefined
  const taken = new Set(danger.flatMap(({ places }) => places))
  const isTaken = (found: Found): boolean => found.places.some(place => taken.has(place))
  const firstBut = (isLeftOut: (found: Found) => boolean): PhraseFound | undefined =>
    firstNotDenied(phrases, reading, lexicon, isLeftOut) ??
    firstNotDenied(leads?.phrases ?? [], reading, lexicon, isLeftOut)
  const said = firstBut(found => isTaken(found) || isOfAnotherThing(found, reading, itMeans))
  const sign = danger.find(({ sign }) => lexicon.signs.some(known => known.id === sign && known.concern === id))
  const because = said?.words ?? sign?.because
  if (because === undefined) return atOnce && firstBut(isTaken) !== undefined ? URGENT_IN_DOUBT : undefined
  const words = said === undefined ? {} : { words: { from: said.from, to: said.to } }
  const isClear = sign !== undefined || atOnce || said?.stance === 'said'
  return { concern: id, because, ...words, isClear, isUrgent: atOnce }
}

/**
 * The same words name two troubles ("carne salida junto al botón"), or one piece of a sentence does ("water came out pinkish
 * from the balloon"), and the lexicon does not say which leads: neither is guessed, and buttons are shown. What cannot
 * wait is put off only by words that are the other's too.
 */
function isReadTwoWays([first, ...others]: readonly ConcernFound[], reading: Reading, lexicon: Lexicon): boolean {
  const known = lexicon.concerns.find(({ id }) => id === first?.concern)
  const leads = known?.leads?.over ?? []
  return others.some(({ concern, words }) => {
    const one = first?.words
    if (one === undefined || words === undefined || leads.includes(concern)) return false
    const [before, after] = one.from <= words.from ? [one, words] : [words, one]
    if (isWithin(one, words) || isWithin(words, one))
      return isOnePiece(before.from, Math.max(before.to, after.to), reading, lexicon)
    return known?.atOnce !== true && isOnePiece(Math.min(before.to, after.from), after.from, reading, lexicon)
  })
}

/**
 * "the clamp is broken, I can't stop it coming out": the words name no tube, and the last thing named before them that
 * "it" can mean is another. Nothing is decided from them.
 */
function isOfAnotherThing(found: Found, reading: Reading, itMeans: ItMeans | undefined): boolean {
  if (itMeans === undefined) return false
  const names = (pattern: Pattern, at: number): boolean => placesFrom(pattern, reading, at) !== undefined
  for (let at = found.to; at >= 0; at -= 1) {
    if (names(itMeans.own, at)) return false
    if (at < found.from && names(itMeans.other, at)) return true
  }
  return false
}

/** Whether nothing from one word to another joins two things: no mark, no "but" or "and". */
function isOnePiece(from: number, to: number, { tokens }: Reading, { negation }: Lexicon): boolean {
  for (let at = from + 1; at <= to; at += 1) {
    const token = tokens[at]
    if (token === undefined || token.gap !== 'none' || negation.contrast.has(token.word)) return false
  }
  return true
}

type Span = NonNullable<ConcernFound['words']>

const isWithin = (inner: Span, outer: Span): boolean => outer.from <= inner.from && inner.to <= outer.to

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
