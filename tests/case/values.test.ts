import { describe, expect, it } from 'vitest'
import { agoText, lengthText } from '../../src/case/values.ts'

const MINUTE = 60_000
const DAY = 86_400_000

describe('a length in the words of a language', () => {
  it.each([
    [1, 'en', '5 minutes'],
    [21, 'en', '25 minutes'],
    [60, 'en', '1 hour'],
    [90, 'en', '1 hour 30 minutes'],
    [119, 'en', '2 hours'],
    [1, 'es', '5 minutos'],
    [21, 'es', '25 minutos'],
    [60, 'es', '1 hora'],
    [90, 'es', '1 hora 30 minutos'],
    [150, 'es-MX', '2 horas 30 minutos'],
  ] as const)('%d minutes in %s: "%s", rounded up to five', (minutes, language, text) => {
    expect(lengthText(minutes * MINUTE, language)).toBe(text)
  })

  it.each([
    [0, 'en', '0 days'],
    [1.9, 'en', '1 day'],
    [13, 'en', '13 days'],
    [20, 'en', '2 weeks'],
    [200, 'en', '6 months'],
    [1.9, 'es', '1 día'],
    [13, 'es', '13 días'],
    [20, 'es', '2 semanas'],
    [200, 'es', '6 meses'],
  ] as const)('%d days ago in %s: "%s", the younger reading', (days, language, text) => {
    expect(agoText(days * DAY, language)).toBe(text)
  })
})
