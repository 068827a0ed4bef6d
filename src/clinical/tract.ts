import type { Instant } from '../time/instant.ts'
import { type Between, since } from '../time/span.ts'
import type { Thresholds } from './thresholds.ts'

export type Tract = 'first-days' | 'new' | 'settled' | 'unknown'
export type ChangedBefore = 'yes' | 'no' | 'unsure' | 'not-asked'

/**
 * How firm the tract is, from when the first tube was placed. The latest date the family's words allow decides: the
 * youngest tract. Settled only past the clinic's threshold (strictly more) and, where the clinic asks it, after a first
 * change by a clinician. Exactly at a threshold the younger reading holds.
 *
 * Sources: first days, 72 h in "Early detection of complications after gastrostomy" (National Patient Safety Agency,
 * 2010), widened to the clinic's setting; settled, bodies span 1 to 12 weeks, and the first tube is a bar of its own
 * (Kent Community Health NHS Foundation Trust, leaflet 01178, 2021). Twelve weeks is common practice, no source.
 */
export function tractOf(
  placed: Between | 'unsure',
  changedBefore: ChangedBefore,
  at: Instant,
  thresholds: Thresholds,
): Tract {
  if (placed === 'unsure') return 'unknown'
  const youngest = since(placed, at).atLeast
  if (youngest < thresholds['first-days']) return 'first-days'
  const changed = thresholds['tract-settled-needs-change'] === 'no' || changedBefore === 'yes'
  return youngest > thresholds['tract-settled-after'] && changed ? 'settled' : 'new'
}
