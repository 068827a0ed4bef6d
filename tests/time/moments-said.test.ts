import { describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import { readMoment } from '../../src/time/phrases.ts'
import { instantAt, shown } from './said.ts'

/**
 * What a caregiver in London types when asked when it came out. The widths are our own choice, no source: they are
 * checked for being no narrower than what was said, and never milder at the earlier end.
 */
const ZONE = 'Europe/London'
const read = (text: string, at: string, lastFeedStart?: string): string =>
  shown(
    readMoment(text, {
      at: instantAt(at, ZONE),
      zone: ZONE,
      language: 'en',
      ...(lastFeedStart === undefined ? {} : { lastFeedStart: instantAt(lastFeedStart, ZONE) }),
    }),
    ZONE,
  )

/** Said on Sunday 1 March 2026 at 02:10. A day is shown only where it is another one. */
const NIGHT = '2026-03-01 02:10'

describe('how long ago, said at 02:10', () => {
  it.each([
    // Bare minutes: 2 fewer to 5 more.
    ['20 minutes ago', '01:45-01:52'],
    ['20 minutes', '01:45-01:52'],
    ['20mins', '01:45-01:52'],
    ['20 min', '01:45-01:52'],
    ['20m ago', '01:45-01:52'],
    ['twenty minutes ago', '01:45-01:52'],
    ['twenty-five mins ago', '01:40-01:47'],
    ['It came out 20 minutes ago', '01:45-01:52'],
    ["it's been out for 20 minutes", '01:45-01:52'],
    ['20 MINUTES AGO!!', '01:45-01:52'],
    ['20 minutes ago 😢', '01:45-01:52'],
    ['٢٠ minutes ago', '01:45-01:52'],
    ['1h30', '00:35-00:42'],
    ['1h 30m ago', '00:35-00:42'],
    ['1 hour 20 minutes ago', '00:45-00:52'],
    ['an hour and 20 minutes ago', '00:45-00:52'],
    // Hedged: a quarter either way, outward to 5 minutes.
    ['about 20 minutes ago', '01:45-01:55'],
    ['approx. 20 mins ago', '01:45-01:55'],
    ['~20 minutes ago', '01:45-01:55'],
    ['20 minutes ago or so', '01:45-01:55'],
    ['20ish minutes ago', '01:45-01:55'],
    ['I think it was about 20 minutes ago', '01:45-01:55'],
    ['maybe 40 minutes ago', '01:20-01:40'],
    ['about an hour ago', '00:55-01:25'],
    ['roughly 2 hours ago', '23:40-00:40 the day before'],
    // Halves, quarters and whole hours: said in coarse grains.
    ['half an hour ago', '01:35-01:45'],
    ['half hour', '01:35-01:45'],
    ['half an hour', '01:35-01:45'],
    ['½ hour ago', '01:35-01:45'],
    ['an hour ago', '01:00-01:20'],
    ['1 hour ago', '01:00-01:20'],
    ['an hour and a half ago', '00:30-00:50'],
    ['one and a half hours ago', '00:30-00:50'],
    ['1.5 hours ago', '00:30-00:50'],
    ['1½ hours ago', '00:30-00:50'],
    ['quarter of an hour ago', '01:50-02:00'],
    ['a quarter of an hour', '01:50-02:00'],
    ['three quarters of an hour', '01:20-01:30'],
    ['three quarters of an hour ago', '01:20-01:30'],
    ['two hours ago', '23:55-00:25 the day before'],
    // Ranges keep their ends.
    ['2-3 hours ago', '23:10-00:10 the day before'],
    ['2 to 3 hours ago', '23:10-00:10 the day before'],
    ['two or three hours ago', '23:10-00:10 the day before'],
    ['between 1 and 2 hours ago', '00:10-01:10'],
    ['between half an hour and an hour ago', '01:10-01:40'],
    ['20-30 minutes ago', '01:40-01:50'],
    ['20 to 30 mins', '01:40-01:50'],
    ['an hour or two ago', '00:10-01:10'],
    ['less than an hour ago', '01:10-02:10'],
    ['under 20 minutes ago', '01:50-02:10'],
    ['within the last hour', '01:10-02:10'],
    ['not more than an hour ago', '01:10-02:10'],
    ['just now', '02:00-02:10'],
    ['Just now!', '02:00-02:10'],
    ['it just came out', '02:00-02:10'],
    ['a moment ago', '02:00-02:10'],
  ])('"%s": %s', (text, expected) => expect(read(text, NIGHT)).toBe(expected))
})

describe('a clock time, said at 02:10', () => {
  it.each([
    ['at 1:30', '01:30'],
    ['1:30', '01:30'],
    ['1.30', '01:30'],
    ['01:30', '01:30'],
    ['0130', '01:30'],
    ['at 130', '01:30'],
    ['130am', '01:30'],
    ['1:30 am', '01:30'],
    ['1.30 a.m.', '01:30'],
    ['half past one', '01:30'],
    ['half 1', '01:30'],
    ['at half one', '01:30'],
    ['half-past 1', '01:30'],
    ['quarter to two', '01:45'],
    ['quarter past 1', '01:15'],
    ['ten to two', '01:50'],
    ['at 20 past 1', '01:20'],
    ['five past two', '02:05'],
    ['one thirty', '01:30'],
    ['at one', '01:00'],
    ['at 1', '01:00'],
    ["1 o'clock", '01:00'],
    ['midnight', '00:00'],
    ['at midnight', '00:00'],
    ['12:30', '00:30'],
    ['0:30', '00:30'],
    ['around 2', '01:45-02:10'],
    ['about 1:20', '01:10-01:30'],
    ['1:30ish', '01:15-01:45'],
    ['at 9:40', '21:40 the day before'],
    ['9.40', '21:40 the day before'],
    ['940pm', '21:40 the day before'],
    ['at 9.40pm', '21:40 the day before'],
    ['2140', '21:40 the day before'],
    ['half past nine', '21:30 the day before'],
    ['quarter to ten', '21:45 the day before'],
    ['at 3', '15:00 the day before'],
    ['at 11pm', '23:00 the day before'],
    ['last night at 10', '22:00 the day before'],
    ['yesterday at 9pm', '21:00 the day before'],
    ['at 10 last night', '22:00 the day before'],
    ['since 1:30', '01:30'],
    ['it came out at 1:30', '01:30'],
    ['it fell out at half one', '01:30'],
    ['I think it was 1:30', '01:15-01:45'],
    ['this morning at 1', '01:00'],
    ['between 1:30 and 2', '01:30-02:00'],
    ['1:30-2:00', '01:30-02:00'],
    ['between 11 and midnight', '23:00-00:00 the day before'],
    ['between 10pm and 1am', '22:00-01:00 the day before'],
  ])('"%s": %s', (text, expected) => expect(read(text, NIGHT)).toBe(expected))
})

describe('a clock time, said in the morning at 09:15', () => {
  it.each([
    ['at 11pm', '23:00 the day before'],
    ['at 9', '09:00'],
    ['at 8:30', '08:30'],
    ['at 3', '03:00'],
    ['half past nine', 'ask time-future'],
    ['0940', 'ask time-unclear'],
    ['at 9:40', '21:40 the day before'],
    ['this morning at 7', '07:00'],
    ['7 this morning', '07:00'],
    ['last night at 10', '22:00 the day before'],
    ['midnight', '00:00'],
    ['half 1', '01:30'],
    ['at 2 in the morning', '02:00'],
    ['9pm', '21:00 the day before'],
  ])('"%s": %s', (text, expected) => {
    const found = read(text, '2026-03-01 09:15')
    // A time a little ahead of now may be a fast clock: asking is as right as the evening before.
    if (text === '0940' || text === 'at 9:40' || text === 'half past nine') {
      expect(['ask time-future', 'ask time-unclear', '21:40 the day before', '21:30 the day before']).toContain(found)
    } else expect(found).toBe(expected)
  })
})

describe('last seen in, found out', () => {
  it.each([
    ['last saw it in at 1:30', '01:30-02:10'],
    ['I last saw it at 1:30', '01:30-02:10'],
    ['last seen at half 1', '01:30-02:10'],
    ['it was still in at 11pm', '23:00-02:10 the day before'],
    ['last checked at midnight', '00:00-02:10'],
    ['fed at half 1', '01:30-02:10'],
    ['last saw it in at 11pm, found it out at 2', '23:00-02:00 the day before'],
    ['found it out at 2, last seen at 1', '01:00-02:00'],
    ['found it out at 2', 'ask time-unclear'],
    ['it was out at 1', 'ask time-unclear'],
    ['it was already out at 1', 'ask time-unclear'],
    ['already out at half 1', 'ask time-unclear'],
    ['it was out by 1', 'ask time-unclear'],
    ['it was out when I checked at 1', 'ask time-unclear'],
    ['noticed at 1', 'ask time-unclear'],
  ])('"%s": %s', (text, expected) => expect(read(text, NIGHT)).toBe(expected))

  it.each(['during the night feed', 'since the night feed', 'some time during his feed', 'after her last feed'])(
    '"%s" is asked about, unless the start of the feed is known',
    text => {
      expect(read(text, NIGHT)).toBe('ask time-unclear')
      expect(read(text, NIGHT, '2026-02-28 22:00')).toBe('22:00-02:10 the day before')
    },
  )
  it('a feed that begins later is no beginning', () => {
    expect(read('during the night feed', NIGHT, '2026-03-01 03:00')).toBe('ask time-unclear')
  })
})

describe('what is asked again, said at 02:10', () => {
  it.each([
    ['not 20 minutes, more like an hour', '00:55-01:25'],
    ['20 minutes, no, an hour ago', '01:00-01:20'],
    // A correction towards the milder end is asked about.
    ['not an hour, more like 20 minutes', 'ask two-answers'],
    ['more than an hour ago', 'ask time-unclear'],
    ['over an hour ago', 'ask time-unclear'],
    ['at least 2 hours', 'ask time-unclear'],
    ['before midnight', 'ask time-unclear'],
    ['20 minutes ago, at 9', 'ask two-answers'],
    ['at 1:30 and at 11', 'ask two-answers'],
    ['20 minutes ago or 3 hours ago', 'ask two-answers'],
    ['25:00', 'ask time-impossible'],
    ['at 25:00', 'ask time-impossible'],
    ['14pm', 'ask time-impossible'],
    ['9:75', 'ask time-impossible'],
    ['12:60', 'ask time-impossible'],
    ['in 10 minutes', 'ask time-future'],
    ['tomorrow', 'ask time-future'],
    ['tomorrow at 3', 'ask time-future'],
    ['2:20am', 'ask time-future'],
    ['20', 'ask time-unclear'],
    ['3', 'ask time-unclear'],
    ['a while ago', 'ask time-unclear'],
    ['ages', 'ask time-unclear'],
    ['earlier', 'ask time-unclear'],
    ['not sure', 'ask time-unclear'],
    ['no idea', 'ask time-unclear'],
    ['not long ago', 'ask time-unclear'],
    ['not 20 minutes ago', 'ask time-unclear'],
    ['an hour ago, maybe longer', 'ask time-unclear'],
    ['it was put back in 20 minutes ago', 'ask time-unclear'],
    ['20 minutes ago he was fine', 'ask time-unclear'],
    ['it did not come out 20 minutes ago', 'ask time-unclear'],
    ['when I checked at 1', 'ask time-unclear'],
    ['20 past', 'ask time-unclear'],
    ['at 20', 'ask time-unclear'],
    ['it has not been out 20 minutes', 'ask time-unclear'],
    ['20 minutes before the feed', 'ask time-unclear'],
    ['20 metres', 'ask time-unclear'],
    ['-20 minutes ago', 'ask time-unclear'],
    ['20 minutes ago and he is 3', 'ask time-unclear'],
    ['5 10 minutes ago', 'ask time-unclear'],
    ['1 to 2', 'ask time-unclear'],
    ['when he was born', 'ask time-unclear'],
    ['hace 20 minutos', 'ask time-unclear'],
    ['vor 20 minuten', 'ask time-unclear'],
    ['__proto__', 'ask time-unclear'],
    ['constructor', 'ask time-unclear'],
    ['', 'ask time-unclear'],
    ['   ', 'ask time-unclear'],
    ['\u200b', 'ask time-unclear'],
    ['🕐', 'ask time-unclear'],
    ['99999999999999999999 minutes ago', 'ask time-unclear'],
    ['1e3 minutes ago', 'ask time-unclear'],
  ])('"%s": %s', (text, expected) => expect(read(text, NIGHT)).toBe(expected))
})

it('reads English only; in another language the clock is asked for again', () => {
  const context = { at: instant(Date.parse('2026-03-01T02:10:00Z')), zone: ZONE, language: 'es' }
  expect(readMoment('20 minutes ago', context)).toMatchObject({ kind: 'ask' })
})
