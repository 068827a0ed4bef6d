import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { expectedArrival } from '../../src/case/alarm.ts'
import { closureAt, closureTimesOf } from '../../src/case/derive.ts'
import type { CaseEvent } from '../../src/case/event.ts'
import { renderPage, renderReply } from '../../src/case/render.ts'
import { parseState } from '../../src/case/state.ts'
import { instant } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { aTalk, type CaseTalk, isPage, isReply, MIN, minutesAgo, PLAIN, saidIn, takes } from '../support/case-talk.ts'
import { answersToAll } from './answers-drawn.ts'
import { anEvent, happens } from './events-drawn.ts'

const line = aLine()
const clock = (hours: number, minutes: number) =>
  instant(Date.parse(`2026-03-01T${String(hours + 5).padStart(2, '0')}:${String(minutes).padStart(2, '0')}:00Z`))
const timesSaid = (talk: CaseTalk, id: string) =>
  talk.replies().filter(({ reply }) => saidIn(reply).includes(id)).length

/** Tube out 15 to 23 minutes ago, 20 minutes of travel: leave by 2:27, soonest 2:47, latest 3:47, overdue 5:47. */
const travelling = () =>
  aTalk(line)
    .says()
    .answersAll({ ...PLAIN, 'first-placed': 'unsure' })
const inTime = () =>
  aTalk(line)
    .says()
    .answersAll({
      'in-opening': 'nothing',
      'danger-signs': ['none'],
      device: 'balloon-long',
      'out-since': minutesAgo(15, 23),
      travel: takes(20),
    })

describe('the closure clock of a case', () => {
  it('counts from the earliest the tube can have come out and the longest travel', () => {
    expect(closureTimesOf(line, inTime().state)).toEqual({
      leaveBy: clock(2, 27),
      soonestAt: clock(2, 47),
      latestAt: clock(3, 47),
      overdueAt: clock(5, 47),
    })
  })

  it('crosses its bands with nothing happening but time', () => {
    const talk = inTime()
    const bands: [string, string][] = []
    for (let minute = 0; minute < 245; minute += 5) {
      const band = talk.state.kernel.closure
      if (bands.at(-1)?.[1] !== band) bands.push([new Date(talk.now).toISOString().slice(11, 16), band])
      talk.waits(5)
    }
    expect(bands).toEqual([
      ['07:10', 'time-left'],
      ['07:30', 'leave-now'],
      ['08:50', 'past-latest'],
      ['10:50', 'overdue'],
    ])
  })

  it('says once, at the moment, that it is time to leave', () => {
    const talk = inTime()
    expect(talk.alarms.get('leave-by')).toBe(clock(2, 27))
    talk.waits(16.9)
    expect(timesSaid(talk, 'time-to-go')).toBe(0)
    talk.waits(0.2)
    expect(timesSaid(talk, 'time-to-go')).toBe(1)
    talk.waits(300)
    expect(timesSaid(talk, 'time-to-go')).toBe(1)
  })

  it('moves the moment with a corrected answer', () => {
    const talk = inTime().corrects('travel', takes(30))
    expect(talk.alarms.get('leave-by')).toBe(clock(2, 17))
    talk.waits(7.1)
    expect(timesSaid(talk, 'time-to-go')).toBe(1)
  })

  it('is not set off by an alarm that was moved meanwhile', () => {
    const talk = inTime()
    const { state } = talk
    talk.does({ kind: 'alarmDue', name: 'leave-by', due: instant(clock(2, 27) - 1) })
    expect({ ...talk.state, seq: 0 }).toEqual({ ...state, seq: 0 })
    expect(talk.effects).toEqual([])
  })

  it('never gives time back when the clock of the machine is set back', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: -240, max: 240 }), { maxLength: 12 }), moves => {
        const talk = inTime()
        const order = ['time-left', 'leave-now', 'past-latest', 'overdue']
        let furthest = 0
        let seen = talk.state.latestSeenAt
        for (const move of moves) {
          talk.now = instant(talk.now + move * MIN)
          talk.does({ kind: 'greeted' })
          const reached = order.indexOf(talk.state.kernel.closure)
          expect(reached).toBeGreaterThanOrEqual(furthest)
          expect(talk.state.latestSeenAt).toBeGreaterThanOrEqual(seen)
          expect(order.indexOf(closureAt(line, talk.state, talk.now))).toBeGreaterThanOrEqual(furthest)
          furthest = reached
          seen = talk.state.latestSeenAt
        }
      }),
      { numRuns: 200 },
    )
  })

  it('expects a family that has left after the travel they said', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, 'have-you-left': 'yes' })
    expect(expectedArrival(talk.state)).toEqual({
      earliest: instant(NIGHT + 20 * MIN),
      latest: instant(NIGHT + 20 * MIN),
    })
  })
})

