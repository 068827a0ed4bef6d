import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { ageBandOf } from '../../src/clinical/age.ts'
import { balloonTrend } from '../../src/clinical/balloon.ts'
import { type FastingFacts, fastingOf, fastingSetOutAt, mcadCeiling } from '../../src/clinical/fasting.ts'
import { type Fever, type FeverContext, feverOf, type Temperature } from '../../src/clinical/fever.ts'
import { maintenancePerDay, maintenancePerHour } from '../../src/clinical/fluids.ts'
import { celsius, celsiusFromFahrenheit, kilograms, millilitres } from '../../src/clinical/quantities.ts'
import { urineOf } from '../../src/clinical/urine.ts'
import { days, hours, instant, minutes } from '../../src/time/instant.ts'
import { defaultThresholds } from '../support/shipped-thresholds.ts'
import { clock, remembered, travel } from './remembered.ts'

const now = clock('12:00')
const HOUR = 3_600_000
const ago = (most: number, least = most) => remembered(now - most * HOUR, now - least * HOUR)

describe('age bands: a band begins at its lower end', () => {
  it.each([
    [89, 'under-3-months'],
    [90, '3-to-6-months'],
    [179, '3-to-6-months'],
    [180, '6-months-to-5-years'],
    [5 * 365 - 1, '6-months-to-5-years'],
    [5 * 365, '5-years-and-over'],
  ])('%d days at least: %s', (atLeast, band) => {
    expect(ageBandOf({ atLeastMs: days(atLeast) })).toBe(band)
  })
  it('without a usable age is unknown', () => {
    expect([ageBandOf('unsure'), ageBandOf(undefined)]).toEqual(['unknown', 'unknown'])
  })
})

/** Fever in under 5s, NG143; NICE; 2019, updated 2021: under 3 months from 38 °C is high risk. NG254: below 36 °C is high risk. */
describe('what a temperature calls for', () => {
  const plain: FeverContext = {
    age: '5-years-and-over',
    firstDays: false,
    atRisk: false,
    siteSign: false,
    lowIsUsual: false,
  }
  const rectal = (value: number): Temperature => ({ kind: 'measured', celsius: celsius(value), place: 'rectal' })
  const armpit = (value: number): Temperature => ({ kind: 'measured', celsius: celsius(value), place: 'armpit' })
  it.each<[string, Temperature, Partial<FeverContext>, Fever['fever'], Fever['least']]>([
    ['2 months, 37.9', rectal(37.9), { age: 'under-3-months' }, 'absent', 'none'],
    ['2 months, 38.0', rectal(38), { age: 'under-3-months' }, 'present', 'set-out'],
    ['age not known, 38.0', rectal(38), { age: 'unknown' }, 'present', 'set-out'],
    ['2 months, 37.5 in the armpit', armpit(37.5), { age: 'under-3-months' }, 'present', 'set-out'],
    ['4 months, 38.9', rectal(38.9), { age: '3-to-6-months' }, 'present', 'speak'],
    ['4 months, 39.0', rectal(39), { age: '3-to-6-months' }, 'present', 'set-out'],
    ['6 years, 38.0', rectal(38), {}, 'present', 'speak'],
    ['6 years, 37.4 in the armpit', armpit(37.4), {}, 'absent', 'none'],
    ['6 years, 38.0, pus at the opening', rectal(38), { siteSign: true }, 'present', 'speak-within-the-hour'],
    ['6 years, 38.0, first days', rectal(38), { firstDays: true }, 'present', 'set-out'],
    ['6 years, 38.0, central line', rectal(38), { atRisk: true }, 'present', 'set-out'],
    ['35.9', rectal(35.9), {}, 'low', 'set-out'],
    ['36.0', rectal(36), {}, 'absent', 'none'],
    ['35.9, usual for this child', rectal(35.9), { lowIsUsual: true }, 'low', 'none'],
    ['feels hot, 4 months', { kind: 'feels-hot' }, { age: '3-to-6-months' }, 'present', 'set-out'],
    ['feels hot, 6 years', { kind: 'feels-hot' }, {}, 'present', 'speak'],
    ['feels normal', { kind: 'feels-normal' }, {}, 'absent', 'none'],
    ['not sure', { kind: 'unsure' }, {}, 'unknown', 'speak'],
  ])('%s', (_title, temperature, context, fever, least) => {
    expect(feverOf(temperature, { ...plain, ...context }, defaultThresholds)).toEqual({ fever, least })
  })
  it('100.4 °F is 38 °C', () => expect(celsiusFromFahrenheit(100.4)).toBe(38))
})

