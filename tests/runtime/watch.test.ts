import { describe, expect, it } from 'vitest'
import type { Page, Paged } from '../../src/pagers/pager.ts'
import type { Fault } from '../../src/runtime/fault.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { DOUBTS, type Doubt, type Health, healthNow } from '../../src/runtime/watch-health.ts'
import { watchLoops } from '../../src/runtime/watch-loops.ts'
import { watchPagers } from '../../src/runtime/watch-pagers.ts'
import { before as ago, type Instant, minutes, seconds } from '../../src/time/instant.ts'
import { failingStore } from '../support/failing-store.ts'
import { NIGHT, world } from '../support/world.ts'

const aPage = { key: 'k', address: 'a' } as unknown as Page

describe('a way of paging', () => {
  function aPager(answer: () => Promise<Paged>) {
    const clock = handClock(NIGHT)
    const faults: Fault[] = []
    const pager = { id: 'beeper', page: () => answer(), stop: async () => undefined }
    const watch = watchPagers({
      clock,
      pagerOf: id => (id === 'beeper' ? pager : undefined),
      onFault: f => faults.push(f),
    })
    const page = () => watch.pagerOf('beeper')?.page(aPage) as Promise<Paged>
    return { clock, faults, watch, page }
  }

  it.each([
    ['fails', async (): Promise<Paged> => ({ kind: 'failed', reason: 'no connection' })],
    ['refuses', async (): Promise<Paged> => ({ kind: 'refused', reason: 'wrong login' })],
    [
      'throws',
      async (): Promise<Paged> => {
        throw new Error('broken')
      },
    ],
    ['hangs', () => new Promise<Paged>(() => undefined)],
  ] as const)('that %s is in doubt from two minutes on, and is reported once', async (_, answer) => {
    const { clock, faults, watch, page } = aPager(answer)
    const first = page()
    await clock.advance(seconds(11))
    expect((await first).kind).not.toBe('accepted')
    await clock.advance(seconds(100))
    expect(watch.failing()).toEqual([])
    await clock.advance(seconds(20))
    expect(watch.failing().map(({ pager }) => pager)).toEqual(['beeper'])
    expect(watch.failing()[0]?.since).toBeLessThanOrEqual(NIGHT + seconds(10))
    void page()
    await clock.advance(minutes(10))
    expect(faults).toEqual([{ code: 'pager-failing', why: 'beeper' }])
  })

  it('that takes a page in between is in no doubt', async () => {
    let accepts = false
    const { clock, faults, watch, page } = aPager(async () =>
      accepts ? { kind: 'accepted' } : { kind: 'failed', reason: 'busy' },
    )
    for (let n = 0; n < 20; n += 1) {
      accepts = n % 2 === 1
      await page()
      await clock.advance(seconds(60))
    }
    expect(watch.failing()).toEqual([])
    expect(faults).toEqual([])
  })

  it('that answers after its time is up counts as unknown for that page, and as working', async () => {
    let answer: (paged: Paged) => void = () => undefined
    const { clock, watch, page } = aPager(
      () =>
        new Promise(resolve => {
          answer = resolve
        }),
    )
    const sent = page()
    await clock.advance(seconds(10))
    expect(await sent).toEqual({ kind: 'unknown', reason: 'timeout' })
    answer({ kind: 'accepted' })
    await clock.advance(minutes(5))
    expect(watch.failing()).toEqual([])
  })

  it('that is not there is not there', () => {
    const { watch } = aPager(async () => ({ kind: 'accepted' }))
    expect(watch.pagerOf('fax')).toBeUndefined()
  })
})

