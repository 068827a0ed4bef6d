import { describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import { readMoment } from '../../src/time/phrases.ts'

/**
 * Nights on which the clocks change; UTC offsets from the tz database, written out by hand. The earlier end is the worse.
 */
const read = (text: string, at: string, zone: string): string => {
  const reading = readMoment(text, { at: instant(Date.parse(at)), zone, language: 'en' })
  if (reading.kind === 'ask') return `ask ${reading.reason}`
  return [...new Set([reading.earliest, reading.latest])]
    .map(end => new Date(end).toISOString().slice(5, 16))
    .join(' to ')
}

describe('London, 25 October 2026: 01:00 to 02:00 happens twice (01:00Z is the change)', () => {
  it.each([
    // said at (UTC), words → UTC
    ['2026-10-25T02:10:00Z', 'at 1:30', '10-25T00:30 to 10-25T01:30'],
    ['2026-10-25T02:10:00Z', '1:30 am', '10-25T00:30 to 10-25T01:30'],
    ['2026-10-25T02:10:00Z', 'half past one', '10-25T00:30 to 10-25T01:30'],
    ['2026-10-25T02:10:00Z', 'about 1:30', '10-25T00:15 to 10-25T01:45'],
    // Said between the two: the second has not been yet.
    ['2026-10-25T00:45:00Z', 'at 1:30', '10-25T00:30'],
    ['2026-10-25T01:20:00Z', 'at 1:10', '10-25T00:10 to 10-25T01:10'],
    ['2026-10-25T02:10:00Z', 'at 2', '10-25T02:00'],
    ['2026-10-25T02:10:00Z', 'midnight', '10-24T23:00'],
    ['2026-10-25T02:10:00Z', 'at 11pm', '10-24T22:00'],
    // Elapsed time is elapsed time, whatever the clock shows.
    ['2026-10-25T01:10:00Z', '20 minutes ago', '10-25T00:45 to 10-25T00:52'],
    ['2026-10-25T02:00:00Z', '2 hours ago', '10-24T23:45 to 10-25T00:15'],
    ['2026-10-25T02:10:00Z', 'between 1 and 1:30', '10-25T00:00 to 10-25T01:30'],
    ['2026-10-25T02:10:00Z', 'last saw it in at 1:30', '10-25T00:30 to 10-25T02:10'],
  ])('%s "%s": %s', (at, text, expected) => expect(read(text, at, 'Europe/London')).toBe(expected))
})

describe('London, 29 March 2026: 01:00 to 02:00 never happens (01:00Z is the change)', () => {
  it.each([
    ['2026-03-29T01:40:00Z', 'at 1:30', 'ask time-impossible'],
    ['2026-03-29T01:40:00Z', '1:30am', 'ask time-impossible'],
    ['2026-03-29T01:40:00Z', 'half 1', 'ask time-impossible'],
    ['2026-03-29T01:40:00Z', 'at 2', '03-29T01:00'],
    ['2026-03-29T01:40:00Z', 'at 12:50', '03-29T00:50'],
    ['2026-03-29T01:40:00Z', 'an hour ago', '03-29T00:30 to 03-29T00:50'],
    ['2026-03-29T01:40:00Z', 'at 11pm', '03-28T23:00'],
    ['2026-03-29T13:00:00Z', 'at 1:30', '03-29T12:30'],
  ])('%s "%s": %s', (at, text, expected) => {
    // 14:00 summer time: 1:30 is half an hour ago.
    expect(read(text, at, 'Europe/London')).toBe(expected)
  })
})

describe('New York, 1 November 2026 (01:00 twice, 06:00Z) and 8 March 2026 (02:00 skipped, 07:00Z)', () => {
  it.each([
    ['2026-11-01T07:10:00Z', 'at 1:30', '11-01T05:30 to 11-01T06:30'],
    ['2026-11-01T05:45:00Z', '1.30am', '11-01T05:30'],
    ['2026-11-01T07:10:00Z', 'an hour ago', '11-01T06:00 to 11-01T06:20'],
    ['2026-03-08T07:10:00Z', 'at 2:30', 'ask time-impossible'],
    ['2026-03-08T07:10:00Z', '1:50', '03-08T06:50'],
    ['2026-03-08T07:10:00Z', 'last night at 10', '03-08T03:00'],
  ])('%s "%s": %s', (at, text, expected) => expect(read(text, at, 'America/New_York')).toBe(expected))
})

describe('Lord Howe: the clock moves by half an hour (5 April 2026 15:00Z the day before; 4 October 2026)', () => {
  it.each([
    // 02:00 becomes 01:30: 01:30 to 02:00 happens twice, at +11:00 and +10:30.
    ['2026-04-04T16:00:00Z', 'at 1:40', '04-04T14:40 to 04-04T15:10'],
    ['2026-04-04T16:00:00Z', 'at 1:20', '04-04T14:20'],
    ['2026-04-04T16:00:00Z', 'at 2', '04-04T15:30'],
    ['2026-04-04T16:00:00Z', '20 minutes ago', '04-04T15:35 to 04-04T15:42'],
    // 02:00 becomes 02:30: 02:00 to 02:30 never happens.
    ['2026-10-03T15:40:00Z', 'at 2:15', 'ask time-impossible'],
    ['2026-10-03T15:40:00Z', 'at 1:50', '10-03T15:20'],
    ['2026-10-03T15:40:00Z', 'at 2:30', '10-03T15:30'],
  ])('%s "%s": %s', (at, text, expected) => expect(read(text, at, 'Australia/Lord_Howe')).toBe(expected))
})
