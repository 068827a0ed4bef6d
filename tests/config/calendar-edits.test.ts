import { describe, expect, it } from 'vitest'
import { calendarSpliced } from '../../src/config/calendar-edits.ts'
import { englishPhrases } from '../../src/config/edit-phrases.ts'
import { spanishPhrases } from '../../src/config/edit-phrases-es.ts'

const LIVE =
  '{ on-call: first, shifts: calendars/first-1.json, from: "https://calendar.example/a.ics", every: PT2H, only-public: true, ignores: [Cleaning] }'
const file = (line: string) =>
  `clinic: x\n# kept\ncalendars:\n  # by hand\n  - ${line}\n  - { on-call: second, shifts: b.json }\n# the end\n`

describe('a calendar in the clinic’s file', () => {
  it('of a role that has none is added; of one that has one it stands in its place, as often looked at as before', () => {
    const edit = { kind: 'calendar', role: 'first', file: 'calendars/first-2.json', ignores: [] } as const
    expect(calendarSpliced('clinic: x\n', edit)).toBe(
      'clinic: x\n\ncalendars:\n  - { on-call: first, shifts: calendars/first-2.json }\n',
    )
    const live = { ...edit, from: 'https://calendar.example/b.ics', onlyPublic: true, ignores: ['Team meeting'] }
    expect(calendarSpliced(file(LIVE), live)).toBe(
      file(
        '{ on-call: first, shifts: calendars/first-2.json, from: "https://calendar.example/b.ics", every: PT2H, only-public: true, ignores: [ Team meeting ] }',
      ),
    )
  })

  it('that is not followed any more keeps its shifts and the titles that are none', () => {
    const stopped = calendarSpliced(file(LIVE), { kind: 'calendar-stop', role: 'first' })
    expect(stopped).toBe(file('{ on-call: first, shifts: calendars/first-1.json, ignores: [ Cleaning ] }'))
    expect(() => calendarSpliced(stopped, { kind: 'calendar-stop', role: 'first' })).toThrow('no calendar of "first"')
  })

  it('is taken out with its line, and nothing else', () => {
    const out = calendarSpliced(file(LIVE), { kind: 'calendar-out', role: 'second' })
    expect(out).toBe(file(LIVE).replace('  - { on-call: second, shifts: b.json }\n', ''))
    expect(() => calendarSpliced(out, { kind: 'calendar-out', role: 'second' })).toThrow('"second" has no calendar')
  })

  it('is said by the host it comes from, in both languages', () => {
    const given = { role: 'first', shifts: 1, host: 'calendar.example', until: undefined }
    expect(englishPhrases.calendar(given)).toBe('"first" follows the live calendar at calendar.example: 1 shift')
    expect(spanishPhrases.calendar({ ...given, shifts: 20, host: undefined, until: 'dom 22 mar' })).toBe(
      '"first" sigue un calendario que se toma una sola vez: 20 turnos, el último hasta dom 22 mar',
    )
    expect(spanishPhrases.calendarStop('primera')).toContain('siguen contando')
    expect(spanishPhrases.calendarOut('primera')).toContain('ya no sigue')
  })
})
