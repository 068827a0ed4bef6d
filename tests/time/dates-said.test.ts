import { describe, expect, it } from 'vitest'
import { readDate, readDuration } from '../../src/time/phrases.ts'
import { daysShown, instantAt, shown } from './said.ts'

const ZONE = 'Europe/London'
const said = (text: string, at = '2026-03-01 02:10'): string =>
  daysShown(readDate(text, { at: instantAt(at, ZONE), zone: ZONE, language: 'en' }), ZONE)

/** Days worked by hand on a calendar. The later end counts (the youngest tract). Widths are our own, no source. */
describe('when the first tube was placed, said on Sunday 1 March 2026', () => {
  it.each([
    ['3 weeks ago', '2026-02-04..2026-02-12'],
    ['three weeks ago', '2026-02-04..2026-02-12'],
    ['about 3 weeks ago', '2026-02-02..2026-02-14'],
    ['2 months ago', '2025-12-17..2026-01-17'],
    ['it was placed two months ago', '2025-12-17..2026-01-17'],
    ['between 6 and 8 weeks ago', '2026-01-04..2026-01-18'],
    ['5 days ago', '2026-02-23..2026-02-25'],
    ['today', '2026-03-01'],
    ['yesterday', '2026-02-28'],
    ['last week', '2026-02-16..2026-02-28'],
    ['last month', '2026-02-01..2026-02-28'],
    ['in August', '2025-08-01..2025-08-31'],
    ['August', '2025-08-01..2025-08-31'],
    ['in August 2024', '2024-08-01..2024-08-31'],
    ['in February', '2026-02-01..2026-02-28'],
    ['2025-08-03', '2025-08-03'],
    ['3 Aug', '2025-08-03'],
    ['3rd August', '2025-08-03'],
    ['the 3rd of August', '2025-08-03'],
    ['August 3rd 2025', '2025-08-03'],
    ['Aug 3, 2025', '2025-08-03'],
    ['3 August 2025', '2025-08-03'],
    ['25/12/2025', '2025-12-25'],
    ['12/25/2025', '2025-12-25'],
    ['in 2024', '2024-01-01..2024-12-31'],
    ['last year', '2025-01-01..2025-12-31'],
    ['29 Feb 2024', '2024-02-29'],
    ['29 Feb', '2024-02-29'],
    ['last night', '2026-02-28..2026-03-01'],
    ['03/08/2025', 'ask two-answers'],
    ['when he was born', 'ask time-unclear'],
    ['at birth', 'ask time-unclear'],
    ['a few months after she was born', 'ask time-unclear'],
    ['a while ago', 'ask time-unclear'],
    ['20 minutes ago', 'ask time-unclear'],
    ['3', 'ask time-unclear'],
    ['not in August', 'ask time-unclear'],
    ['tomorrow', 'ask time-future'],
    ['next week', 'ask time-future'],
    ['in 2 weeks', 'ask time-future'],
    ['2026-03-02', 'ask time-future'],
    ['5 March', 'ask time-future'],
    ['2027', 'ask time-future'],
    ['31 June', 'ask time-impossible'],
    ['2025-02-29', 'ask time-impossible'],
    ['2025-13-01', 'ask time-impossible'],
    ['200 years ago', 'ask time-impossible'],
    ['', 'ask time-unclear'],
  ])('"%s": %s', (text, expected) => expect(said(text)).toBe(expected))

  it('a year is good to a few months either way, and its later end is never older than nine months', () => {
    for (const text of ['a year ago', 'about a year ago']) {
      const reading = readDate(text, { at: instantAt('2026-03-01 02:10', ZONE), zone: ZONE, language: 'en' })
      if (reading.kind !== 'between') throw new Error(`"${text}" was not read: ${reading.reason}`)
      expect(reading.earliest).toBeLessThanOrEqual(instantAt('2025-03-01 00:00', ZONE))
      expect(reading.latest).toBeGreaterThanOrEqual(instantAt('2025-03-01 23:59', ZONE))
      expect(reading.latest).toBeGreaterThanOrEqual(instantAt('2025-05-30 00:00', ZONE))
    }
  })
  it('never ends after now', () => {
    const at = instantAt('2026-03-01 02:10', ZONE)
    for (const text of ['today', 'this week', 'in March', 'this year', '2026', 'less than a week ago', 'on Sunday']) {
      const reading = readDate(text, { at, zone: ZONE, language: 'en' })
      expect(reading, text).toMatchObject({ kind: 'between' })
      if (reading.kind === 'between') expect(reading.latest).toBeLessThanOrEqual(at)
    }
  })
})

describe('how long the drive takes', () => {
  it.each([
    ['25 minutes', '25 min'],
    ['25mins', '25 min'],
    ['about 20 minutes', '15-25 min'],
    ['20-30 minutes', '20-30 min'],
    ['20 to 30 mins by car', '20-30 min'],
    ['half an hour', '30 min'],
    ['an hour', '60 min'],
    ['1h30', '90 min'],
    ['an hour and a half', '90 min'],
    ['1.30 hours', '78-90 min'],
    ['less than 20 minutes', '0-20 min'],
    ['up to 40 minutes', '0-40 min'],
    ['it takes about half an hour to drive', '20-40 min'],
    ['more than an hour', 'ask time-unclear'],
    ['25', 'ask time-unclear'],
    ['20 miles', 'ask time-unclear'],
    ['not far', 'ask time-unclear'],
    ['not 20 minutes', 'ask time-unclear'],
    ['20 minutes, no, an hour', 'ask two-answers'],
    ['0 minutes', 'ask time-impossible'],
    ['30 hours', 'ask time-impossible'],
  ])('"%s": %s', (text, expected) => expect(shown(readDuration(text, { language: 'en' }), ZONE)).toBe(expected))
})

describe('how old the child is: at least that much', () => {
  const DAY = 86_400_000
  it.each([
    ['3 years', 3 * 365, 4 * 365],
    ['3 years old', 3 * 365, 4 * 365],
    ['he is 6 weeks old', 42, 49],
    ['2 months', 60, 90],
    ['18 months', 365 + 180, 365 + 210],
    ['nearly 3 months', 67.5, 120],
  ])('"%s": %d up to %d days', (text, atLeast, below) => {
    expect(readDuration(text, { language: 'en' })).toEqual({
      kind: 'length',
      atLeastMs: atLeast * DAY,
      atMostMs: below * DAY - 1,
    })
  })
  it.each(['over 3 months', '3', 'newborn', 'a few'])('"%s" is asked again', text => {
    expect(readDuration(text, { language: 'en' }).kind).toBe('ask')
  })
})