describe('an alarm that comes late', () => {
  const lateBy = (talk: CaseTalk, name: string, minutes: number) => {
    const due = talk.alarms.get(name)
    if (due === undefined) throw new Error(`alarm "${name}" is not set`)
    talk.alarms.delete(name)
    talk.now = instant(due + minutes * MIN)
    return talk.does({ kind: 'alarmDue', name, due })
  }

  it('is said with how late it is, from more than two minutes on', () => {
    const onTime = lateBy(inTime(), 'leave-by', 1)
    expect(onTime.parts()[0]).not.toMatchObject({ id: 'late' })
    const late = lateBy(inTime(), 'leave-by', 45)
    expect(late.parts()[0]).toMatchObject({ kind: 'notice', id: 'late', text: 'This message is 45 minutes late.' })
    expect(late.said()).toContain('time-to-go')
  })

  it.each([
    ['drop', 'drops it', 0, 0],
    ['page', 'pages whoever is on the case, and says it', 1, 1],
    ['recompute', 'says it without a word on lateness', 0, 1],
  ] as const)('with "late: %s" %s', (policy, _does, pages, said) => {
    const talk = inTime()
    const alarm = talk.state.alarms['leave-by']
    if (alarm === undefined) throw new Error('leave-by is not set')
    talk.state = { ...talk.state, alarms: { ...talk.state.alarms, 'leave-by': { ...alarm, late: policy } } }
    const before = timesSaid(talk, 'time-to-go')
    lateBy(talk, 'leave-by', 45)
    expect(talk.effects.filter(isPage)).toHaveLength(pages)
    expect(timesSaid(talk, 'time-to-go') - before).toBe(said)
    expect(talk.effects.filter(isReply).some(reply => reply.late !== undefined)).toBe(false)
  })

  it.each([
    // The rung was due at 3 minutes; everyone is due at 10.
    ['a slow minute', 1, [['amara', 'repeat']]],
    ['six minutes', 6, [['amara', 'repeat']]],
    [
      'seven minutes: past the last rung',
      7,
      [
        ['amara', 'repeat'],
        ['ingrid', 'page'],
        ['ward-desk', 'page'],
      ],
    ],
    [
      'ninety minutes',
      90,
      [
        ['amara', 'repeat'],
        ['ingrid', 'page'],
        ['ward-desk', 'page'],
      ],
    ],
  ] as const)(
    'a rung that is late by %s pages all who should have been paged by then, at once',
    (_name, minutes, expected) => {
      const talk = lateBy(inTime(), 'rung', minutes)
      expect(talk.effects.filter(isPage).map(page => [page.to, page.why])).toEqual(expected)
      expect(talk.said().includes('nobody-answered')).toBe(expected.length > 1)
    },
  )

  it('a rung later than a whole night pages who is on call by now as well, and says that the line was down', () => {
    const talk = inTime().answersAll({ ...PLAIN, 'have-you-left': 'yes' })
    const { callout } = talk.state
    talk.state = { ...talk.state, callout: { ...callout, ladder: ['somebody-of-the-night'] } }
    lateBy(talk, 'rung', 9 * 60)
    expect(talk.effects.filter(isPage).map(page => page.to)).toContain('somebody-of-the-night')
    expect(talk.effects.filter(isPage).map(page => page.to)).toContain('ward-desk')
    expect(talk.said()).toContain('nobody-answered')
  })

  it('silence that fell while the line was down is not the family’s: it is asked again, and chased from then', () => {
    const talk = inTime()
    const pagesBefore = talk.pages().length
    lateBy(talk, 'silent-page', 45)
    expect(talk.said()).toEqual(['out-of-touch', 'ask:ring-back'])
    expect(talk.pages()).toHaveLength(pagesBefore)
    expect(talk.alarms.get('silent-ask')).toBe(talk.now + 10 * MIN)
    expect(talk.alarms.get('silent-page')).toBe(talk.now + 20 * MIN)
  })

  it('a start after an outage chases silence from there too', () => {
    const talk = inTime()
    talk.now = instant(talk.now + 45 * MIN)
    talk.does({ kind: 'resumed', downSince: NIGHT })
    expect(talk.alarms.get('silent-ask')).toBe(talk.now + 10 * MIN)
    expect(talk.alarms.get('silent-page')).toBe(talk.now + 20 * MIN)
  })

  it('with "late: page" begins to page where nobody had been', () => {
    const talk = inTime()
    const alarm = talk.state.alarms['leave-by']
    if (alarm === undefined) throw new Error('leave-by is not set')
    const { callout, kernel } = talk.state
    talk.state = {
      ...talk.state,
      kernel: { ...kernel, callout: 'idle' },
      callout: { ...callout, pages: [] },
      alarms: { 'leave-by': { ...alarm, late: 'page' } },
    }
    lateBy(talk, 'leave-by', 45)
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'amara', why: 'page', reason: 'line-was-down' }])
  })
})

