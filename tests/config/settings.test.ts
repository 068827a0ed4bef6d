import { describe, expect, it } from 'vitest'
import type { Thresholds } from '../../src/clinical/thresholds.ts'
import { settingDefinitions, settingIds } from '../../src/config/setting-definitions.ts'
import { defaultSettings, settingsWith } from '../../src/config/settings.ts'
import { days, hours, minutes, seconds } from '../../src/time/instant.ts'
import { clinicText, read, spoil } from './clinic-text.ts'

describe('shipped settings', () => {
  // Figures: 12 weeks, 1 to 2 hours and the balloon figures are common practice, no source; the rest is this project's
  // cautious reading of published bodies that disagree. Written out here so that no change goes unnoticed.
  it('are these', () => {
    expect(defaultSettings).toEqual({
      'tract-settled-after': days(84),
      'tract-settled-needs-change': 'yes',
      'first-days': days(7),
      'closure-soonest': minutes(60),
      'closure-latest': minutes(120),
      'closure-overdue': minutes(240),
      'home-replacement': 'off',
      'hold-open-settled': 'off',
      'hold-open-new': 'off',
      'family-ph': 'off',
      'ph-at-most': 5,
      'balloon-loss-ml': 0.5,
      'device-change-due': { months: 3, days: 0 },
      'flush-ml': [5, 10],
      'flush-wait': minutes(30),
      'fever-under-3-months': 38,
      'fever-3-to-6-months': 39,
      'no-urine-page': hours(8),
      'no-urine-hospital': hours(12),
      'ladder-urgent': [minutes(3), minutes(5), minutes(10)],
      'ladder-speak': [minutes(10), minutes(20), minutes(30)],
      'asked-again-after': seconds(150),
      'left-check': minutes(10),
      'left-silent': minutes(20),
      'arrival-grace': minutes(15),
      'promise-grace': minutes(5),
      'reading-grade': 6,
    })
  })

  it('every switch that lets a family do more is off', () => {
    const switches = settingIds.filter(id => settingDefinitions[id].kind === 'switch')
    expect(switches.map(id => defaultSettings[id])).toEqual(switches.map(() => 'off'))
    expect(switches).toHaveLength(4)
  })
})

it('hold every threshold a case reads, under the same ids and in the same units', () => {
  const thresholds: Thresholds = defaultSettings
  expect(thresholds['closure-latest']).toBe(minutes(120))
})

describe('written settings', () => {
  it.each([
    ['closure-latest', 'PT2H', minutes(120)],
    ['closure-latest', 'PT1H30M', minutes(90)],
    ['tract-settled-after', 'P84D', days(84)],
    ['device-change-due', 'P90D', { months: 0, days: 90 }],
    ['device-change-due', 'P12W', { months: 0, days: 84 }],
    ['device-change-due', 'P1Y', { months: 12, days: 0 }],
    ['home-replacement', 'on', 'on'],
    ['ph-at-most', 5.5, 5.5],
    ['flush-ml', [2, 5], [2, 5]],
    ['ladder-urgent', ['PT2M', 'PT4M', 'PT8M'], [minutes(2), minutes(4), minutes(8)]],
  ] as const)('%s %j', (id, raw, expected) => {
    const { settings, faults } = settingsWith(defaultSettings, { [id]: raw })
    expect(faults).toEqual([])
    expect(settings[id]).toEqual(expected)
  })

  it('both bounds of every setting are allowed and nothing beyond', () => {
    for (const id of settingIds) {
      const definition = settingDefinitions[id]
      if (definition.kind !== 'number') continue
      const codes = (raw: number) => settingsWith(defaultSettings, { [id]: raw }).faults.map(one => one.code)
      for (const bound of [definition.least, definition.most])
        expect(codes(bound)).not.toContain('SETTING_OUT_OF_RANGE')
      expect(codes(definition.least - 0.01)).toContain('SETTING_OUT_OF_RANGE')
      expect(codes(definition.most + 0.01)).toContain('SETTING_OUT_OF_RANGE')
    }
  })

  it('a setting at fault keeps the value it had, and names that belong to every object are no settings', () => {
    const { settings, faults } = settingsWith(defaultSettings, {
      'closure-latest': 'soon',
      constructor: 'x',
      toString: 'y',
    })
    expect(settings['closure-latest']).toBe(minutes(120))
    expect(faults.map(one => one.code)).toEqual(['SETTING_UNREADABLE', 'UNKNOWN_SETTING', 'UNKNOWN_SETTING'])
  })
})

describe('second sign-off', () => {
  const six = spoil('promise-grace: PT5M', 'tract-settled-after: P6W').text
  const signed = (value: string) =>
    spoil(
      'sign-offs: []',
      `sign-offs: [{ setting: tract-settled-after, value: ${value}, by: [nadia, omar], on: 2026-05-01 }]`,
      six,
    ).text

  it('without it the shipped value stays in use and the file is refused', () => {
    const { settings, clinic } = read(six)
    expect(settings['tract-settled-after']).toBe(days(84))
    expect(clinic).toBeUndefined()
  })
  it('with it the value is used', () => {
    const { settings, problems } = read(signed('P6W'))
    expect(problems).toEqual([])
    expect(settings['tract-settled-after']).toBe(days(42))
  })
  it('a sign-off for another value does not count', () => {
    expect(read(signed('P7W')).problems.map(one => one.code)).toEqual(['SIGN_OFF_MISSING'])
  })
  it('eight weeks need none, a day less does', () => {
    expect(read(spoil('promise-grace: PT5M', 'tract-settled-after: P8W').text).problems).toEqual([])
    expect(read(spoil('promise-grace: PT5M', 'tract-settled-after: P55D').text).problems.map(one => one.code)).toEqual([
      'SIGN_OFF_MISSING',
    ])
    expect(read(clinicText).settings['tract-settled-after']).toBe(days(84))
  })
})
