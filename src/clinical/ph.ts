import type { Thresholds } from './thresholds.ts'

/**
 * Whether a pH reading of what came out of the tube confirms that it lies in the stomach. At or below the clinic's
 * figure, and only when no acid-blocking medicine was given today; anything else does not confirm.
 *
 * Sources: the lowest tracheal reading was 6.0 and one misplaced tube read 5.5 (Gilbertson et al., JPEN, 2011);
 * acid blockers blur it (Am J Crit Care 24(5):e72, 2015). Both on nasal tubes.
 */
export function phOf(
  ph: number | 'none-came' | 'unsure',
  acidMedicine: 'yes' | 'no' | 'unsure',
  thresholds: Thresholds,
): 'confirms' | 'not-confirmed' {
  if (typeof ph !== 'number' || !(ph >= 0 && ph <= 14)) return 'not-confirmed'
  return acidMedicine === 'no' && ph <= thresholds['ph-at-most'] ? 'confirms' : 'not-confirmed'
}
