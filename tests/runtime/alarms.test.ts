import { describe, expect, it } from 'vitest'
import { alarmsLoop } from '../../src/runtime/alarms.ts'
import type { Fault } from '../../src/runtime/fault.ts'
import type { AlarmRow, StepRecord } from '../../src/store/store.ts'
import { hours, type Instant, after as later, minutes, seconds } from '../../src/time/instant.ts'
import { handClock } from '../support/hand-clock.ts'
import { type MemoryStore, memoryStore } from '../support/memory-store.ts'
import { CHAT, NIGHT, wordsOf, world } from '../support/world.ts'

describe('a stored alarm', () => {
  it('fires at its moment: not before, at most a second after', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    await night.advance(minutes(10) - 1)
    expect((await night.state()).heard).toEqual([])
    await night.advance(1_000)
    expect((await night.state()).heard).toEqual(['alarm:silence'])
    expect(wordsOf(night.delivered.at(-1) as never)).toContain('alarm')
  })

  it('fires to the millisecond on a clock that wakes to the millisecond', async () => {
    const night = await world().start()
    await night.advance(370)
    await night.say('the tube is out')
    await night.advance(minutes(11))
    const history = await night.store.history(await night.caseId())
    const fired = history.find(event => event.event.includes('alarmDue'))
    expect(fired?.at).toBe(later(NIGHT, minutes(10)) + 370)
  })

  it('fires once, late, at the first look after the bot was down over its moment', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    night = await night.restart(hours(3))
    expect((await night.state()).heard.filter(each => each === 'alarm:silence')).toHaveLength(1)
    await night.advance(hours(1))
    expect((await night.state()).heard.filter(each => each === 'alarm:silence')).toHaveLength(1)
  })

  it('does not fire when an answer has moved it', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    await night.advance(minutes(6))
    await night.say('one')
    await night.advance(minutes(5))
    expect((await night.state()).heard).toEqual(['one'])
    await night.advance(minutes(6))
    expect((await night.state()).heard).toEqual(['one', 'alarm:silence'])
  })

  it('set back by an hour, the wall clock makes no alarm fire twice, and none more than a ninth late', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    night.clock.setWallBy(-hours(1))
    await night.advance(minutes(10) - seconds(1))
    expect((await night.state()).heard).toEqual([])
    await night.advance(minutes(10) / 9 + seconds(2))
    expect((await night.state()).heard).toEqual(['alarm:silence'])
    night.clock.setWallBy(-hours(1))
    await night.advance(hours(3))
    expect((await night.state()).heard).toEqual(['alarm:silence'])
    expect(night.faults.map(fault => fault.code)).toEqual(['clock-stepped', 'clock-stepped'])
  })

  it('set ahead, the wall clock makes it fire at once: a longer time out is the safer reading', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    night.clock.setWallBy(hours(25))
    await night.advance(seconds(2))
    expect((await night.state()).heard).toEqual(['alarm:silence'])
  })

  it('fires for five hundred open cases within two seconds of its moment', async () => {
    const night = await world().start()
    for (let n = 0; n < 500; n += 1) {
      await night.runtime.receive({
        ...CHAT,
        chat: `family-${n}`,
        deliveryId: `d${n}`,
        at: NIGHT,
        body: { kind: 'text', text: 'the tube is out' },
      })
    }
    await night.runtime.idle()
    await night.advance(minutes(10) + seconds(2))
    const cases = await night.store.recent(NIGHT)
    expect(cases.filter(each => each.state.includes('alarm:silence'))).toHaveLength(500)
  })

  it('fires after the store was away when it came due', async () => {
    const store = memoryStore()
    const night = await world({ store }).start()
    await night.say('the tube is out')
    await night.advance(minutes(9))
    let failing = 0
    // Every look of the next half minute is refused, then the store is back.
    const due = store.due
    Object.assign(store, {
      due: async (at: Instant, limit: number) => {
        if (at < later(NIGHT, seconds(630))) {
          failing += 1
          throw new Error('away')
        }
        return due(at, limit)
      },
    })
    await night.advance(minutes(2))
    expect(failing).toBeGreaterThan(0)
    expect((await night.state()).heard).toEqual(['alarm:silence'])
  })
})