describe('two alarms of one minute', () => {
  /** Silence and the time to leave by fall on the same instant. */
  const together = () => {
    const talk = inTime()
    const due = talk.state.alarms['leave-by']?.due
    if (due === undefined) throw new Error('leave-by is not set')
    talk.state = { ...talk.state, alarms: { ...talk.state.alarms, 'silent-ask': { due, late: 'recompute' } } }
    talk.now = due
    return { talk, due }
  }

  it.each([
    ['silence first', ['silent-ask', 'leave-by'], 0],
    ['the time to leave first', ['leave-by', 'silent-ask'], 0],
    ['silence first, forty minutes late', ['silent-ask', 'leave-by'], 40],
    ['the time to leave first, forty minutes late', ['leave-by', 'silent-ask'], 40],
  ])('say once that it is time to go: %s', (_name, order, late) => {
    const { talk, due } = together()
    const before = timesSaid(talk, 'time-to-go')
    talk.now = instant(due + late * MIN)
    for (const name of order) {
      talk.does({ kind: 'alarmDue', name, due })
      talk.now = instant(talk.now + 3)
    }
    expect(timesSaid(talk, 'time-to-go') - before).toBe(1)
    expect(talk.state.alarms['leave-by']).toBeUndefined()
    expect(talk.asked()).toBe('ring-back')
  })
})

describe('a doubtful clock', () => {
  const doubted = (minutes: number) =>
    aTalk(line)
      .does({
        kind: 'caseOpened',
        concern: 'tube-out',
        said: 'his tube is out',
        clockDoubtMs: minutes * MIN,
      } as CaseEvent)
      .answersAll({
        'in-opening': 'nothing',
        'danger-signs': ['none'],
        device: 'balloon-long',
        'out-since': minutesAgo(15, 23),
        travel: takes(20),
      })

  it('of a second gives a time to leave by, that second earlier', () => {
    const talk = doubted(1 / 60)
    expect(talk.alarms.get('leave-by')).toBe(clock(2, 27) - 1_000)
    expect(talk.said()).toContain('leave-by-time')
  })

  it.each([17, 60, 25 * 60])('of %i minutes, all of the time left: leave now, and no time is named', minutes => {
    const talk = doubted(minutes)
    expect(talk.said()).toContain('time-to-go')
    expect(talk.said()).not.toContain('leave-by-time')
    expect(talk.alarms.has('leave-by')).toBe(false)
    expect(talk.state.kernel.closure).toBe('leave-now')
  })

  it('stays with the case when the clock is trusted again', () => {
    const talk = doubted(17)
    talk.corrects('travel', takes(15))
    expect(talk.state.clockDoubtMs).toBe(17 * MIN)
    expect(talk.said()).not.toContain('time-to-go')
    expect(talk.alarms.get('leave-by')).toBe(clock(2, 32) - 17 * MIN)
  })
})