/** 8 h: Diarrhoea and vomiting, parent advice sheet; 12 h: parent safety-netting sheet; both Healthier Together, NHS; 2020s. */
describe('hours without urine', () => {
  it.each([
    [7.9, 7, 'recent'],
    [8, 1, 'page'],
    [11.9, 11.9, 'page'],
    [12, 5, 'hospital'],
  ] as const)('dry for %d hours at most, %d at least: %s', (most, least, called) => {
    expect(urineOf(ago(most, least), now, defaultThresholds)).toBe(called)
  })
  it('not sure is past the page limit only', () => expect(urineOf('unsure', now, defaultThresholds)).toBe('page'))
})

/** More than 0.5 mL lost: practice note on changing balloon G tubes; Hospital for Sick Children, Toronto; current copy. */
describe('balloon water', () => {
  const check = (putIn: number, cameOut: number) => ({ putIn: millilitres(putIn), cameOut: millilitres(cameOut) })
  it.each([
    ['never checked', [], 'not-checked'],
    ['5 in, 5 out', [check(5, 5)], 'holds'],
    ['5 in, 4.5 out: the published limit', [check(5, 4.5)], 'holds'],
    ['5 in, 4.4 out', [check(5, 4.4)], 'loss'],
    ['a little less at two checks running', [check(5, 4.8), check(5, 4.9)], 'falling'],
    ['a little less, then all of it', [check(5, 4.8), check(5, 5)], 'holds'],
    ['nothing comes out', [check(5, 0)], 'none-came-out'],
    ['more than was put in', [check(4, 5)], 'gain'],
  ] as const)('%s', (_title, checks, trend) => {
    expect(balloonTrend(checks, defaultThresholds)).toBe(trend)
  })
})

/**
 * 4-2-1 and 100-50-20 rules: Holliday & Segar, Pediatrics 1957; worked for round weights. 30 kg, 70 mL an hour: worked example of
 * "Maintenance fluid requirements", a teaching page of the University of Texas Medical Branch that quotes them; undated.
 */
describe('maintenance water', () => {
  it.each([
    [4, 16, 400],
    [10, 40, 1000],
    [12, 44, 1100],
    [20, 60, 1500],
    [25, 65, 1600],
    [30, 70, 1700],
    [70, 100, 2400],
  ])('%d kg: %d mL an hour, %d mL a day', (weight, hourly, daily) => {
    expect(maintenancePerHour(kilograms(weight))).toBe(hourly)
    expect(maintenancePerDay(kilograms(weight))).toBe(daily)
  })
})

/** Ceilings of a well child: Safe and unsafe duration of fasting for children with MCAD deficiency; Derks et al.; 2007. */
describe('going without feed', () => {
  const well: FastingFacts = {
    risks: ['metabolic'],
    unwellToo: 'no',
    plan: { limit: hours(8) },
    ceiling: 'none',
    lastFeed: ago(4, 3),
    travel: travel(20, 30),
  }
  it.each<[string, Partial<FastingFacts>, 'none' | 'speak' | 'set-out']>([
    ['no risk', { risks: 'none' }, 'none'],
    ['risk not known', { risks: 'unsure' }, 'speak'],
    ['well, within the plan', {}, 'speak'],
    ['well, the plan less the longest drive reached', { lastFeed: ago(7.5, 1) }, 'set-out'],
    ['well, a minute before that', { lastFeed: ago(7.5 - 1 / 60, 1) }, 'speak'],
    ['unwell', { unwellToo: 'yes' }, 'set-out'],
    ['not sure whether unwell', { unwellToo: 'unsure' }, 'set-out'],
    ['no plan', { plan: 'no-plan' }, 'set-out'],
    ['no limit in the plan, no ceiling', { plan: 'no-limit-written' }, 'set-out'],
    ['last feed not known', { lastFeed: 'unsure' }, 'speak'],
    ['drive not known', { travel: 'unsure' }, 'set-out'],
  ])('%s', (_title, facts, disposition) => {
    expect(fastingOf({ ...well, ...facts }, now)).toBe(disposition)
  })
  it('the alarm belongs at the earliest last feed, plus the limit, less the longest drive', () => {
    expect(fastingSetOutAt(well)).toBe(clock('15:30'))
  })
  it.each([
    [5, 3],
    [6, 8],
    [11, 8],
    [12, 10],
    [23, 10],
    [24, 12],
  ])('a well child of %d months with MCAD deficiency: %d hours', (months, limit) => {
    expect(mcadCeiling(months, 'well')).toBe(hours(limit))
    expect(mcadCeiling(months, 'unwell')).toBe('none')
  })
  it('later is never milder', () => {
    const rank = ['none', 'speak', 'set-out']
    fc.assert(
      fc.property(fc.nat(1000), fc.nat(1000), (at, later) => {
        const first = fastingOf(well, instant(now + minutes(at)))
        const second = fastingOf(well, instant(now + minutes(at + later)))
        expect(rank.indexOf(second)).toBeGreaterThanOrEqual(rank.indexOf(first))
      }),
    )
  })
})
