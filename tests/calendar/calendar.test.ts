import { describe, expect, it } from 'vitest'
import { suspicionOf, suspicionText } from '../../src/calendar/compare.ts'
import { readCalendar } from '../../src/calendar/lines.ts'
import { officeZones } from '../../src/calendar/office-zones.ts'
import { calendarRead } from '../../src/calendar/read.ts'
import { eventShifts } from '../../src/calendar/shifts.ts'
import { zoneMeant } from '../../src/calendar/times.ts'
import { calendarText } from '../../src/calendar/write.ts'
import { type CalendarCopy, copyText, readCopy } from '../../src/config/calendar-copy.ts'
import { CalendarRefused } from '../../src/config/calendar-refused.ts'
import { stretches } from '../../src/oncall/timeline.ts'
import { days, hours, after as later } from '../../src/time/instant.ts'
import { at, clinicWith, everyDay, iso, person } from '../oncall/clinic-built.ts'

/** A calendar of events, each given by its lines. */
const calendar = (...events: string[][]): string =>
  [
    ...['BEGIN:VCALENDAR', 'VERSION:2.0', 'PRODID:-//Test//EN'],
    ...events.flatMap((lines, index) => [
      'BEGIN:VEVENT',
      ...(lines.some(line => line.startsWith('UID')) ? [] : [`UID:${index}`]),
      ...lines,
      'END:VEVENT',
    ]),
    ...['END:VCALENDAR', ''],
  ].join('\r\n')

function shiftsIn(text: string, from: string, until: string, zone = 'America/New_York'): string[] {
  return eventShifts(readCalendar(text), { zone, from: at(from), until: at(until) }).shifts.map(
    one => `${iso(one.from)} ${iso(one.until)}`,
  )
}

/** Local dates in New York on which the shifts begin. */
const dates = (text: string, from: string, until: string): string[] =>
  eventShifts(readCalendar(text), { zone: 'America/New_York', from: at(from), until: at(until) }).shifts.map(one =>
    new Intl.DateTimeFormat('en-CA', { timeZone: 'America/New_York' }).format(one.from),
  )

/** Why a calendar is refused whole, or its first event that cannot be read. */
function refusalOf(text: string): Pick<CalendarRefused, 'code' | 'message' | 'line'> {
  try {
    const { unread } = eventShifts(readCalendar(text), {
      zone: 'America/New_York',
      from: at('2026-11-01T00:00Z'),
      until: at('2027-11-01T00:00Z'),
    })
    if (unread[0] !== undefined) return unread[0]
  } catch (cause) {
    if (cause instanceof CalendarRefused) return cause
    throw cause
  }
  throw new Error('it was taken')
}