describe('a text sent late', () => {
  const reply = (talk: CaseTalk, id: string) => {
    const found = talk.effects.filter(isReply).find(each => saidIn(each).includes(id))
    if (found === undefined) throw new Error(`"${id}" was not said`)
    return (at: number) =>
      renderReply(line, talk.state, found, instant(at), { repeated: false })
        .filter(part => 'id' in part && part.id === id)
        .map(part => ('text' in part ? part.text : ''))
        .join(' ')
  }

  it('names the time to leave by only while it is to come', () => {
    const text = reply(inTime(), 'leave-by-time')
    expect(text(clock(2, 27) - 1)).toContain('by 2:27 am at the latest')
    expect(text(clock(2, 27))).toMatch(/^Leave for .+ now\.$/)
    expect(text(clock(4, 0))).not.toMatch(/\d:\d\d/)
  })

  it('names the time of a promised call only while it is to come', () => {
    const text = reply(inTime().takes({ kind: 'ringing-by', by: clock(2, 25) }), 'taken-ringing-by')
    expect(text(clock(2, 25) - 1)).toContain('I will ring you by 2:25 am')
    expect(text(clock(2, 25))).not.toMatch(/\d:\d\d/)
    expect(text(clock(2, 25))).toContain('promised you a call')
  })

  it('names on a page the next person’s minute only while it is to come', () => {
    const talk = inTime()
    const page = talk.pages()[0]?.page
    if (page?.nextAt === undefined) throw new Error('no page names the next minute')
    const { nextAt } = page
    const next = (at: number) =>
      renderPage(line, talk.state, page, instant(at)).some(piece => /next \d\d:\d\d/.test(piece))
    expect(next(nextAt - 1)).toBe(true)
    expect(next(nextAt)).toBe(false)
  })
})

describe('alarms in the store', () => {
  it('are those of the case after every event, and a case read back goes on the same', () => {
    fc.assert(
      fc.property(answersToAll, fc.array(anEvent, { maxLength: 20 }), (answers, events) => {
        const talk = aTalk(line).says()
        for (const event of events) {
          happens(talk, event, answers)
          const own = Object.entries(talk.state.alarms).filter(([, { due }]) => due !== Number.MAX_SAFE_INTEGER)
          expect([...talk.alarms].sort()).toEqual(own.map(([name, { due }]) => [name, due]).sort())
          const stored = JSON.stringify(talk.state)
          expect(JSON.stringify(parseState(line, stored))).toBe(stored)
          talk.state = parseState(line, stored)
        }
      }),
      { numRuns: 150 },
    )
  })

  it('leave a family that answers nothing more with a page or a close, never with nothing', () => {
    fc.assert(
      fc.property(answersToAll, fc.nat(20), (answers, stop) => {
        const talk = aTalk(line).says()
        for (let left = stop; left > 0; left--) {
          const open = talk.asked()
          const answer = open === undefined ? undefined : answers[open]
          if (open !== undefined && answer !== undefined) talk.answers(open, answer)
        }
        talk.waits(24 * 60)
        expect(talk.pages().length > 0 || talk.state.closed).toBe(true)
      }),
      { numRuns: 100 },
    )
  })

  it('travelling without a known date of the first tube is treated as the first days', () => {
    expect(travelling().state.kernel.facts.tract).toBe('unknown')
    expect(
      travelling()
        .replies()
        .some(({ reply }) => saidIn(reply).includes('stop-medicines')),
    ).toBe(true)
  })
})
