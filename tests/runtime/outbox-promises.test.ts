import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Incoming } from '../../src/case/message.ts'
import type { Delivery } from '../../src/channels/channel.ts'
import type { Machine } from '../../src/runtime/machine.ts'
import type { OutboxRow, Store } from '../../src/store/store.ts'
import { type Instant, instant, minutes, seconds } from '../../src/time/instant.ts'
import { fakeMachine } from '../support/fake-line.ts'
import { type MemoryStore, memoryStore } from '../support/memory-store.ts'
import { CHAT, NIGHT, type World, wordsOf, world } from '../support/world.ts'

const delivered: Delivery = { kind: 'delivered' }
const unknown: Delivery = { kind: 'unknown', reason: 'timeout' }
const secondOf = (night: World): number => (night.clock.now() - NIGHT) / 1_000
const never = <T>() => new Promise<T>(() => undefined)

const words = (deliveryId: string, text: string, night: World, chat = CHAT.chat): Incoming => ({
  channel: 'web',
  chat,
  deliveryId,
  at: night.clock.now(),
  body: { kind: 'text', text },
})

describe('a text is written down before it leaves', () => {
  /** Notes when a row's text became durable. */
  const noting =
    (notes: string[]) =>
    (store: MemoryStore): Store => ({
      ...store,
      rendered: async (effectId, content, at) => {
        await store.rendered(effectId, content, at)
        notes.push(`kept ${effectId}`)
      },
    })

  it('at its first try, replies and pages alike; a repeat writes nothing', async () => {
    const notes: string[] = []
    const night = world({ through: noting(notes) })
    await night.start()
    night.deliver = async ({ effectId }) => {
      notes.push(`sent ${effectId}`)
      return notes.filter(note => note === `sent ${effectId}`).length === 1 ? unknown : delivered
    }
    night.page = async ({ key }) => {
      notes.push(`sent ${key}`)
      return { kind: 'accepted' }
    }
    await night.say('danger')
    await night.advance(seconds(30))
    const ids = [...new Set(notes.map(note => note.split(' ')[1]))]
    expect(ids).toHaveLength(3)
    for (const id of ids)
      expect(notes.filter(note => note.endsWith(id ?? '')).slice(0, 2)).toEqual([`kept ${id}`, `sent ${id}`])
    expect(notes.filter(note => note.startsWith('kept'))).toHaveLength(3)
    expect(notes.filter(note => note.startsWith('sent'))).toHaveLength(4)
  })

  it('and nothing leaves while it could not be; a second later it does, unlabelled', async () => {
    const store = memoryStore({ faults: [{ call: 'rendered', nth: 1, how: 'refused' }] })
    const night = await world({ store }).start()
    await night.say('the tube is out')
    expect(night.tries).toEqual([])
    await night.advance(seconds(1))
    expect(night.delivered.map(one => one.repeated)).toEqual([false])
  })
})

describe('a text that names a time', () => {
  /** The fake line, whose replies name half past the first minute. */
  const naming = (named: Instant): Machine => ({
    ...fakeMachine(),
    timesAhead: (_, at) => (named > at ? [named] : []),
  })

  it('is sent again as it was while that time is to come, and worked out anew, labelled, once it has passed', async () => {
    const night = await world({ machine: naming(instant(NIGHT + seconds(30))) }).start()
    const tries: { second: number; at: number; first: string | undefined; repeated: boolean }[] = []
    night.deliver = async ({ at, parts, repeated }) => {
      const [first] = parts
      const id = first !== undefined && 'id' in first ? first.id : undefined
      tries.push({ second: secondOf(night), at: (at - NIGHT) / 1_000, first: id, repeated })
      return tries.length < 3 ? unknown : delivered
    }
    await night.say('the tube is out')
    await night.advance(seconds(60))
    expect(tries).toEqual([
      { second: 0, at: 0, first: 'hold', repeated: false },
      { second: 20, at: 0, first: 'repeat-label', repeated: true },
      { second: 40, at: 40, first: 'repeat-label', repeated: true },
    ])
  })

  it('is a page\'s "next at": worked out anew, labelled, once somebody else is due', async () => {
    const machine = fakeMachine()
    const withNext: Machine = {
      ...machine,
      step: (state, event, at) => {
        const { effects, ...stepped } = machine.step(state, event, at)
        const nextAt = instant(at + seconds(5))
        return { ...stepped, effects: effects.map(one => (one.kind === 'page' ? { ...one, nextAt } : one)) }
      },
    }
    const night = await world({ machine: withNext }).start()
    const tries: unknown[] = []
    night.page = async ({ address, at, repeated, key }) => {
      if (address !== 'amara-1') return { kind: 'accepted' }
      tries.push([secondOf(night), (at - NIGHT) / 1_000, repeated, key])
      return tries.length === 1 ? { kind: 'unknown', reason: 'timeout' } : { kind: 'accepted' }
    }
    await night.say('danger')
    await night.advance(seconds(15))
    const key = expect.stringMatching(/\.0$/)
    expect(tries).toEqual([
      [0, 0, false, key],
      [10, 10, true, key],
    ])
    expect(new Set(night.pageTries.filter(page => page.address === 'amara-1').map(page => page.key)).size).toBe(1)
  })
})