describe('what firing an alarm costs', () => {
  /** What was read of the store before each step of an alarm: loads of a case, rows asked for among all that are due. */
  function counting() {
    const before: { readonly loads: number; readonly rows: number }[] = []
    let loads = 0
    let rows = 0
    const through = (store: MemoryStore) => ({
      ...store,
      load: (caseId: string) => {
        loads += 1
        return store.load(caseId)
      },
      due: (at: Instant, limit: number) => {
        rows = Math.max(rows, limit)
        return store.due(at, limit)
      },
      commit: (step: StepRecord) => {
        if (step.event.includes('alarmDue')) before.push({ loads, rows })
        loads = 0
        rows = 0
        return store.commit(step)
      },
    })
    return { before, through, forget: () => (loads = 0) }
  }

  it('is one load of a case whose chat is known', async () => {
    const counted = counting()
    const night = await world({ through: counted.through }).start()
    await night.say('the tube is out')
    await night.say('one')
    await night.runtime.idle()
    counted.forget()
    await night.advance(minutes(11))
    expect((await night.state()).heard.at(-1)).toBe('alarm:silence')
    expect(counted.before.map(({ loads }) => loads)).toEqual([1])
  })

  it('is no look through the alarms of all others, for a parked case either', async () => {
    const counted = counting()
    const night = await world({ through: counted.through }).start()
    await night.say('the tube is out')
    await night.say('break the machine')
    const paged = night.paged.length
    await night.advance(hours(1))
    expect(night.paged.length).toBeGreaterThan(paged)
    expect(counted.before.length).toBeGreaterThan(0)
    for (const { rows } of counted.before) expect(rows).toBeLessThanOrEqual(200)
  })
})

describe('the loop of alarms', () => {
  it('goes past one alarm that always fails, and tries it again', async () => {
    const clock = handClock(NIGHT)
    const rows: AlarmRow[] = [
      { caseId: 'bad', name: 'a', due: NIGHT },
      { caseId: 'good', name: 'b', due: NIGHT },
    ]
    const fired: string[] = []
    const faults: Fault[] = []
    let tries = 0
    const loop = alarmsLoop({
      store: { due: async (_at, limit) => rows.slice(0, limit), nextDue: async () => rows[0]?.due },
      clock,
      fire: async row => {
        if (row.caseId === 'bad') {
          tries += 1
          throw new Error('no')
        }
        rows.splice(rows.indexOf(row), 1)
        fired.push(row.caseId)
        return { kind: 'done' }
      },
      onFault: fault => faults.push(fault),
    })
    loop.start()
    await clock.advance(seconds(10))
    expect(fired).toEqual(['good'])
    expect(tries).toBeGreaterThan(3)
    expect(tries).toBeLessThan(15)
    await Promise.all([loop.stop(), clock.advance(seconds(2))])
  })

  it('does not fire in a circle an alarm that its step left standing', async () => {
    const clock = handClock(NIGHT)
    const faults: Fault[] = []
    let fired = 0
    const loop = alarmsLoop({
      store: { due: async () => [{ caseId: 'c', name: 'a', due: NIGHT }], nextDue: async () => NIGHT },
      clock,
      fire: async () => {
        fired += 1
        return { kind: 'done' }
      },
      onFault: fault => faults.push(fault),
    })
    loop.start()
    await clock.advance(seconds(130))
    expect(fired).toBe(3)
    expect(faults.map(fault => fault.code)).toEqual(['alarm-stuck', 'alarm-stuck', 'alarm-stuck'])
    await Promise.all([loop.stop(), clock.advance(seconds(2))])
  })

  it('rests until the next alarm, at most a second, and is woken by an earlier one', async () => {
    const clock = handClock(NIGHT)
    const looks: number[] = []
    const loop = alarmsLoop({
      store: {
        due: async () => [],
        nextDue: async () => {
          looks.push(clock.now() - NIGHT)
          return later(NIGHT, minutes(5))
        },
      },
      clock,
      fire: async () => ({ kind: 'done' }),
      onFault: () => undefined,
    })
    loop.start()
    await clock.advance(2_500)
    expect(looks).toEqual([0, 1_000, 2_000])
    loop.kick()
    await clock.advance(0)
    expect(looks).toEqual([0, 1_000, 2_000, 2_500])
    await loop.stop()
  })
})