describe('the worked examples of RFC 5545, section 3.8.5.3', () => {
  // The first six rows were read in a copy of the section (as it stands in RFC 2445, section 4.8.5.4, with its Errata of zone
  // names); the others are from memory of RFC 5545.
  const rows: readonly [what: string, rule: string, expected: string][] = [
    ['daily for 10 occurrences', 'FREQ=DAILY;COUNT=10', '09-02..09-11'],
    ['daily until December 24, 1997', 'FREQ=DAILY;UNTIL=19971224T000000Z', '09-02..12-23'],
    ['every 10 days, 5 occurrences', 'FREQ=DAILY;INTERVAL=10;COUNT=5', '09-02,09-12,09-22,10-02,10-12'],
    [
      'weekly for 10 occurrences',
      'FREQ=WEEKLY;COUNT=10',
      '09-02,09-09,09-16,09-23,09-30,10-07,10-14,10-21,10-28,11-04',
    ],
    ['every other day', 'FREQ=DAILY;INTERVAL=2;UNTIL=19970912T000000Z', '09-02,09-04,09-06,09-08,09-10'],
    [
      'weekly until December 24, 1997',
      'FREQ=WEEKLY;UNTIL=19971224T000000Z',
      '09-02,09-09,09-16,09-23,09-30,10-07,10-14,10-21,10-28,11-04,11-11,11-18,11-25,12-02,12-09,12-16,12-23',
    ],
    [
      'weekly on Tuesday and Thursday for five weeks',
      'FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH',
      '09-02,09-04,09-09,09-11,09-16,09-18,09-23,09-25,09-30,10-02',
    ],
    [
      'every other week on Tuesday and Thursday, for 8 occurrences',
      'FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH',
      '09-02,09-04,09-16,09-18,09-30,10-02,10-14,10-16',
    ],
    [
      'monthly on the second-to-last Monday for 6 months, from September 22',
      'FREQ=MONTHLY;COUNT=6;BYDAY=-2MO',
      '09-22,10-20,11-17,12-22,01-19,02-16',
    ],
    [
      'monthly on the third-to-the-last day',
      'FREQ=MONTHLY;BYMONTHDAY=-3;COUNT=6',
      '09-28,10-29,11-28,12-29,01-29,02-26',
    ],
    [
      'the third instance of Tuesday, Wednesday or Thursday, for 3 months',
      'FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3',
      '09-04,10-07,11-06',
    ],
  ]
  const firstOf: Readonly<Record<string, string>> = {
    '-2MO': '19970922',
    'BYMONTHDAY=-3': '19970928',
    BYSETPOS: '19970904',
  }

  it.each(rows)('%s', (_what, rule, expected) => {
    const first = Object.entries(firstOf).find(([part]) => rule.includes(part))?.[1] ?? '19970902'
    const text = calendar([
      `DTSTART;TZID=America/New_York:${first}T090000`,
      `DTEND;TZID=America/New_York:${first}T100000`,
      `RRULE:${rule}`,
    ])
    const found = dates(text, '1997-08-01T00:00Z', '1998-06-01T00:00Z').map(date => date.slice(5))
    const [start, end] = expected.split('..')
    if (end === undefined) expect(found.join(',')).toBe(expected)
    else expect([found[0], found.at(-1), new Set(found).size === found.length]).toEqual([start, end, true])
  })

  it('the wall time stays nine in the morning over the change of clocks on 26 October 1997', () => {
    const text = calendar([
      'DTSTART;TZID=America/New_York:19970902T090000',
      'DURATION:PT1H',
      'RRULE:FREQ=WEEKLY;COUNT=10',
    ])
    const found = shiftsIn(text, '1997-10-20T00:00Z', '1997-11-01T00:00Z')
    expect(found).toEqual(['1997-10-21T13:00Z 1997-10-21T14:00Z', '1997-10-28T14:00Z 1997-10-28T15:00Z'])
  })
})