describe('what has arrived is not sent again because the store failed', () => {
  it.each(['refused', 'answer-lost'] as const)('once (%s): the end is written down a second later', async how => {
    const store = memoryStore()
    const night = await world({ store }).start()
    for (const nth of [1, 2, 3]) store.plan({ call: 'settle', nth, how })
    await night.say('danger')
    await night.advance(seconds(60))
    expect(night.tries).toHaveLength(1)
    expect(night.pageTries.map(page => page.address).sort()).toEqual(['amara-1', 'amara-2'])
    expect((await night.state()).heard).toEqual(['page amara accepted'])
  })

  it('for longer than the row is leased: then it is, and says so', async () => {
    const store = memoryStore()
    const night = await world({ store }).start()
    for (let nth = 1; nth <= 60; nth += 1) store.plan({ call: 'settle', nth, how: 'refused' })
    await night.say('the tube is out')
    await night.advance(seconds(120))
    expect(night.tries.map(one => one.repeated)).toEqual([false, true])
  })
})

describe('a page that failed for good moves the ladder at once', () => {
  it('also when the store could not be read just then', async () => {
    const store = memoryStore()
    const night = await world({ store }).start()
    night.page = async page => (page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'refused', reason: 'gone' })
    for (const nth of [1, 2]) store.plan({ call: 'outboxOf', nth, how: 'refused' })
    await night.say('danger')
    await night.advance(seconds(1))
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
    expect((await night.state()).heard).toEqual(['page amara given-up', 'page ben accepted'])
  })

  it('in the same step in which the case hears of it', async () => {
    const night = await world().start()
    night.page = async page => (page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'refused', reason: 'gone' })
    await night.say('danger')
    const steps = await night.store.history(await night.caseId())
    const heard = steps.find(step => step.event.includes('"given-up"'))
    expect(JSON.parse(heard?.effects ?? '[]')).toContainEqual(expect.objectContaining({ kind: 'page', to: 'ben' }))
  })
})

describe('a row that cannot be read', () => {
  /** Damage between store and sender: the first row of a lane that is claimed is given out spoilt, ever again. */
  const spoiling =
    (lane: 'page' | 'family', effect: string) =>
    (store: MemoryStore): Store => {
      let spoilt: string | undefined
      const spoil = (row: OutboxRow): OutboxRow => {
        spoilt ??= row.effectId.replace(/\.\d+$/, lane === 'page' ? '' : '$&')
        return row.effectId.startsWith(spoilt) ? { ...row, effect } : row
      }
      return {
        ...store,
        claim: async (asked, at, leaseMs, limit) => {
          const rows = await store.claim(asked, at, leaseMs, limit)
          return asked === lane ? rows.map(spoil) : rows
        },
      }
    }
  const poison = ['', '{', 'null', '"words"', '[]', '{"kind":"reply"}', '{"kind":"page","to":7}']

  it.each(poison)('%j never stops the replies behind it', async effect => {
    const night = await world({ through: spoiling('family', effect) }).start()
    await night.say('the tube is out')
    await night.say('one')
    await night.advance(seconds(90))
    expect(night.delivered.map(wordsOf).at(-1)).toEqual(['thanks', 'ask 2'])
    const rows = await night.store.outboxOf(await night.caseId())
    expect(rows.filter(row => row.status === 'waiting')).toEqual([])
  })

  it.each(poison)('%j of a page is given up, and the next person is paged at once', async effect => {
    const night = await world({ through: spoiling('page', effect) }).start()
    await night.say('danger')
    await night.advance(0)
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
    expect(night.faults.map(fault => fault.code)).toContain('page-given-up')
  })
})

