import type { Thresholds } from './thresholds.ts'

export type PhResult = 'confirms' | 'not-confirmed'

/**
 * Whether an aspirate's pH speaks for the stomach: at or below `ph-at-most` (inclusive), with no acid-blocking medicine
 * today. The figures come from nasal tubes: pH ≤ 5 leaves a margin (Determination of a practical pH cutoff level;
 * Gilbertson et al., JPEN; 2011: one misplaced tube read 5.5); acid blockers lower what pH can show from 97 % to 77 %
 * (The pH of feeding tube aspirates from critically ill infants; Am J Crit Care 24(5):e72; 2015).
 * Anything else, "none came", "not sure" and a value outside 0 to 14 among it, does not confirm.
 */
export function phOf(
  value: number | 'none-came' | 'unsure',
  acidMedicine: 'yes' | 'no' | 'unsure',
  thresholds: Pick<Thresholds, 'ph-at-most'>,
): PhResult {
  if (acidMedicine !== 'no' || typeof value !== 'number') return 'not-confirmed'
  return value >= 0 && value <= thresholds['ph-at-most'] ? 'confirms' : 'not-confirmed'
}
