import { describe, expect, it } from 'vitest'
import type { Clinician } from '../../src/case/event.ts'
import { NotStored } from '../../src/runtime/fault.ts'
import { hours, minutes, seconds } from '../../src/time/instant.ts'
import { type FailingStore, failingStore, type HowItFails } from '../support/failing-store.ts'
import { CHAT, type World, wordsOf, world } from '../support/world.ts'

const amara: Clinician = { id: 'amara', name: 'Nurse Amara Osei', role: 'feeding nurse' }
const EVERY_ADDRESS = ['amara-1', 'amara-2', 'ben-1']
const ALL: readonly HowItFails[] = ['throws', 'hangs', 'unread', 'full', 'contended']

async function aNight(): Promise<{ night: World; disk: FailingStore }> {
  const disk = failingStore()
  const night = await world({ through: disk.through }).start()
  await night.say('the tube is out')
  await night.advance(minutes(1))
  expect(night.faults).toEqual([])
  return { night, disk }
}

/** Says words that the line cannot keep; what the sender is told. */
async function turnedAway(night: World, words: string, deliveryId: string, waitMs = 5_001): Promise<unknown> {
  const body = { kind: 'text', text: words } as const
  const sent = night.runtime
    .receive({ ...CHAT, deliveryId, at: night.clock.now(), body })
    .catch((error: unknown) => error)
  await night.clock.advance(waitMs)
  return sent
}

const linePages = (night: World, news: string) => night.paged.filter(page => page.text.startsWith(`LINE ${news} `))

describe.each(ALL)('a store that fails: %s', how => {
  it('gives the family the numbers within five seconds and pages everyone at every address, past it', async () => {
    const { night, disk } = await aNight()
    const before = night.delivered.length
    disk.fail(how)
    expect(await turnedAway(night, 'it has a balloon', 'd1')).toBeInstanceOf(NotStored)
    expect(night.delivered.slice(before).map(wordsOf)).toEqual([['fallback']])
    expect(
      linePages(night, 'down')
        .map(page => page.address)
        .toSorted(),
    ).toEqual(EVERY_ADDRESS)
    expect(night.faults.map(fault => fault.code)).toContain('line-down')
  })

  it('is told to people again, never more often than every five minutes, however many families write', async () => {
    const { night, disk } = await aNight()
    disk.fail(how)
    for (let n = 0; n < 40; n += 1) await turnedAway(night, 'please', `d${n}`, 15_000)
    // Ten minutes: at once, after five, after ten.
    expect(linePages(night, 'down')).toHaveLength(3)
    expect(linePages(night, 'still-down').length).toBeGreaterThanOrEqual(3)
    expect(linePages(night, 'still-down').length).toBeLessThanOrEqual(6)
  })

  it('is told to be back after a minute of working, once; the message sent again is then answered with how late it is', async () => {
    const { night, disk } = await aNight()
    disk.fail(how)
    await turnedAway(night, 'it has a balloon', 'd1')
    disk.mend()
    await night.advance(seconds(50))
    expect(linePages(night, 'back')).toEqual([])
    await night.advance(seconds(20))
    expect(linePages(night, 'back').map(page => page.address)).toHaveLength(3)
    await night.advance(minutes(10))
    expect(linePages(night, 'back')).toHaveLength(3)

    const before = night.delivered.length
    await night.say('it has a balloon', { deliveryId: 'd1' })
    const [answer] = night.delivered.slice(before)
    expect(wordsOf(answer as never).slice(0, 2)).toEqual(['works-again', 'thanks'])
    await night.say('next')
    expect(wordsOf(night.delivered.at(-1) as never)).not.toContain('works-again')
    expect((await night.state()).heard.filter(each => !each.startsWith('alarm'))).toEqual(['it has a balloon', 'next'])
  })

  it('keeps a press of nobody: the clinician hears an error, and everyone is paged', async () => {
    const { night, disk } = await aNight()
    const caseId = await night.caseId()
    disk.fail(how)
    const press = night.runtime
      .act(caseId, { kind: 'pageAcknowledged', by: amara, doing: { kind: 'ringing-now' } })
      .catch((error: unknown) => error)
    await night.clock.advance(5_001)
    expect(await press).toBeInstanceOf(Error)
    expect(linePages(night, 'down').map(page => page.address)).toHaveLength(3)
  })

  it('names no family in what it sends past itself', async () => {
    const { night, disk } = await aNight()
    disk.fail(how)
    await turnedAway(night, 'Zephyrkin has a balloon', 'd1')
    const told = JSON.stringify([linePages(night, 'down'), night.tries.at(-1)?.parts])
    expect(told).not.toMatch(/Zephyrkin|balloon|0142/)
    expect(linePages(night, 'down')[0]).toMatchObject({ caseId: '', code: '' })
  })
})