describe('a calendar of shifts', () => {
  const nightly = ['DTSTART;TZID=America/New_York:20261201T180000', 'DTEND;TZID=America/New_York:20261202T080000']

  it('EXDATE takes a shift out, RDATE puts one in, RECURRENCE-ID moves one, CANCELLED takes it out', () => {
    const text = calendar(
      [
        'UID:series',
        ...nightly,
        'RRULE:FREQ=DAILY;COUNT=5',
        'EXDATE;TZID=America/New_York:20261202T180000',
        'RDATE;TZID=America/New_York:20261210T180000',
      ],
      [
        'UID:series',
        'RECURRENCE-ID;TZID=America/New_York:20261203T180000',
        'DTSTART;TZID=America/New_York:20261203T200000',
        'DTEND;TZID=America/New_York:20261204T080000',
      ],
      ['UID:series', 'RECURRENCE-ID:20261204T230000Z', ...nightly, 'STATUS:CANCELLED'],
    )
    expect(shiftsIn(text, '2026-11-30T00:00Z', '2027-01-01T00:00Z')).toEqual([
      '2026-12-01T23:00Z 2026-12-02T13:00Z',
      '2026-12-04T01:00Z 2026-12-04T13:00Z',
      '2026-12-05T23:00Z 2026-12-06T13:00Z',
      '2026-12-10T23:00Z 2026-12-11T13:00Z',
    ])
  })

  // IANA tz database: New York goes back on 1 November 2026 at 02:00 and forward on 14 March 2027 at 02:00.
  it('in the nights the clocks change cover overlaps and leaves no gap, also where a shift begins in the skipped hour', () => {
    const text = calendar(
      [
        'DTSTART;TZID=America/New_York:20261030T023000',
        'DTEND;TZID=America/New_York:20261030T143000',
        'RRULE:FREQ=DAILY',
      ],
      [
        'DTSTART;TZID=America/New_York:20261030T143000',
        'DTEND;TZID=America/New_York:20261031T023000',
        'RRULE:FREQ=DAILY',
      ],
    )
    const { shifts } = eventShifts(readCalendar(text), {
      zone: 'America/New_York',
      from: at('2026-10-31T00:00Z'),
      until: at('2027-03-20T00:00Z'),
    })
    for (const [place, one] of shifts.slice(1).entries())
      expect(one.from).toBeLessThanOrEqual(shifts[place]?.until ?? 0)
    expect(shifts.map(one => iso(one.from))).toContain('2027-03-14T06:30Z')
  })

  it('lines folded in the middle of a word, quoted parameters and escaped signs are read as meant', () => {
    const text = calendar([
      ...nightly,
      'SUMMARY:Amara Osei\\, nu\r\n rse',
      'ATTENDEE;CN="Osei, Amara: nights";PARTSTAT=ACC\r\n EPTED:mailto:amara@clinic.example',
    ])
    const { shifts } = eventShifts(readCalendar(text), {
      zone: 'UTC',
      from: at('2026-12-01T00:00Z'),
      until: at('2026-12-09T00:00Z'),
    })
    expect(shifts[0]?.names).toEqual(['Amara Osei, nurse', 'mailto:amara@clinic.example', 'Osei, Amara: nights'])
  })

  it('whole days and times without a zone are read on the clinic’s clock, whatever the machine’s is, and counted', () => {
    const text = calendar(
      ['DTSTART;VALUE=DATE:20261205', 'DTEND;VALUE=DATE:20261207'],
      ['DTSTART:20261208T180000', 'DURATION:PT14H'],
    )
    const read = eventShifts(readCalendar(text), {
      zone: 'Asia/Kathmandu',
      from: at('2026-12-01T00:00Z'),
      until: at('2026-12-31T00:00Z'),
    })
    // Kathmandu is at UTC+05:45 (IANA tz database).
    expect(read.shifts.map(one => `${iso(one.from)} ${iso(one.until)}`)).toEqual([
      '2026-12-04T18:15Z 2026-12-06T18:15Z',
      '2026-12-08T12:15Z 2026-12-09T02:15Z',
    ])
    expect(read).toMatchObject({ wholeDays: 1, withoutZone: 1 })
  })

  it('a rule that began thirty years ago still has its shifts today', () => {
    const text = calendar(['DTSTART;TZID=Europe/London:19960101T080000', 'DURATION:P1D', 'RRULE:FREQ=DAILY'])
    expect(shiftsIn(text, '2026-12-01T09:00Z', '2026-12-03T07:00Z')).toHaveLength(2)
  })

  it('UNTIL is reckoned on the event’s own clock', () => {
    const text = calendar([
      'DTSTART;TZID=Australia/Sydney:20261201T200000',
      'DURATION:PT10H',
      'RRULE:FREQ=DAILY;UNTIL=20261203T090000Z',
    ])
    // Sydney is at UTC+11 in December: 20:00 there is 09:00 in UTC, which is still part of the rule.
    expect(shiftsIn(text, '2026-11-30T00:00Z', '2027-01-01T00:00Z')).toHaveLength(3)
  })
})

describe('zones of a calendar', () => {
  // Unicode CLDR, windowsZones.xml, territory 001; from memory for the rows named here.
  it.each([
    ['Eastern Standard Time', 'America/New_York'],
    ['W. Europe Standard Time', 'Europe/Berlin'],
    ['AUS Eastern Standard Time', 'Australia/Sydney'],
    ['GMT Standard Time', 'Europe/London'],
    ['Europe/London', 'Europe/London'],
    ['UTC', 'UTC'],
    ['/example.org/20260101_1/America/New_York', 'America/New_York'],
    ['Our Own Zone', undefined],
    ['GMT+0100', undefined],
    ['EST', undefined],
    ['__proto__', undefined],
  ])('%s means %s', (tzid, zone) => expect(zoneMeant(tzid)).toBe(zone))

  it('every zone of the table is one that the platform knows', () => {
    expect(Object.keys(officeZones).length).toBeGreaterThan(130)
    for (const zone of Object.values(officeZones))
      expect(() => new Intl.DateTimeFormat('en', { timeZone: zone })).not.toThrow()
  })

  it('a zone of its own, though defined in the calendar, refuses the whole calendar', () => {
    const text = calendar(['DTSTART;TZID=Our Own Zone:20261201T180000', 'DURATION:PT14H'])
    expect(refusalOf(text)).toMatchObject({ code: 'CALENDAR_ZONE', message: expect.stringContaining('"Our Own Zone"') })
  })
})

