import { describe, expect, it } from 'vitest'
import { celsius, celsiusFromFahrenheit, kilograms, millilitres } from '../../src/clinical/quantities.ts'
import { defaultSettings } from '../../src/config/settings.ts'
import { defaultThresholds } from '../support/shipped-thresholds.ts'

describe('a quantity', () => {
  it.each([
    ['a negative volume', () => millilitres(-0.1), /got -0.1 mL; expected 0 mL or more/],
    ['a volume that is no number', () => millilitres(Number.NaN), /got NaN mL/],
    ['a temperature in the other unit', () => celsius(100.4), /got 100.4 °C; expected 25 to 45 °C/],
    ['a temperature of 3.8, a slip of the point', () => celsius(3.8), /expected 25 to 45 °C/],
    ['a weight of nothing', () => kilograms(0), /expected more than 0/],
    ['a weight in grams', () => kilograms(3500), /expected 0 to 200 kg/],
  ])('refuses %s', (_title, make, message) => {
    expect(make).toThrow(RangeError)
    expect(make).toThrow(message)
  })

  it('takes what a child can have, ends included', () => {
    expect([millilitres(0), celsius(25), celsius(45), kilograms(200)]).toEqual([0, 25, 45, 200])
  })

  // Fixed points of the scale: water freezes and boils (outside any child), 98.6 °F is 37 °C, 102.2 °F is 39 °C.
  it.each([
    [98.6, 37],
    [100.4, 38],
    [102.2, 39],
  ])('%d °F is %d °C', (fahrenheit, expected) => expect(celsiusFromFahrenheit(fahrenheit)).toBe(expected))
})

describe('the shipped figures', () => {
  it('are the same where rules read them and where a clinic file is read', () => {
    const { 'reading-grade': _ofWording, ...settings } = defaultSettings
    expect(settings).toEqual(defaultThresholds)
  })
})