describe('a store that fails while no family writes', () => {
  it.each(['throws', 'hangs', 'full', 'unclaimed'] as const)(
    'and %s: people are paged within half a minute, because pages and alarms stand still',
    async how => {
      const { night, disk } = await aNight()
      disk.fail(how)
      await night.clock.advance(seconds(12))
      expect(linePages(night, 'down')).toEqual([])
      await night.clock.advance(seconds(18))
      expect(linePages(night, 'down')).toHaveLength(3)
    },
  )

  it('for some seconds only, pages nobody', async () => {
    const { night, disk } = await aNight()
    for (let n = 0; n < 20; n += 1) {
      disk.fail('throws')
      await night.clock.advance(seconds(4))
      disk.mend()
      await night.advance(seconds(20))
    }
    expect(night.paged).toEqual([])
  })

  it('for a whole night, is told every five minutes for an hour, then every half hour', async () => {
    const { night, disk } = await aNight()
    disk.fail('throws')
    await night.clock.advance(hours(1))
    const inAnHour = night.paged.length / 3
    expect(inAnHour).toBeGreaterThanOrEqual(11)
    expect(inAnHour).toBeLessThanOrEqual(13)
    await night.clock.advance(hours(6))
    const after = night.paged.length / 3 - inAnHour
    expect(after).toBeGreaterThanOrEqual(11)
    expect(after).toBeLessThanOrEqual(13)
  })

  it('a page that was owed goes out when it is back, and a family turned away keeps its place', async () => {
    const { night, disk } = await aNight()
    await night.say('person please')
    const before = night.paged.length
    disk.fail('full')
    await turnedAway(night, 'danger', 'd1')
    disk.mend()
    await night.advance(seconds(5))
    await night.say('danger', { deliveryId: 'd1' })
    expect(night.paged.slice(before).some(page => page.text.includes('dangerSaid'))).toBe(true)
  })
})

describe('a store that is slow', () => {
  it('keeps a message after the family was told to ring: it is answered, with how late that is', async () => {
    const held: (() => void)[] = []
    let isSlow = false
    const night = await world({
      through: store => ({
        ...store,
        casesOf: async chat => {
          if (isSlow) await new Promise<void>(resolve => held.push(resolve))
          return store.casesOf(chat)
        },
      }),
    }).start()
    await night.say('the tube is out')
    isSlow = true
    const sent = night.runtime
      .receive({ ...CHAT, deliveryId: 'd1', at: night.clock.now(), body: { kind: 'text', text: 'one' } })
      .catch((error: unknown) => error)
    await night.clock.advance(4_000)
    const also = night.runtime
      .receive({ ...CHAT, deliveryId: 'd2', at: night.clock.now(), body: { kind: 'text', text: 'two' } })
      .catch((error: unknown) => error)
    await night.clock.advance(2_000)
    expect(await sent).toBeInstanceOf(NotStored)
    isSlow = false
    for (const release of held) release()
    await also
    await night.runtime.idle()
    const said = night.delivered.map(wordsOf)
    expect(said[1]).toEqual(['fallback'])
    expect(said[2]?.slice(0, 2)).toEqual(['works-again', 'thanks'])
  })
})