describe('a calendar that cannot be meant', () => {
  const start = 'DTSTART;TZID=America/New_York:20261201T180000'
  it.each([
    ['an empty text', '', 'CALENDAR_UNREADABLE'],
    ['a web page', '<!DOCTYPE html><html></html>', 'CALENDAR_UNREADABLE'],
    ['a calendar cut off in the middle', calendar([start, 'DURATION:PT1H']).slice(0, 120), 'CALENDAR_UNREADABLE'],
    [
      'parts within parts within parts',
      `${'BEGIN:VCALENDAR\r\n'}${'BEGIN:VEVENT\r\n'.repeat(50)}`,
      'CALENDAR_UNREADABLE',
    ],
    ['a date that does not exist', calendar(['DTSTART:20260230T180000Z', 'DURATION:PT1H']), 'CALENDAR_TIME'],
    ['an end before the start', calendar([start, 'DTEND;TZID=America/New_York:20261201T170000']), 'CALENDAR_TIME'],
    ['no end', calendar([start]), 'CALENDAR_TIME'],
    ['no start', calendar(['DURATION:PT1H']), 'CALENDAR_TIME'],
    ['a shift of a year', calendar([start, 'DURATION:P365D']), 'CALENDAR_TIME'],
    ['a rule each second', calendar([start, 'DURATION:PT1H', 'RRULE:FREQ=SECONDLY']), 'CALENDAR_RULE'],
    ['a rule that is none', calendar([start, 'DURATION:PT1H', 'RRULE:FREQ=SOMETIMES']), 'CALENDAR_RULE'],
    ['two rules', calendar([start, 'DURATION:PT1H', 'RRULE:FREQ=DAILY', 'RRULE:FREQ=WEEKLY']), 'CALENDAR_RULE'],
    [
      'a change of all later shifts',
      calendar([start, 'DURATION:PT1H', 'RECURRENCE-ID;RANGE=THISANDFUTURE:20261201T230000Z']),
      'CALENDAR_RULE',
    ],
    ['a hundred thousand events', calendar(...Array(100_000).fill([start, 'DURATION:PT1H'])), 'CALENDAR_TOO_LARGE'],
    ['eleven megabytes', `BEGIN:VCALENDAR\r\n${'X'.repeat(11_000_000)}`, 'CALENDAR_TOO_LARGE'],
  ])('%s is refused, with its line', (_what, text, code) => {
    const refused = refusalOf(text)
    expect(refused.code).toBe(code)
    expect(refused.line).toBeGreaterThan(0)
    expect(refused.message.length).toBeLessThan(300)
  })
})

describe('whose a shift is', () => {
  const people = [
    { ...person('amara'), name: 'Amara Osei', knownAs: ['A. Osei'] },
    { ...person('tomas'), name: 'Tomás Herrera' },
    { ...person('twin'), name: 'Tomás Herrera' },
  ]
  const clinic = clinicWith({ people, roles: { first: everyDay('08:00-08:00 amara') } })
  const night = ['DTSTART;TZID=America/New_York:20261201T180000', 'DTEND;TZID=America/New_York:20261202T080000']
  const read = (summary: string[], ignores: string[] = []) =>
    calendarRead(calendar([...night, ...summary]), {
      clinic,
      role: 'first',
      source: 'x.ics',
      ignores,
      at: at('2026-11-30T12:00Z'),
    })

  it.each([
    ['the name, in other letters', ['SUMMARY:AMARA  osei']],
    ['a name the clinic wrote down', ['SUMMARY:A. Osei']],
    ['the mail address they are paged at', ['SUMMARY:Night', 'ATTENDEE:mailto:Amara@clinic.example']],
  ])('is told by %s', (_what, lines) => {
    expect(read(lines)).toMatchObject({ copy: { shifts: [{ who: 'amara' }] }, strangers: [] })
  })

  it.each([
    ['a name that stands nowhere', ['SUMMARY:Amara'], []],
    ['no title', [], []],
    ['a name that two people have', ['SUMMARY:Tomás Herrera'], ['tomas', 'twin']],
    [
      'one in the title and another invited',
      ['SUMMARY:Amara Osei', 'ATTENDEE:mailto:tomas@clinic.example'],
      ['amara', 'tomas'],
    ],
  ])('%s is told, never guessed', (_what, lines, ids) => {
    expect(read(lines)).toMatchObject({ copy: { shifts: [] }, strangers: [{ ids, count: 1, line: 4 }] })
  })

  it('a title that is no shift may be passed over by name, also where the event cannot be read', () => {
    expect(read(['SUMMARY:Team meeting'], ['team meeting'])).toMatchObject({ copy: { shifts: [] }, strangers: [] })
    const odd = ['SUMMARY:Team meeting', 'RRULE:FREQ=SOMETIMES']
    expect(read(odd)).toMatchObject({ unread: [{ code: 'CALENDAR_RULE', names: ['Team meeting'] }] })
    expect(read(odd, ['team meeting'])).toMatchObject({ unread: [], strangers: [] })
  })

  it('every event that cannot be read is told, and the others are read', () => {
    const text = calendar(
      [...night, 'SUMMARY:Amara Osei'],
      ['DTSTART:20260230T180000Z', 'DURATION:PT1H', 'SUMMARY:Amara Osei'],
      ['DTSTART;TZID=Hospital Time:20261202T180000', 'DURATION:PT1H', 'SUMMARY:Linh'],
    )
    const given = { clinic, role: 'first', source: 'x.ics', ignores: [], at: at('2026-11-30T12:00Z') }
    expect(calendarRead(text, given)).toMatchObject({
      copy: { shifts: [{ who: 'amara' }] },
      unread: [
        { code: 'CALENDAR_TIME', names: ['Amara Osei'], quoted: '20260230T180000Z' },
        { code: 'CALENDAR_ZONE', names: ['Linh'], quoted: 'Hospital Time' },
      ],
    })
  })
})

