import { hours, type Instant, instant, type Milliseconds } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Travel } from './closure.ts'

/** What makes going without feed dangerous for a child. */
export type FastingRisk =
  | 'metabolic'
  | 'steroid-dependent'
  | 'insulin'
  | 'low-sugar-before'
  | 'ketogenic-diet'
  | 'continuous-feed'

/** The child as far as fasting goes. Call only once feed cannot be given. */
export interface FastingFacts {
  readonly risks: readonly FastingRisk[] | 'none' | 'unsure'
  readonly unwellToo: 'yes' | 'no' | 'unsure' | 'not-asked'
  /** The child's own written plan: the longest it allows, no number in it, or no plan. */
  readonly plan: { readonly limit: Milliseconds } | 'no-limit-written' | 'no-plan'
  /** Disorder and age the clinic's ceiling is taken from where the plan gives no limit. */
  readonly ceiling: Milliseconds | 'none'
  readonly lastFeed: Between | 'unsure'
  readonly travel: Travel | 'unsure' | undefined
}

/**
 * What follows when feed cannot be given.
 * `speak` at once with any risk; `set-out` when unwell, without a written plan, or from the plan's limit less the longest
 * travel, counted from the earliest the last feed can have been (inclusive). No number of hours is ever said to a family.
 *
 * Infection shortens every limit and no safe time is known in illness: Safe and unsafe duration of fasting for children
 * with MCAD deficiency; Derks et al., Eur J Pediatr 166:5-11; 2007; Tolerance to fast; Walter, J Inherit Metab Dis
 * 32:214-217; 2009. The rest is common practice, no source.
 * Not sure: of the risk → `speak`; of feeling unwell → as unwell; of the last feed → past the page limit only; of travel
 * → longer than any limit.
 */
export function fastingOf(facts: FastingFacts, at: Instant): 'none' | 'speak' | 'set-out' {
  if (facts.risks === 'none') return 'none'
  if (facts.risks === 'unsure') return 'speak'
  if (facts.unwellToo === 'yes' || facts.unwellToo === 'unsure') return 'set-out'
  const due = fastingSetOutAt(facts)
  if (due === 'at-once') return 'set-out'
  return due !== 'not-known' && at >= due ? 'set-out' : 'speak'
}

/**
 * From when `set-out` holds for a child at risk who is well: the instant an alarm belongs at. `at-once` where there is no
 * plan, no usable limit or no known travel; `not-known` where only the last feed is not known.
 */
export function fastingSetOutAt({ plan, ceiling, lastFeed, travel }: FastingFacts): Instant | 'at-once' | 'not-known' {
  if (plan === 'no-plan') return 'at-once'
  const limit = plan === 'no-limit-written' ? ceiling : plan.limit
  if (limit === 'none' || travel === undefined || travel === 'unsure') return 'at-once'
  if (lastFeed === 'unsure') return 'not-known'
  return instant(lastFeed.earliest + limit - travel.atMostMs)
}

/**
 * Longest time without feed for a WELL child with MCAD deficiency, by age in months (the youngest the child can be);
 * clinic only. From 6 months, 8 h; in the second year, 10 h; after it, 12 h: Derks et al. 2007. Under 6 months 3 to 4 h
 * rising: MCAD deficiency: no fasting (patient table); Belgian MCADD information site; undated; the shorter end counts.
 * Other disorders tolerate less, some about 2 h: they have no ceiling here.
 */
export function mcadCeiling(ageMonths: number, condition: 'well' | 'unwell'): Milliseconds | 'none' {
  if (condition === 'unwell' || !(ageMonths >= 0)) return 'none'
  if (ageMonths < 6) return hours(3)
  if (ageMonths < 12) return hours(8)
  return ageMonths < 24 ? hours(10) : hours(12)
}
