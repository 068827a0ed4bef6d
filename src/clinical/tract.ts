import { elapsed, type Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Thresholds } from './thresholds.ts'

/** How mature the channel from skin to stomach is. */
export type Tract = 'first-days' | 'new' | 'settled' | 'unknown'

/** Whether a clinician has already done the first change of the tube. */
export type ChangedBefore = 'yes' | 'no' | 'unsure' | 'not-asked'

/**
 * The maturity of the tract at `at`. The latest date remembered counts, since the youngest tract is the most easily torn.
 *
 * - `first-days`: younger than `first-days` (strictly). Early Detection of Complications after Gastrostomy; National
 *   Patient Safety Agency, UK; 2010 has 72 hours; widened to 7 days after Peritonitis following percutaneous
 *   gastrostomy tube insertions in children; Dookhoo et al., Pediatr Radiol 46; 2016.
 * - `settled`: older than `tract-settled-after` (strictly) and, unless the clinic's rule says otherwise, changed before
 *   by a clinician: ED pathway for care of the child with GJ or G tube displacement; Children's Hospital of
 *   Philadelphia; 2018 (12 weeks, radiology-made; its 2021 version says 6); first tube never at home: leaflet 01178;
 *   Kent Community Health NHS Foundation Trust; 2021. 12 weeks for every tract is common practice, no source.
 * - `unknown`: no usable date. Acts as new, and as first days for pain, bleeding, leak and fever.
 *
 * A date that lies after `at` makes the youngest tract there is.
 */
export function tractOf(
  placed: Between | 'unsure' | undefined,
  changedBefore: ChangedBefore,
  at: Instant,
  thresholds: Pick<Thresholds, 'first-days' | 'tract-settled-after' | 'tract-settled-needs-change'>,
): Tract {
  if (placed === undefined || placed === 'unsure') return 'unknown'
  const youngest = elapsed(placed.latest, at)
  if (youngest < thresholds['first-days']) return 'first-days'
  const changed = changedBefore === 'yes' || thresholds['tract-settled-needs-change'] === 'no'
  return changed && youngest > thresholds['tract-settled-after'] ? 'settled' : 'new'
}