describe('what a killed process had on its way', () => {
  /** Killed while a page and a reply are with their receivers, started again five seconds later. */
  async function killedWhileSending(): Promise<World> {
    const night = await world().start()
    night.page = never
    night.deliver = never
    await night.runtime.receive(words('d1', 'danger', night))
    await night.clock.advance(0)
    expect([night.pageTries.length, night.tries.length]).toEqual([2, 1])
    night.page = async () => ({ kind: 'accepted' })
    night.deliver = async () => delivered
    return night.restart(seconds(5))
  }

  it('goes out at the start, labelled, without waiting for its lease', async () => {
    const after = await killedWhileSending()
    await after.advance(0)
    expect(after.paged.map(page => [page.address, page.repeated])).toEqual([
      ['amara-1', true],
      ['amara-2', true],
    ])
    expect(after.delivered.map(one => one.repeated)).toEqual([true])
    expect(secondOf(after)).toBe(5)
  })

  it('goes out all the same where the store does not let go of it, when its lease ends', async () => {
    const store = memoryStore({ faults: [1, 2].map(nth => ({ call: 'releaseLeases', nth, how: 'refused' })) })
    const night = await world({ store }).start()
    night.page = never
    await night.runtime.receive(words('d1', 'danger', night))
    await night.clock.advance(0)
    night.page = async () => ({ kind: 'accepted' })
    const after = await night.restart(seconds(5))
    expect(after.faults.map(fault => fault.code)).toEqual(['store-failed'])
    expect(after.paged).toEqual([])
    await after.advance(seconds(16))
    expect(after.paged.map(page => page.repeated)).toEqual([true, true])
  })
})

describe('one chat that may not be written to for a while', () => {
  it('delays no page and no other chat', async () => {
    const night = await world().start()
    const seen: string[] = []
    night.deliver = async ({ chat }) => {
      if (chat === CHAT.chat) return { kind: 'failed', reason: 'too many requests', retryAfterMs: minutes(10) }
      seen.push(`${chat} at ${secondOf(night)}`)
      return delivered
    }
    await night.say('danger')
    await night.say('the tube is out', { chat: 'other' })
    expect(seen).toEqual(['other at 0'])
    expect(night.paged.map(page => page.address).sort()).toEqual(['amara-1', 'amara-2'])
    await night.advance(minutes(9))
    expect(night.tries.filter(one => one.chat === CHAT.chat)).toHaveLength(1)
  })
})

describe('the order of a chat', () => {
  const outcome = fc.constantFrom<'delivered' | 'failed' | 'unknown' | 'refused' | 'hang' | 'throw'>(
    'delivered',
    'failed',
    'unknown',
    'refused',
    'hang',
    'throw',
  )

  it('holds whatever becomes of each try; a second arrival is labelled, other chats wait for nothing', async () => {
    await fc.assert(
      fc.asyncProperty(fc.array(outcome, { maxLength: 10 }), fc.integer({ min: 2, max: 5 }), async (fates, count) => {
        const night = await world().start()
        const left = [...fates]
        /** Everything that reached the chat, also where nobody could know. */
        const arrived: { id: string; repeated: boolean }[] = []
        night.deliver = async ({ chat, effectId, repeated }) => {
          if (chat !== CHAT.chat) return delivered
          const fate = left.shift() ?? 'delivered'
          if (fate !== 'failed' && fate !== 'refused') arrived.push({ id: effectId, repeated })
          if (fate === 'hang') return never()
          if (fate === 'throw') throw new Error('against the contract')
          return fate === 'delivered' ? delivered : { kind: fate, reason: 'drawn' }
        }
        for (let n = 0; n < count; n += 1) night.runtime.receive(words(`d${n}`, `word ${n}`, night)).catch(never)
        await night.clock.advance(0)
        await night.runtime.receive(words('o', 'the tube is out', night, 'other'))
        await night.clock.advance(0)
        expect(night.delivered.filter(one => one.chat === 'other')).toHaveLength(1)
        await night.advance(minutes(12))
        const firsts = [...new Set(arrived.map(one => Number(one.id.split('.')[1])))]
        expect(firsts).toEqual(firsts.toSorted((a, b) => a - b))
        for (const [index, one] of arrived.entries())
          if (arrived.slice(0, index).some(({ id }) => id === one.id)) expect(one.repeated).toBe(true)
        const refused = fates.slice(0, fates.length - left.length).filter(fate => fate === 'refused').length
        const heldBack = (await night.store.outboxOf(await night.caseId())).filter(row => row.status === 'waiting')
        expect(heldBack).toEqual([])
        expect(firsts.length).toBeGreaterThanOrEqual(count - refused)
      }),
      { numRuns: 12 },
    )
  })
})