describe('pages about the line', () => {
  async function withPager(page: World['page']): Promise<World> {
    const { night, disk } = await aNight()
    night.page = page
    disk.fail('full')
    await turnedAway(night, 'please', 'd1')
    await night.clock.advance(minutes(2))
    return night
  }

  it('go to the addresses that work while others refuse, fail and hang', async () => {
    const night = await withPager(async page => {
      if (page.address === 'amara-1') return { kind: 'refused', reason: 'no such number' }
      if (page.address === 'amara-2') return new Promise(() => undefined)
      return { kind: 'accepted' }
    })
    expect(linePages(night, 'down').map(page => page.address)).toEqual(['ben-1'])
    expect(night.faults.map(fault => fault.code)).not.toContain('line-unheard')
    const hanging = night.pageTries.filter(page => page.address === 'amara-2' && page.text.startsWith('LINE down'))
    expect(hanging.length).toBeGreaterThan(1)
    expect(new Set(hanging.map(page => page.key)).size).toBe(1)
    expect(hanging.map(page => page.repeated)).toEqual([false, ...hanging.slice(1).map(() => true)])
  })

  it('that no address takes are written in the log', async () => {
    const night = await withPager(async () => ({ kind: 'failed', reason: 'no connection' }))
    expect(night.faults.filter(fault => fault.code === 'line-unheard')).toEqual([{ code: 'line-unheard', why: 'down' }])
    expect(night.pageTries.filter(page => page.text.startsWith('LINE down'))).toHaveLength(12)
  })

  it('by a pager that throws are tried again, and never end the process', async () => {
    let times = 0
    const night = await withPager(async () => {
      times += 1
      if (times <= 3) throw new Error('broken pager')
      return { kind: 'accepted' }
    })
    expect(linePages(night, 'down')).toHaveLength(3)
  })
})

describe('a stored case that cannot be trusted', () => {
  /** Writes a state of one's own over a case that has just begun, as damage or another release would. */
  async function overwritten(state: (before: string) => string): Promise<World> {
    const night = await world().start()
    await night.say('the tube is out')
    const [stored] = await night.store.casesOf(CHAT)
    if (stored === undefined) throw new Error('no case')
    await night.store.commit({
      caseId: stored.caseId, chat: CHAT, from: stored.seq, at: stored.changedAt, closed: false,
      state: state(stored.state), event: '{}', effects: '[]', outbox: [], alarms: { set: [], cancel: [] },
    }) // biome-ignore format: one record
    return night
  }

  it.each<[string, (before: string) => string]>([
    ['torn', before => before.slice(0, 40)],
    ['empty', () => ''],
    ['of another program', () => '{"hello":"there"}'],
    ['nothing', () => 'null'],
    ['a number', () => '7'],
    ['parked, with what says so torn', () => '{"parked":{"why":"broken"},"state":null}'],
    [
      'parked, with a time that is none',
      () => '{"parked":{"at":"x","pagedAt":"x","pagedTimes":"y","why":"broken"},"state":"{"}',
    ],
  ])('%s: the family gets the numbers, everyone is paged, and a clinician can take and end it', async (_, state) => {
    const night = await overwritten(state)
    const before = night.paged.length
    await night.say('one')
    expect(wordsOf(night.delivered.at(-1) as never)).toEqual(['fallback'])
    expect(new Set(night.paged.slice(before).map(page => page.to.id))).toEqual(new Set(['amara', 'ben']))
    expect(night.paged.slice(before).every(page => page.text.startsWith('PARKED broken'))).toBe(true)
    expect(night.faults.map(fault => fault.code)).not.toContain('store-failed')
    const caseId = await night.caseId()
    await night.runtime.act(caseId, { kind: 'pageAcknowledged', by: amara, doing: { kind: 'ringing-now' } })
    await night.runtime.act(caseId, { kind: 'outcomeSet', by: amara, outcome: 'spoken', doNotWrite: false })
    expect((await night.store.load(caseId))?.closed).toBe(true)
  })

  it('and an alarm that comes due finds it: people are paged though nobody writes', async () => {
    const night = await overwritten(() => '{"hello":"there"}')
    const before = night.paged.length
    await night.advance(minutes(11))
    expect(night.paged.slice(before).map(page => page.text.slice(0, 13))).toContain('PARKED broken')
    expect(night.delivered.map(wordsOf)).toContainEqual(['fallback'])
  })
})
