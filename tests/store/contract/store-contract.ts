import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import type { WholeStore } from '../../../src/store/store.ts'
import { alarms, at, night, row, step } from '../step-record.ts'

/** One store over one disk, as a test of the contract needs it. */
export interface StoreOnDisk {
  readonly store: WholeStore
  /** Closes the store and opens it again over the same disk. */
  reopen(): Promise<WholeStore>
  /** Closes what is open and removes the disk. */
  discard(): Promise<void>
}

const minute = 60_000

/** Cases of one family: what is unique or in order is so within a chat. */
const family = { channel: 'web', chat: 'family' }

/** What every adapter of the store port has to do. Run by each adapter's own test file. */
export function storeContract(name: string, open: () => Promise<StoreOnDisk>): void {
  describe(`${name} keeps the store's contract`, () => {
    let disk: StoreOnDisk
    let store: WholeStore
    beforeEach(async () => {
      disk = await open()
      store = disk.store
    })
    afterEach(() => disk.discard())

    describe('commit', () => {
      test('writes event, case, outbox and alarms together', async () => {
        const first = step('sun', 0, {
          event: '{"kind":"caseOpened"}',
          effects: '[1]',
          outbox: [row('sun/1/0', 'c')],
          alarms: alarms({ check: at(60) }),
        })
        expect(await store.commit(first)).toBe('committed')
        expect(await store.load('sun')).toEqual({
          caseId: 'sun',
          chat: first.chat,
          seq: 1,
          closed: false,
          changedAt: first.at,
          state: first.state,
        })
        expect(await store.history('sun')).toEqual([
          { caseId: 'sun', seq: 1, at: first.at, event: '{"kind":"caseOpened"}', effects: '[1]' },
        ])
        expect(await store.outboxOf('sun')).toEqual([
          { ...row('sun/1/0', 'c'), caseId: 'sun', seq: 1, tries: 0, status: 'waiting', outcomeUnknown: false },
        ])
        expect(await store.due(at(60), 9)).toEqual([{ caseId: 'sun', name: 'check', due: at(60) }])
      })

      test('writes nothing at all when one part of the step cannot be written', async () => {
        await store.commit(step('sun', 0, { chat: family, outbox: [row('taken', 'c')] }))
        const bad = step('moon', 0, {
          chat: family,
          outbox: [row('moon/1/0', 'd'), row('taken', 'd')],
          alarms: alarms({ check: at(1) }),
          delivery: { channel: 'web', deliveryId: 'm1' },
        })
        await expect(store.commit(bad)).rejects.toThrow()
        expect(await store.load('moon')).toBeUndefined()
        expect(await store.history('moon')).toEqual([])
        expect(await store.outboxOf('moon')).toEqual([])
        expect(await store.nextDue()).toBeUndefined()
        expect(await store.commit({ ...bad, outbox: [] })).toBe('committed')
      })

      test('a step that cannot be written leaves those queued beside it alone', async () => {
        await store.commit(step('sun', 0, { chat: family, outbox: [row('taken', 'c')] }))
        const outcomes = await Promise.allSettled([
          store.commit(step('a', 0)),
          store.commit(step('b', 0, { chat: family, outbox: [row('taken', 'c')] })),
          store.commit(step('c', 0)),
        ])
        expect(outcomes.map(outcome => outcome.status)).toEqual(['fulfilled', 'rejected', 'fulfilled'])
        expect([await store.load('a'), await store.load('b'), await store.load('c')].map(one => one?.seq)).toEqual([
          1,
          undefined,
          1,
        ])
      })

      test('a delivery seen before is a duplicate, in another case of its chat and at a stale number too, and writes nothing', async () => {
        const again = { chat: family, delivery: { channel: 'web', deliveryId: 'd1' } }
        expect(await store.commit(step('sun', 0, again))).toBe('committed')
        expect(await store.commit(step('sun', 1, { ...again, outbox: [row('x', 'c')] }))).toBe('duplicate')
        expect(await store.commit(step('sun', 0, again))).toBe('duplicate')
        expect(await store.commit(step('moon', 0, { ...again, alarms: alarms({ a: at(1) }) }))).toBe('duplicate')
        expect((await store.load('sun'))?.seq).toBe(1)
        expect(await store.outboxOf('sun')).toEqual([])
        expect(await store.load('moon')).toBeUndefined()
        expect(await store.nextDue()).toBeUndefined()
      })

      test('the same delivery id of two channels is two messages, and a step without one is never a duplicate', async () => {
        expect(await store.commit(step('a', 0, { delivery: { channel: 'web', deliveryId: '1' } }))).toBe('committed')
        expect(await store.commit(step('b', 0, { delivery: { channel: 'term', deliveryId: '1' } }))).toBe('committed')
        expect(await store.commit(step('a', 1))).toBe('committed')
        expect(await store.commit(step('b', 1))).toBe('committed')
      })

      test('a refused conflict does not use up its delivery', async () => {
        const delivery = { channel: 'web', deliveryId: 'd1' }
        expect(await store.commit(step('sun', 3, { delivery }))).toBe('conflict')
        expect(await store.commit(step('sun', 0, { delivery }))).toBe('committed')
      })

      test('a step from any number but the present one is a conflict and writes nothing', async () => {
        await store.commit(step('sun', 0))
        await store.commit(step('sun', 1))
        for (const from of [0, 1, 3]) {
          const late = step('sun', from, {
            state: 'late',
            outbox: [row(`l${from}`, 'c')],
            alarms: alarms({ l: at(1) }),
          })
          expect(await store.commit(late)).toBe('conflict')
        }
        expect(await store.commit(step('new', 1))).toBe('conflict')
        expect(await store.load('sun')).toMatchObject({ seq: 2, state: step('sun', 1).state })
        expect(await store.outboxOf('sun')).toEqual([])
        expect(await store.nextDue()).toBeUndefined()
        expect(await store.load('new')).toBeUndefined()
      })

      test('of many steps at once of one case exactly one is committed, the others conflict', async () => {
        await store.commit(step('sun', 0))
        const outcomes = await Promise.all(
          Array.from({ length: 40 }, (_, n) =>
            store.commit(step('sun', 1, { state: `by ${n}`, outbox: [row(`e${n}`, 'c')] })),
          ),
        )
        expect(outcomes.filter(outcome => outcome === 'committed')).toHaveLength(1)
        expect(outcomes.filter(outcome => outcome === 'conflict')).toHaveLength(39)
        const winner = outcomes.indexOf('committed')
        expect(await store.load('sun')).toMatchObject({ seq: 2, state: `by ${winner}` })
        expect((await store.outboxOf('sun')).map(one => one.effectId)).toEqual([`e${winner}`])
      })

      test('64 commits at once of different cases are all kept', async () => {
        const names = Array.from({ length: 64 }, (_, n) => `case ${n}`)
        const outcomes = await Promise.all(
          names.map(one =>
            store.commit(step(one, 0, { outbox: [row(`${one}/1/0`, one)], alarms: alarms({ a: at(9) }) })),
          ),
        )
        expect(new Set(outcomes)).toEqual(new Set(['committed']))
        store = await disk.reopen()
        for (const one of names) expect((await store.load(one))?.seq).toBe(1)
        expect(await store.due(at(9), 999)).toHaveLength(64)
        expect(await store.claim('family', night, minute, 999)).toHaveLength(64)
      })

      test('a read started before the answer sees the step whole or not at all, and never what is not kept', async () => {
        const committing = store.commit(step('sun', 0, { outbox: [row('sun/1/0', 'c')] }))
        const seen = await store.load('sun')
        if (seen !== undefined) {
          expect(seen).toMatchObject({ seq: 1, state: step('sun', 0).state })
          expect(await store.outboxOf('sun')).toHaveLength(1)
        }
        expect(await committing).toBe('committed')
        expect(await store.load('sun')).toBeDefined()
      })

      test('content comes back letter for letter', async () => {
        const odd = JSON.stringify({
          text: 'Ñ “quote” \' " \\ \n 𝒳 👶 ;DROP TABLE case_; --',
          nil: null,
          big: 2 ** 53 - 1,
        })
        await store.commit(step('sun', 0, { state: odd, event: odd, effects: odd }))
        expect((await store.load('sun'))?.state).toBe(odd)
        expect(await store.history('sun')).toMatchObject([{ event: odd, effects: odd }])
      })
    })

    describe('cases', () => {
      const chat = family

      test('of a chat come latest changed first, closed ones too, other chats not', async () => {
        await store.commit(step('first', 0, { chat, at: at(1) }))
        await store.commit(step('second', 0, { chat, at: at(5), closed: true }))
        await store.commit(step('third', 0, { chat, at: at(5) }))
        await store.commit(step('other', 0, { chat: { channel: 'term', chat: 'family' }, at: at(6) }))
        const order = async () => (await store.casesOf(chat)).map(one => one.caseId)
        expect(await order()).toEqual(['third', 'second', 'first'])
        await store.commit(step('first', 1, { chat, at: at(7) }))
        expect(await order()).toEqual(['first', 'third', 'second'])
        expect(await store.casesOf({ channel: 'web', chat: 'nobody' })).toEqual([])
      })

      test('recent are the open ones of any age and those closed at or after the instant', async () => {
        await store.commit(step('old-open', 0, { at: at(0) }))
        await store.commit(step('old-closed', 0, { at: at(9), closed: true }))
        await store.commit(step('edge-closed', 0, { at: at(10), closed: true }))
        await store.commit(step('late-closed', 0, { at: at(11), closed: true }))
        expect((await store.recent(at(10))).map(one => one.caseId)).toEqual(['late-closed', 'edge-closed', 'old-open'])
      })

      test('their heads are the same cases in the same order, without what they hold', async () => {
        await store.commit(step('old-open', 0, { at: at(0) }))
        await store.commit(step('old-closed', 0, { at: at(9), closed: true }))
        await store.commit(step('edge-closed', 0, { at: at(10), closed: true }))
        await store.commit(step('old-open', 1, { at: at(12) }))
        const recent = await store.recent(at(10))
        expect(recent).toHaveLength(2)
        expect(await store.recentHeads(at(10))).toEqual(recent.map(({ state: _state, ...head }) => head))
      })

      test('heads are all cases in the order of their ids, open or closed, page after page', async () => {
        const many = Array.from({ length: 600 }, (_, number) => (number * 7) % 600)
        await Promise.all(
          many.map(number => store.commit(step(`c${number}`, 0, { at: at(number), closed: number % 2 === 0 }))),
        )
        const found: string[] = []
        for await (const { caseId } of store.heads()) found.push(caseId)
        expect(found).toEqual(many.map(number => `c${number}`).sort())
        const [c7] = await store.recentHeads(at(1)).then(heads => heads.filter(head => head.caseId === 'c7'))
        for await (const head of store.heads()) if (head.caseId === 'c7') expect(head).toEqual(c7)
      })

      test('history is every event of the case in order', async () => {
        for (const from of [0, 1, 2, 3]) {
          await store.commit(step('sun', from, { event: `"e${from}"` }))
          await store.commit(step('moon', from))
        }
        expect((await store.history('sun')).map(one => [one.seq, one.event])).toEqual([
          [1, '"e0"'],
          [2, '"e1"'],
          [3, '"e2"'],
          [4, '"e3"'],
        ])
        expect(await store.history('nobody')).toEqual([])
      })
    })

    describe('outbox', () => {
      const claimed = async (seconds: number, limit = 99) =>
        (await store.claim('family', at(seconds), minute, limit)).map(one => one.effectId)
      const one = async (caseId = 'sun') => (await store.outboxOf(caseId))[0]

      test('only the oldest unsent row of a queue is claimed, the next one once it is sent', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a'), row('a2', 'a'), row('b1', 'b')] }))
        await store.commit(step('sun', 1, { outbox: [row('a3', 'a')] }))
        expect(await claimed(0)).toEqual(['a1', 'b1'])
        expect(await claimed(0)).toEqual([])
        await store.settle('a1', { kind: 'sent', at: at(1) })
        expect(await claimed(1)).toEqual(['a2'])
        await store.settle('a2', { kind: 'sent', at: at(2) })
        expect(await claimed(2)).toEqual(['a3'])
      })

      test('a row that waits for another try holds back what comes after it in its queue', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a'), row('a2', 'a'), row('b1', 'b')] }))
        await claimed(0)
        await store.settle('a1', { kind: 'again', notBefore: at(30), outcomeUnknown: false })
        expect(await claimed(29)).toEqual([])
        expect(await claimed(30)).toEqual(['a1'])
      })

      test('a row given up stands in nobody’s way and says why', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a'), row('a2', 'a')] }))
        await claimed(0)
        await store.settle('a1', { kind: 'given-up', at: at(1), reason: 'blocked' })
        expect(await claimed(1)).toEqual(['a2'])
        expect(await one()).toMatchObject({ status: 'given-up', reason: 'blocked' })
      })

      test('rows not yet due are left, and due ones come longest due first, up to the limit', async () => {
        const later = (id: string, seconds: number) => row(id, id, { notBefore: at(seconds) })
        await store.commit(step('sun', 0, { outbox: [later('c', 30), later('a', 10), later('b', 20), later('z', 99)] }))
        expect(await claimed(9)).toEqual([])
        expect(await claimed(30, 2)).toEqual(['a', 'b'])
        expect(await claimed(30, 2)).toEqual(['c'])
      })

      test('the lanes are apart: a stuck family queue does not hold a page of the same name', async () => {
        const page = row('p1', 'q', { lane: 'page' })
        await store.commit(step('sun', 0, { outbox: [row('f1', 'q'), page, row('f2', 'q')] }))
        expect((await store.claim('page', at(0), minute, 9)).map(row => row.effectId)).toEqual(['p1'])
        expect(await claimed(0)).toEqual(['f1'])
      })

      test('a lease ends at its last instant; a row never rendered comes back with nothing unknown', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        expect((await store.claim('family', at(0), minute, 9))[0]).toMatchObject({ tries: 1, outcomeUnknown: false })
        expect(await claimed(59.999)).toEqual([])
        const [again] = await store.claim('family', at(60), minute, 9)
        expect(again).toMatchObject({ effectId: 'a1', tries: 2, outcomeUnknown: false })
      })

      test('a lease that ended after rendering comes back with the same text, outcome unknown', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        await claimed(0)
        await store.rendered('a1', 'Cover the opening', at(1))
        const [again] = await store.claim('family', at(60), minute, 9)
        expect(again).toMatchObject({ content: 'Cover the opening', renderedAt: at(1), outcomeUnknown: true, tries: 2 })
      })

      test('rendered text is kept over failed tries, and a later rendering replaces it', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        await claimed(0)
        await store.rendered('a1', 'by 02:00', at(1))
        await store.settle('a1', { kind: 'again', notBefore: at(10), outcomeUnknown: false })
        const [second] = await store.claim('family', at(10), minute, 9)
        expect(second).toMatchObject({ content: 'by 02:00', renderedAt: at(1), outcomeUnknown: false, tries: 2 })
        await store.rendered('a1', 'by 03:00', at(11))
        await store.settle('a1', { kind: 'sent', at: at(12) })
        expect(await one()).toMatchObject({ content: 'by 03:00', renderedAt: at(11), status: 'sent', sentAt: at(12) })
      })

      test('once a try may have arrived, that stays said however later tries end', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        await claimed(0)
        await store.settle('a1', { kind: 'again', notBefore: at(10), outcomeUnknown: true })
        expect((await store.claim('family', at(10), minute, 9))[0]?.outcomeUnknown).toBe(true)
        await store.settle('a1', { kind: 'again', notBefore: at(20), outcomeUnknown: false })
        expect((await store.claim('family', at(20), minute, 9))[0]?.outcomeUnknown).toBe(true)
      })

      test('sent and given up are final', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        await claimed(0)
        await store.rendered('a1', 'said', at(1))
        await store.settle('a1', { kind: 'sent', at: at(2) })
        await store.settle('a1', { kind: 'again', notBefore: at(3), outcomeUnknown: true })
        await store.settle('a1', { kind: 'given-up', at: at(4), reason: 'no' })
        await store.rendered('a1', 'something else', at(5))
        expect(await one()).toMatchObject({ status: 'sent', sentAt: at(2), content: 'said', outcomeUnknown: false })
        expect(await claimed(999)).toEqual([])
      })

      test('a claim that lost its lease cannot take the row from the later claim, yet its "sent" counts', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a'), row('b1', 'b')] }))
        await claimed(0)
        await claimed(60)
        await store.settle('a1', { kind: 'again', notBefore: at(60), outcomeUnknown: false }, 1)
        await store.settle('b1', { kind: 'given-up', at: at(61), reason: 'late' }, 1)
        expect(await claimed(61)).toEqual([])
        await store.settle('a1', { kind: 'sent', at: at(62) }, 1)
        await store.settle('b1', { kind: 'again', notBefore: at(63), outcomeUnknown: false }, 2)
        expect(await claimed(63)).toEqual(['b1'])
        expect((await one())?.status).toBe('sent')
      })

      test('a row nobody knows is an error, not silence', async () => {
        await expect(store.settle('nothing', { kind: 'sent', at: night })).rejects.toThrow(/nothing/)
        await expect(store.rendered('nothing', 'x', night)).rejects.toThrow(/nothing/)
      })

      test('released leases can be claimed at once; what may have been sent says so, what is settled stays', async () => {
        await store.commit(step('sun', 0, { outbox: ['a', 'b', 'c', 'd'].map(id => row(`${id}1`, id)) }))
        expect(await claimed(0, 3)).toEqual(['a1', 'b1', 'c1'])
        await store.rendered('a1', 'Cover it', at(1))
        await store.settle('c1', { kind: 'sent', at: at(1) })
        store = await disk.reopen()
        expect(await store.releaseLeases()).toBe(2)
        expect(await store.releaseLeases()).toBe(0)
        const again = await store.claim('family', at(2), minute, 9)
        expect(again.map(({ effectId, tries, outcomeUnknown }) => [effectId, tries, outcomeUnknown])).toEqual([
          ['a1', 2, true],
          ['b1', 2, false],
          ['d1', 1, false],
        ])
        expect(again[0]?.content).toBe('Cover it')
        expect(await claimed(2)).toEqual([])
      })

      test('a released row that waits for another try waits on', async () => {
        await store.commit(step('sun', 0, { outbox: [row('a1', 'a')] }))
        await claimed(0)
        await store.settle('a1', { kind: 'again', notBefore: at(30), outcomeUnknown: true })
        expect(await store.releaseLeases()).toBe(0)
        expect(await claimed(29)).toEqual([])
        expect(await claimed(30)).toEqual(['a1'])
      })

      test('two claims at once never lease one row twice', async () => {
        const rows = Array.from({ length: 20 }, (_, n) => row(`r${n}`, `q${n}`))
        await store.commit(step('sun', 0, { outbox: rows }))
        const claims = await Promise.all([1, 2, 3, 4].map(() => store.claim('family', night, minute, 7)))
        const ids = claims.flat().map(one => one.effectId)
        expect(ids).toHaveLength(20)
        expect(new Set(ids).size).toBe(20)
      })
    })

    describe('alarms', () => {
      const due = async (seconds: number) => (await store.due(at(seconds), 99)).map(one => `${one.caseId} ${one.name}`)

      test('are due at their instant and not before, earliest first', async () => {
        await store.commit(step('sun', 0, { alarms: alarms({ late: at(30), early: at(10) }) }))
        await store.commit(step('moon', 0, { alarms: alarms({ between: at(20) }) }))
        expect(await due(9.999)).toEqual([])
        expect(await due(10)).toEqual(['sun early'])
        expect(await due(30)).toEqual(['sun early', 'moon between', 'sun late'])
        expect((await store.due(at(30), 2)).map(one => one.name)).toEqual(['early', 'between'])
        expect(await store.nextDue()).toBe(at(10))
      })

      test('stay until a later step of their case replaces or cancels them by name', async () => {
        await store.commit(step('sun', 0, { alarms: alarms({ check: at(10), leave: at(20) }) }))
        await store.commit(step('moon', 0, { alarms: alarms({ check: at(15) }) }))
        expect(await due(20)).toEqual(await due(20))
        await store.commit(step('sun', 1, { alarms: alarms({ check: at(40) }, ['leave']) }))
        expect(await due(39)).toEqual(['moon check'])
        expect(await due(40)).toEqual(['moon check', 'sun check'])
        await store.commit(step('moon', 1, { alarms: alarms({}, ['check', 'never set']) }))
        expect(await store.nextDue()).toBe(at(40))
      })

      test('a name both cancelled and set in one step is set', async () => {
        await store.commit(step('sun', 0, { alarms: alarms({ check: at(10) }) }))
        await store.commit(step('sun', 1, { alarms: alarms({ check: at(50) }, ['check']) }))
        expect(await store.due(at(99), 9)).toEqual([{ caseId: 'sun', name: 'check', due: at(50) }])
      })

      test('are found by case and name, as they stand now', async () => {
        await store.commit(step('sun', 0, { alarms: alarms({ check: at(10) }) }))
        await store.commit(step('moon', 0, { alarms: alarms({ leave: at(15) }) }))
        expect(await store.alarmOf?.('sun', 'check')).toBe(at(10))
        await store.commit(step('sun', 1, { alarms: alarms({ check: at(40) }) }))
        expect(await store.alarmOf?.('sun', 'check')).toBe(at(40))
        await store.commit(step('sun', 2, { alarms: alarms({}, ['check']) }))
        expect(await store.alarmOf?.('sun', 'check')).toBeUndefined()
        expect(await store.alarmOf?.('sun', 'leave')).toBeUndefined()
        expect(await store.alarmOf?.('nobody', 'leave')).toBeUndefined()
      })

      test('none is none', async () => {
        expect(await store.nextDue()).toBeUndefined()
        expect(await store.due(at(9), 9)).toEqual([])
      })
    })

    describe('listeners', () => {
      test('hear of steps and of settled rows, not of refused steps or claims, and can stop listening', async () => {
        let heard = 0
        const stop = store.onCommitted(() => {
          heard += 1
        })
        const heardAfter = async (work: Promise<unknown>) => {
          await work
          await new Promise(setImmediate)
          return heard
        }
        expect(await heardAfter(store.commit(step('sun', 0, { outbox: [row('a1', 'a')] })))).toBe(1)
        expect(await heardAfter(store.commit(step('sun', 0)))).toBe(1)
        expect(await heardAfter(store.claim('family', night, minute, 9))).toBe(1)
        expect(await heardAfter(store.settle('a1', { kind: 'sent', at: at(1) }))).toBe(2)
        stop()
        expect(await heardAfter(store.commit(step('sun', 1)))).toBe(2)
      })

      test('find the step already committed', async () => {
        const seen = new Promise(found => {
          store.onCommitted(() => found(store.load('sun')))
        })
        await store.commit(step('sun', 0))
        expect(await seen).toMatchObject({ seq: 1 })
      })
    })

    describe('closing and opening again', () => {
      test('keeps cases, texts, leases, deliveries and alarms', async () => {
        const delivery = { channel: 'web', deliveryId: 'd1' }
        await store.commit(
          step('sun', 0, { delivery, outbox: [row('a1', 'a'), row('b1', 'b')], alarms: alarms({ c: at(5) }) }),
        )
        await store.claim('family', night, minute, 1)
        await store.rendered('a1', 'said', at(1))
        const before = [await store.load('sun'), await store.history('sun'), await store.outboxOf('sun')]
        store = await disk.reopen()
        expect([await store.load('sun'), await store.history('sun'), await store.outboxOf('sun')]).toEqual(before)
        expect(await store.commit(step('sun', 1, { delivery }))).toBe('duplicate')
        expect((await store.claim('family', at(59), minute, 9)).map(one => one.effectId)).toEqual(['b1'])
        expect((await store.claim('family', at(60), minute, 9))[0]).toMatchObject({
          content: 'said',
          outcomeUnknown: true,
        })
        expect(await store.nextDue()).toBe(at(5))
      })

      test('writes queued at closing are written and answered; later calls reject', async () => {
        const committing = Promise.all(Array.from({ length: 70 }, (_, n) => store.commit(step(`c${n}`, 0))))
        expect(store.queued()).toBe(70)
        const old = store
        await old.close()
        await old.close()
        expect(new Set(await committing)).toEqual(new Set(['committed']))
        await expect(old.load('c1')).rejects.toThrow(/closed/)
        await expect(old.commit(step('c1', 1))).rejects.toThrow(/closed/)
        store = await disk.reopen()
        expect((await store.load('c69'))?.seq).toBe(1)
      })
    })
  })
}
