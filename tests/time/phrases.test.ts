import { spawnSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import { clockText } from '../../src/time/local-time.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'

const MINUTE = 60_000
const zone = fc.constantFrom('Europe/London', 'America/New_York', 'Australia/Lord_Howe', 'Asia/Kathmandu', 'UTC')
const moment = fc.integer({ min: Date.UTC(2020, 0, 1), max: Date.UTC(2035, 0, 1) }).map(instant)

describe('what was said lies within what was read', () => {
  const forms: readonly ((count: number) => string)[] = [
    count => `${count} minutes ago`,
    count => `${count}mins`,
    count => `about ${count} minutes ago`,
    count => `it came out ${count} min ago`,
    count => `I think it was ${count} minutes ago or so`,
    count => `${Math.floor(count / 60)}h${String(count % 60).padStart(2, '0')}`,
    count => `${Math.floor(count / 60)} hours and ${count % 60} minutes ago`,
    count => `between ${count} and ${count + 10} minutes ago`,
    count => `last saw it in ${count} minutes ago`,
  ]
  it('a number of minutes ago, in any of these forms', () => {
    fc.assert(
      fc.property(
        moment,
        zone,
        fc.integer({ min: 1, max: 600 }),
        fc.constantFrom(...forms),
        (at, where, count, form) => {
          const isHours = form(61).startsWith('1 hours') || form(61) === '1h01'
          fc.pre(!isHours || (count >= 60 && count % 60 >= 10))
          const reading = readMoment(form(count), { at, zone: where, language: 'en' })
          expect(reading.kind, form(count)).toBe('between')
          if (reading.kind !== 'between') return
          expect(reading.earliest).toBeLessThanOrEqual(at - count * MINUTE)
          expect(reading.latest).toBeGreaterThanOrEqual(at - count * MINUTE)
          expect(reading.latest).toBeLessThanOrEqual(at)
        },
      ),
    )
  })

  it('a clock time of the last ten hours, with am or pm or in twenty-four hours', () => {
    const written = ['h:mm a', 'h.mm a', "'at' h:mma", 'HH:mm', 'HHmm', "'it came out at' HH:mm", "h:mm a 'or so'"]
    fc.assert(
      fc.property(moment, zone, fc.nat(600), fc.constantFrom(...written), (at, where, back, format) => {
        const then = DateTime.fromMillis(at - back * MINUTE, { zone: where }).startOf('minute')
        const reading = readMoment(then.toFormat(format, { locale: 'en' }), { at, zone: where, language: 'en' })
        expect(reading.kind, then.toFormat(format)).toBe('between')
        if (reading.kind !== 'between') return
        expect(reading.earliest).toBeLessThanOrEqual(then.toMillis())
        expect(reading.latest).toBeGreaterThanOrEqual(then.toMillis())
      }),
    )
  })

  it('a clock time without am or pm is read within the last twelve hours of the clock, or asked about', () => {
    fc.assert(
      fc.property(moment, zone, fc.nat(630), (at, where, back) => {
        const then = DateTime.fromMillis(at - back * MINUTE, { zone: where }).startOf('minute')
        const reading = readMoment(then.toFormat('h:mm'), { at, zone: where, language: 'en' })
        if (reading.kind === 'ask') return
        expect(reading.earliest).toBeLessThanOrEqual(then.toMillis())
        expect(at - reading.earliest).toBeLessThanOrEqual(14 * 60 * MINUTE)
      }),
    )
  })

  it('a calendar day written out is that day', () => {
    const written = ['yyyy-MM-dd', 'd MMMM yyyy', 'MMMM d, yyyy', "d 'of' MMM yyyy"]
    fc.assert(
      fc.property(
        moment,
        zone,
        fc.integer({ min: 0, max: 3000 }),
        fc.constantFrom(...written),
        (at, where, back, format) => {
          const day = DateTime.fromMillis(at, { zone: where }).startOf('day').minus({ days: back })
          const reading = readDate(day.toFormat(format, { locale: 'en' }), { at, zone: where, language: 'en' })
          if (reading.kind !== 'between') throw new Error(`${day.toFormat(format)} was not read: ${reading.reason}`)
          expect(reading.earliest).toBe(day.toMillis())
          expect(reading.latest).toBe(Math.min(at, day.endOf('day').toMillis()))
        },
      ),
    )
  })
})

describe('a time as the bot itself shows it', () => {
  it('typed back, is that time or is asked about, on a twelve-hour and a twenty-four-hour clock', () => {
    fc.assert(
      fc.property(
        moment,
        zone,
        fc.nat(600),
        fc.constantFrom('12h' as const, '24h' as const),
        (at, where, back, style) => {
          const then = instant(Math.floor((at - back * MINUTE) / MINUTE) * MINUTE)
          const text = clockText(then, where, style, 'en')
          const reading = readMoment(text, { at, zone: where, language: 'en' })
          if (!text.includes('clocks')) expect(reading.kind, text).toBe('between')
          if (reading.kind === 'between') expect(reading.earliest).toBeLessThanOrEqual(then)
        },
      ),
    )
  })
})

const VOCABULARY = (
  'i think it came out at about around since last night this morning yesterday half past quarter to 9 9:40 9.40 0940 1h30 25:00 pm am ' +
  'an a hour hours minutes mins ago between and or - , . not more like less than over just now midnight feed saw seen in found out ' +
  'couple few weeks months in august 3rd 2025 monday last no sorry actually ish 20 one two three ½ ~ tomorrow during the fed still was'
).split(' ')

describe('whatever is typed', () => {
  const soup = fc.array(fc.constantFrom(...VOCABULARY), { maxLength: 60 }).map(words => words.join(' '))
  const anything = fc.oneof(
    fc.string({ unit: 'binary', maxLength: 300 }),
    fc.string({ unit: 'grapheme', maxLength: 300 }),
    soup,
  )
  it('is read or asked about, quickly, and never ends after now', () => {
    fc.assert(
      fc.property(anything, moment, zone, (text, at, where) => {
        const context = { at, zone: where, language: 'en', lastFeedStart: instant(at - 3_600_000) }
        const began = performance.now()
        const readings = [readMoment(text, context), readDate(text, context)]
        const length = readDuration(text, context)
        expect(performance.now() - began, text).toBeLessThan(2_000)
        for (const reading of readings) {
          if (reading.kind !== 'between') continue
          expect(reading.earliest).toBeLessThanOrEqual(reading.latest)
          expect(reading.latest).toBeLessThanOrEqual(at)
        }
        if (length.kind === 'length') expect(length.atLeastMs).toBeLessThanOrEqual(length.atMostMs)
      }),
      { numRuns: 1500 },
    )
  })

  it.each([
    ['one letter', 'a'.repeat(100_000)],
    ['digits', '1'.repeat(100_000)],
    ['spaces', ' '.repeat(100_000)],
    ['a time, again and again', '20 minutes ago '.repeat(7_000)],
    ['lone surrogates', '\ud83d'.repeat(100_000)],
    ['combining marks', `e${'\u0301'.repeat(100_000)}`],
  ])('100,000 characters are asked about at once: %s', (_title, text) => {
    const context = { at: instant(Date.UTC(2026, 2, 1)), zone: 'UTC', language: 'en' }
    const began = performance.now()
    for (const reading of [readMoment(text, context), readDate(text, context), readDuration(text, context)])
      expect(reading.kind).toBe('ask')
    expect(performance.now() - began).toBeLessThan(2_000)
  })

  it.each([
    'last saw it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it it x',
    'since night night night night night night night night night night night night night night night night night x',
    'in the middle of the the the the the the the the the the the the the the the the the the the the the night x',
    '1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 to 1 hours',
    'about about about about about about about about about about about about about about about about about 20 minutes',
    'half half half half half half half half half half half half half half half half half half half half half half 1',
    'found it out out out out out out out out out out out out out out out out out out out out out out out out out x',
    'one and a half and a half and a half and a half and a half and a half and a half and a half and a half hours ago',
  ])('words that invite endless trying end quickly: "%.30s…"', text => {
    const context = { at: instant(Date.UTC(2026, 2, 1)), zone: 'UTC', language: 'en' }
    const began = performance.now()
    expect(readDate(text, context).kind).toBe('ask')
    readMoment(text, context)
    readDuration(text, context)
    expect(performance.now() - began).toBeLessThan(2_000)
  })
})

it('is read the same whatever the zone of the machine', () => {
  const script = fileURLToPath(new URL('said-in-zones.ts', import.meta.url))
  const printed = ['UTC', 'America/Los_Angeles', 'Pacific/Kiritimati'].map(TZ => {
    const child = spawnSync(process.execPath, [script], { env: { ...process.env, TZ }, encoding: 'utf8' })
    expect(child.stderr.replace(/.*ExperimentalWarning.*|.*--trace-warnings.*/g, '').trim()).toBe('')
    expect(child.status).toBe(0)
    return child.stdout
  })
  expect(printed[0]?.split('\n').length).toBeGreaterThan(190)
  expect(new Set(printed).size).toBe(1)
})