describe('the copy that is kept', () => {
  const now = at('2026-11-30T12:00Z')
  const copy: CalendarCopy = {
    version: 1,
    role: 'first',
    source: 'https://calendar.example/rota.ics',
    readAt: now,
    knownUntil: later(now, days(400)),
    zones: ['America/New_York'],
    shifts: Array.from({ length: 40 }, (_one, day) => ({
      from: later(now, days(day)),
      until: later(now, days(day + 1)),
      who: day % 2 === 0 ? 'amara' : 'tomas',
    })),
  }

  it('is read as it was written, and as nothing when a sign of it is lost', () => {
    const text = copyText(copy)
    expect(readCopy(Buffer.from(text))).toEqual(copy)
    expect(text.split('\n').length).toBeGreaterThan(40)
    expect(readCopy(Buffer.from(text.slice(0, -4)))).toBeUndefined()
    expect(readCopy(Buffer.from(text.replace('"version":1', '"version":2')))).toBeUndefined()
    expect(readCopy(new Uint8Array([0xff, 0xfe]))).toBeUndefined()
  })

  const others = (
    change: (one: CalendarCopy['shifts'][number], index: number) => CalendarCopy['shifts'][number][],
  ) => ({
    ...copy,
    shifts: copy.shifts.flatMap(change),
  })
  it.each([
    ['the same', copy, undefined],
    ['another person on each shift: a rota that was changed', others(one => [{ ...one, who: 'linh' }]), undefined],
    ['a week on leave taken out', others((one, day) => (day > 3 && day < 9 ? [] : [one])), undefined],
    ['nothing at all', others(() => []), 'shrunk'],
    ['half of it', others((one, day) => (day % 2 === 0 ? [one] : [])), 'shrunk'],
    [
      'every shift an hour later',
      others(one => [{ ...one, from: later(one.from, hours(1)), until: later(one.until, hours(1)) }]),
      'moved',
    ],
    ['another zone', { ...copy, zones: ['Europe/London'] }, 'zones-changed'],
    ['one zone more', { ...copy, zones: ['America/New_York', 'Europe/London'] }, 'zones-changed'],
  ] as const)('a calendar that now says %s', (_what, next, expected) => {
    const suspicion = suspicionOf(copy, next, now)
    expect(suspicion?.kind).toBe(expected)
    if (suspicion !== undefined) expect(suspicionText(suspicion)).toContain('What was in force stays in force')
  })
})

describe('the calendar that is given out', () => {
  it('says the same when it is read again, in lines of at most 75 octets (RFC 5545, section 3.1)', () => {
    const people = ['omar', 'nadia'].map(id => ({
      ...person(id),
      name: `Nurse ${id}; „Ünïcode“, ${'lang '.repeat(20).trim()}`,
    }))
    const clinic = clinicWith({ people })
    const now = at('2026-10-30T12:00Z')
    const until = later(now, days(30))
    const text = calendarText(clinic, 'first', now, until, now)
    expect(text.endsWith('END:VCALENDAR\r\n')).toBe(true)
    for (const line of text.split('\r\n')) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75)
    const { copy, strangers } = calendarRead(text, { clinic, role: 'first', source: 'x', ignores: [], at: now })
    expect(strangers).toEqual([])
    expect(copy.shifts).toEqual(
      stretches(clinic, 'first', now, until).map(({ from, until: end, duty }) => ({
        from,
        until: end,
        who: duty?.who,
      })),
    )
  })
})
