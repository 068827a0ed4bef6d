import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs'
import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { calendarFeeds } from '../../src/cli/calendar-feeds.ts'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { type CalendarNamed, readCopy } from '../../src/config/calendar-copy.ts'
import { loadClinic } from '../../src/config/clinic-file.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { hours, instant } from '../../src/time/instant.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-feeds-'))
const START = instant(Date.parse('2026-11-30T12:00:00Z'))

/** What the server answers now. */
let answer: { readonly status: number; readonly text: string } = { status: 404, text: '' }
let asked = 0
let origin = ''
const server = createServer((_request, response) => {
  asked += 1
  response.writeHead(answer.status).end(answer.text)
})
beforeAll(async () => {
  await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
  origin = `http://127.0.0.1:${(server.address() as AddressInfo).port}/rota.ics`
})
afterAll(() => {
  server.closeAllConnections()
  server.close()
  rmSync(folder, { recursive: true, force: true })
})

/** Every night from 18:00 to 08:00 in a zone, from 1 December on. */
const nights = (zone: string, title = 'Linh Tran', rule = 'FREQ=DAILY') => ({
  status: 200,
  text: `BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTART;TZID=${zone}:20261101T180000\r\nDTEND;TZID=${zone}:20261102T080000\r\nRRULE:${rule}\r\nSUMMARY:${title}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n`,
})

function feedsIn(name: string) {
  const own = join(folder, name)
  cpSync(DEMO_CLINIC, own, { recursive: true })
  mkdirSync(join(own, 'calendars'))
  const clock = handClock(START)
  const file = join(own, 'calendars/first.json')
  const copy = () => {
    try {
      return readCopy(readFileSync(file))
    } catch {
      return undefined
    }
  }
  const logged: string[] = []
  const { clinic } = loadClinic(own, START)
  if (clinic === undefined) throw new Error('the demonstration cannot be read')
  const calendars = (): CalendarNamed[] => [
    { role: 'first', file: 'calendars/first.json', from: origin, every: hours(1), ignores: [], copy: copy() },
  ]
  const feeds = calendarFeeds({
    clinicDir: own,
    calendars,
    clinic: () => clinic,
    clock,
    log: ({ what }) => logged.push(what),
  })
  const hour = async (next: typeof answer) => {
    answer = next
    await clock.advance(hours(1))
    await feeds.look()
  }
  return { feeds, hour, copy, file, logged, clock }
}

describe('a live calendar', { timeout: 60_000 }, () => {
  it('is taken, looked at no more often than its time, and changes with its source', async () => {
    const { feeds, hour, copy } = feedsIn('changes')
    await hour(nights('America/New_York'))
    const first = copy()
    expect(new Set(first?.shifts.map(one => one.who))).toEqual(new Set(['linh']))
    const before = asked
    await feeds.look()
    expect(asked).toBe(before)
    await hour(nights('America/New_York', 'Amara Osei'))
    expect(new Set(copy()?.shifts.map(one => one.who))).toEqual(new Set(['amara']))
    expect(feeds.doubts()).toEqual([])
  })

  it('that says the same is not written again within six hours, and then is, so that its age is known', async () => {
    const { hour, file } = feedsIn('same')
    await hour(nights('America/New_York'))
    const written = () => statSync(file).ino
    const first = written()
    await hour(nights('America/New_York'))
    expect(written()).toBe(first)
    for (let one = 0; one < 6; one++) await hour(nights('America/New_York'))
    expect(written()).not.toBe(first)
  })

  it.each([
    [
      'is empty all at once',
      () => ({ status: 200, text: 'BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n' }),
      'covers 0 hours',
    ],
    [
      'has every other shift only',
      () => nights('America/New_York', 'Linh Tran', 'FREQ=DAILY;INTERVAL=2'),
      'hours of the next 28 days',
    ],
    ['is written in another zone', () => nights('Europe/London'), 'Europe/London'],
    ['is written in a zone of its own', () => nights('Hospital Time'), '"Hospital Time"'],
    ['names somebody who is nobody', () => nights('America/New_York', 'Linh'), 'nobody’s'],
    [
      'is cut off in the middle',
      () => ({ status: 200, text: nights('America/New_York').text.slice(0, 90) }),
      'not ended',
    ],
    ['is a page of the web', () => ({ status: 200, text: '<html>Sign in</html>' }), 'no line of a calendar'],
    [
      'has a hundred thousand events',
      () => ({
        status: 200,
        text: `BEGIN:VCALENDAR\r\n${'BEGIN:VEVENT\r\nEND:VEVENT\r\n'.repeat(100_000)}END:VCALENDAR\r\n`,
      }),
      'more than 20000 events',
    ],
  ])('that %s changes nothing, and is told at once', async (what, next, told) => {
    const { feeds, hour, copy } = feedsIn(what.replaceAll(' ', '-'))
    await hour(nights('America/New_York'))
    const good = copy()
    await hour(next())
    expect(copy()).toEqual(good)
    expect(feeds.doubts()).toMatchObject([{ what: 'calendar-held', role: 'first' }])
    expect(feeds.reasons().join()).toContain(told)
    // As soon as it is itself again, it counts again.
    await hour(nights('America/New_York'))
    expect(feeds.doubts()).toEqual([])
  })

  it('that is gone changes nothing; it is told when it is gone for the third time', async () => {
    const { feeds, hour, copy, logged } = feedsIn('gone')
    await hour(nights('America/New_York'))
    const good = copy()
    await hour({ status: 404, text: '' })
    await hour({ status: 503, text: '' })
    expect(feeds.doubts()).toEqual([])
    await hour({ status: 404, text: '' })
    expect(feeds.doubts()).toMatchObject([{ what: 'calendar-held' }])
    expect(feeds.reasons()).toEqual(['first: the server answers 404'])
    expect(copy()).toEqual(good)
    expect(logged).toEqual(['calendar-taken', 'calendar-held'])
  })
})