describe('loops', () => {
  function watched(sinceLookMs: () => number) {
    const clock = handClock(NIGHT)
    const faults: Fault[] = []
    let ended = 0
    const watch = watchLoops({
      clock,
      sinceLookMs,
      isFull: () => false,
      onFault: fault => faults.push(fault),
      onStanding: () => {
        ended += 1
      },
    })
    watch.start()
    return { clock, faults, ended: () => ended }
  }

  it('that have not turned for ninety seconds end the process, once', async () => {
    let since = 0
    const { clock, faults, ended } = watched(() => since)
    since = 89_999
    await clock.advance(seconds(5))
    expect(ended()).toBe(0)
    since = 90_000
    await clock.advance(seconds(5))
    expect(ended()).toBe(1)
    expect(faults).toEqual([{ code: 'loops-standing', ms: 90_000 }])
  })

  it('of a bot whose store hangs turn all the same: it is not ended for that', async () => {
    const disk = failingStore()
    const night = await world({ through: disk.through }).start()
    disk.fail('hangs')
    await night.clock.advance(minutes(10))
    expect(night.faults.map(({ code }) => code)).not.toContain('loops-standing')
  })
})

describe('health', () => {
  const quiet = { queued: 0, pagesInFlight: 0, repliesInFlight: 0, untold: 0 }
  const none = { latest: () => undefined, fullSince: () => undefined }

  function asked(given: {
    due?: () => Promise<Instant | undefined>
    looked?: Partial<Record<'pages' | 'replies' | 'alarms', number>>
    storeSince?: Instant
    pagers?: { pager: string; since: Instant }[]
    late?: { lateMs: number; at: Instant }
    full?: 'pages' | 'replies'
    queued?: number
    replicaMissingMs?: number
    stepped?: Instant
    others?: readonly Doubt[]
  }): Promise<Health> {
    const clock = handClock(NIGHT)
    const health = healthNow({
      clock,
      store: { nextDue: given.due ?? (async () => undefined) },
      figures: () => ({
        ...quiet,
        queued: given.queued ?? 0,
        sinceLookMs: { pages: 10, replies: 10, alarms: 10, ...given.looked },
        ...(given.replicaMissingMs === undefined
          ? {}
          : {
              sharing: {
                ...{ owned: 1, shards: 1, processes: 1, alone: 0 },
                replicas: { wanted: 1, connected: 0, missingMs: given.replicaMissingMs },
              },
            }),
      }),
      watch: {
        store: { failingSince: given.storeSince },
        pagers: { failing: () => given.pagers ?? [] },
        loops: {
          ...none,
          latest: () => given.late,
          fullSince: lane => (lane === given.full ? { at: ago(NIGHT, minutes(2)), ms: -minutes(2) } : undefined),
        },
      },
      clockSteppedAt: () => given.stepped,
      others: () => given.others ?? [],
    })
    return clock.advance(seconds(3)).then(() => health)
  }
  const doubtsOf = async (given: Parameters<typeof asked>[0]) => (await asked(given)).doubts.map(({ what }) => what)

  it('is well when nothing is in doubt', async () => {
    expect(await asked({})).toMatchObject({ ok: true, doubts: [], queued: 0 })
  })

  it('names what is in doubt, each in its own name', async () => {
    const due = async () => NIGHT
    const found = [
      await doubtsOf({
        due: async () => {
          throw new Error('disk')
        },
      }),
      await doubtsOf({ storeSince: NIGHT }),
      await doubtsOf({ looked: { pages: 5_001 } }),
      await doubtsOf({ looked: { replies: 5_001 } }),
      await doubtsOf({ looked: { alarms: 5_001 } }),
      await doubtsOf({ due: async () => ago(NIGHT, seconds(11)) }),
      await doubtsOf({ full: 'pages' }),
      await doubtsOf({ full: 'replies' }),
      await doubtsOf({ queued: 501 }),
      await doubtsOf({ late: { lateMs: 2_000, at: NIGHT } }),
      await doubtsOf({ stepped: NIGHT }),
      await doubtsOf({ pagers: [{ pager: 'smtp', since: NIGHT }] }),
      await doubtsOf({ others: [{ what: 'clinic-file-refused', since: NIGHT, places: ['clinic.yaml:3:1 MISSING'] }] }),
      await doubtsOf({ others: [{ what: 'rota-gap', since: NIGHT, role: 'first', from: NIGHT, until: NIGHT }] }),
      await doubtsOf({ others: [{ what: 'ladder-empty', since: NIGHT, from: NIGHT, until: NIGHT }] }),
      await doubtsOf({ others: [{ what: 'calendar-held', since: NIGHT, role: 'first' }] }),
      await doubtsOf({ others: [{ what: 'telegram-silent', since: NIGHT }] }),
      await doubtsOf({ replicaMissingMs: 5_000 }),
    ]
    expect(found).toEqual(DOUBTS.map(what => [what]))
    expect(await doubtsOf({ due, looked: { pages: 4_999 }, queued: 500, late: { lateMs: 1_999, at: NIGHT } })).toEqual(
      [],
    )
  })

  it('a hole in the rota or a missing replica is told, and is no reason to take the line for out of order; anything else is', async () => {
    const hole = { what: 'rota-gap', since: NIGHT, role: 'first', from: NIGHT, until: NIGHT } as const
    expect(await asked({ others: [hole] })).toMatchObject({ ok: true, doubts: [hole] })
    expect(await asked({ others: [hole], queued: 501 })).toMatchObject({ ok: false })
    const missing = { what: 'replica-missing', since: ago(NIGHT, seconds(5)) }
    expect(await asked({ replicaMissingMs: 5_000 })).toMatchObject({ ok: true, doubts: [missing] })
  })

  it('says since when, and which way of paging', async () => {
    const since = ago(NIGHT, minutes(7))
    const { ok, doubts } = await asked({ pagers: [{ pager: 'webhook', since }], storeSince: since })
    expect(ok).toBe(false)
    expect(doubts).toEqual([
      { what: 'store-failing', since },
      { what: 'pager-failing', since, pager: 'webhook' },
    ])
  })

  it('answers within two seconds though the store never does', async () => {
    const night = handClock(NIGHT)
    let answered = false
    const health = asked({ due: () => new Promise(() => undefined) }).then(found => {
      answered = true
      return found
    })
    await night.advance(0)
    expect((await health).doubts.map(({ what }) => what)).toEqual(['store-silent'])
    expect(answered).toBe(true)
  })

  it('of a running bot goes with its store: well, in doubt, and well again a while after it works', async () => {
    const disk = failingStore()
    const night = await world({ through: disk.through }).start()
    await night.say('the tube is out')
    await night.advance(minutes(1))
    expect(await night.runtime.health()).toMatchObject({ ok: true, doubts: [] })
    disk.fail('full')
    await night.clock.advance(seconds(20))
    const found = await night.runtime.health()
    expect(found.doubts.map(({ what }) => what)).toContain('store-failing')
    expect(found.doubts[0]?.since).toBeLessThanOrEqual(night.clock.now() - 15_000)
    disk.mend()
    await night.advance(minutes(2))
    expect(await night.runtime.health()).toMatchObject({ ok: true })
  })

  it('of a running bot says that an alarm is overdue when none fires', async () => {
    const disk = failingStore()
    const night = await world({
      through: store => ({ ...disk.through(store), nextDue: () => store.nextDue(), due: async () => [] }),
    }).start()
    await night.say('the tube is out')
    await night.advance(minutes(10) + seconds(9))
    expect((await night.runtime.health()).ok).toBe(true)
    await night.advance(seconds(2))
    expect((await night.runtime.health()).doubts.map(({ what }) => what)).toEqual(['alarms-overdue'])
  })

  it('names no family', async () => {
    const night = await world().start()
    await night.say('Zephyrkin’s tube is out')
    const text = JSON.stringify(await night.runtime.health())
    expect(text).not.toContain('Zephyrkin')
    expect(text).not.toContain(await night.caseId())
    expect(text).not.toContain('family-1')
  })
})
