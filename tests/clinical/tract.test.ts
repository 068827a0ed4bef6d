import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type ChangedBefore, type Tract, tractOf } from '../../src/clinical/tract.ts'
import { days, hours, instant } from '../../src/time/instant.ts'
import { defaultThresholds } from '../support/shipped-thresholds.ts'
import { remembered } from './remembered.ts'

const DAY = 86_400_000
const now = instant(Date.parse('2026-03-01T02:10:00Z'))
/** Placed so many days ago; the later date is the fewer days. */
const placed = (most: number, least = most) => remembered(now - most * DAY, now - least * DAY)

/**
 * First days: 72 h are published (Early detection of complications after gastrostomy; National Patient Safety Agency,
 * UK; 2010), widened to 7 days. Settled: "tract under 8 weeks, or first tube in that tract: hospital, do not replace"
 * (leaflet 01178; Kent Community Health NHS Foundation Trust; 2021); 12 weeks is common practice, no source, and the later.
 */
describe('maturity of the tract', () => {
  it.each<[string, number, number, ChangedBefore, Tract]>([
    // title, most days ago, least days ago, changed by a clinician before → tract
    ['today', 0, 0, 'no', 'first-days'],
    ['72 hours, the published limit', 3, 3, 'no', 'first-days'],
    ['6 days', 6, 6, 'no', 'first-days'],
    ['7 days exactly', 7, 7, 'no', 'new'],
    ['between 5 and 9 days: the later date counts', 9, 5, 'no', 'first-days'],
    ['3 weeks', 21, 21, 'no', 'new'],
    ['8 weeks less a day (leaflet: hospital)', 55, 55, 'yes', 'new'],
    ['8 weeks and a day (leaflet: may count as formed; here not yet)', 57, 57, 'yes', 'new'],
    ['12 weeks exactly', 84, 84, 'yes', 'new'],
    ['12 weeks and a day', 85, 85, 'yes', 'settled'],
    ['11 to 14 weeks: the later date counts', 98, 77, 'yes', 'new'],
    ['2 years, changed', 730, 730, 'yes', 'settled'],
    ['2 years, first tube (leaflet: hospital)', 730, 730, 'no', 'new'],
    ['2 years, not sure whether changed', 730, 730, 'unsure', 'new'],
    ['2 years, not asked whether changed', 730, 730, 'not-asked', 'new'],
  ])('%s', (_title, most, least, changed, tract) => {
    expect(tractOf(placed(most, least), changed, now, defaultThresholds)).toBe(tract)
  })

  it('counts to the millisecond at both limits', () => {
    const at = (ms: number) => tractOf(remembered(now - ms, now - ms), 'yes', now, defaultThresholds)
    expect([at(7 * DAY - 1), at(7 * DAY), at(84 * DAY), at(84 * DAY + 1)]).toEqual([
      'first-days',
      'new',
      'new',
      'settled',
    ])
  })

  it('without a usable date is unknown, whatever else is known', () => {
    expect(tractOf('unsure', 'yes', now, defaultThresholds)).toBe('unknown')
    expect(tractOf(undefined, 'yes', now, defaultThresholds)).toBe('unknown')
  })

  it('a date ahead of now makes the youngest tract there is', () => {
    expect(tractOf(remembered(now + DAY, now + DAY), 'yes', now, defaultThresholds)).toBe('first-days')
  })

  it('a clinic may do without the first change', () => {
    const own = { ...defaultThresholds, 'tract-settled-needs-change': 'no' as const }
    expect(tractOf(placed(85), 'no', now, own)).toBe('settled')
  })

  it('no shipped figure is milder than the published one it stands on', () => {
    expect(defaultThresholds['first-days']).toBeGreaterThanOrEqual(hours(72))
    expect(defaultThresholds['tract-settled-after']).toBeGreaterThanOrEqual(days(56))
  })
})

describe('a tract never looks older for a worse answer', () => {
  const maturity: readonly Tract[] = ['unknown', 'first-days', 'new', 'settled']
  const rank = (tract: Tract): number => maturity.indexOf(tract)
  const ago = fc.integer({ min: 0, max: 400 * 24 })
  const changed = fc.constantFrom<ChangedBefore>('yes', 'no', 'unsure', 'not-asked')
  const at = (most: number, least: number, answer: ChangedBefore) =>
    rank(tractOf(remembered(now - hours(most), now - hours(least)), answer, now, defaultThresholds))

  it('a later latest date never gives an older tract; the earliest date never counts', () => {
    fc.assert(
      fc.property(ago, ago, ago, changed, (first, second, third, answer) => {
        const [least, middle, most] = [first, second, third].sort((a, b) => a - b) as [number, number, number]
        expect(at(most, least, answer)).toBeLessThanOrEqual(at(most, middle, answer))
        expect(at(most, least, answer)).toBe(at(middle, least, answer))
      }),
    )
  })
  it('not sure of the first change never gives an older tract than yes', () => {
    fc.assert(
      fc.property(ago, changed, (back, answer) => {
        expect(at(back, back, answer)).toBeLessThanOrEqual(at(back, back, 'yes'))
      }),
    )
  })
})
