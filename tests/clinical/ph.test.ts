import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { phOf } from '../../src/clinical/ph.ts'
import { defaultThresholds } from '../support/shipped-thresholds.ts'

/**
 * Gilbertson et al., JPEN; 2011 (4,330 samples, 645 children, mostly nasal tubes): lowest tracheal pH 6.0, one misplaced tube
 * read 5.5; pH ≤ 5 leaves a margin. Acid blockers: The pH of feeding tube aspirates from critically ill infants; Am J
 * Crit Care 24(5):e72; 2015. Others accept ≤ 5.5 (practice note; Hospital for Sick Children, Toronto; 2020s): stricter here.
 */
describe('whether a pH confirms the stomach', () => {
  it.each([
    // pH, acid-blocking medicine today → result
    [1, 'no', 'confirms'],
    [4.0, 'no', 'confirms'],
    [5.0, 'no', 'confirms'],
    [5.1, 'no', 'not-confirmed'],
    [5.5, 'no', 'not-confirmed'],
    [6.0, 'no', 'not-confirmed'],
    [0, 'no', 'confirms'],
    [14, 'no', 'not-confirmed'],
    [4.0, 'yes', 'not-confirmed'],
    [4.0, 'unsure', 'not-confirmed'],
    ['none-came', 'no', 'not-confirmed'],
    ['unsure', 'no', 'not-confirmed'],
    [-1, 'no', 'not-confirmed'],
    [15, 'no', 'not-confirmed'],
    [Number.NaN, 'no', 'not-confirmed'],
    [Number.NEGATIVE_INFINITY, 'no', 'not-confirmed'],
  ] as const)('pH %s, acid medicine %s: %s', (value, acid, result) => {
    expect(phOf(value, acid, defaultThresholds)).toBe(result)
  })

  it('never confirms at the value a misplaced tube has read, whatever a clinic may set', () => {
    expect(phOf(5.5, 'no', { 'ph-at-most': 5.4 })).toBe('not-confirmed')
  })

  it('a higher pH never confirms where a lower one did not', () => {
    fc.assert(
      fc.property(fc.double({ min: 0, max: 14, noNaN: true }), fc.double({ min: 0, max: 14, noNaN: true }), (a, b) => {
        const [low, high] = a < b ? [a, b] : [b, a]
        if (phOf(high, 'no', defaultThresholds) === 'confirms')
          expect(phOf(low, 'no', defaultThresholds)).toBe('confirms')
      }),
    )
  })
})
