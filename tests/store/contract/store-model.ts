import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { Lane, Settled, WholeStore } from '../../../src/store/store.ts'
import { alarms, at, row, step } from '../step-record.ts'
import type { StoreOnDisk } from './store-contract.ts'

/** One thing done to the store; small numbers, so that sequences collide often. */
type Act =
  | {
      readonly act: 'commit'
      readonly of: number
      /** How far the step's number is off the case's: 0 fits. */
      readonly off: number
      readonly delivery: number
      readonly rows: readonly number[]
      readonly set: readonly number[]
      readonly cancel: readonly number[]
    }
  | { readonly act: 'claim'; readonly lane: Lane; readonly lease: number; readonly limit: number }
  | { readonly act: 'render' | 'sent' | 'again' | 'unknown' | 'give-up'; readonly row: number }
  | { readonly act: 'wait'; readonly seconds: number }
  | { readonly act: 'reopen' }

/** A queue is of one chat, so the cases that share queues are of one chat too. */
const chat = { channel: 'web', chat: 'family' }

const small = (max: number) => fc.nat({ max })
const act: fc.Arbitrary<Act> = fc.oneof(
  {
    weight: 6,
    arbitrary: fc.record({
      act: fc.constant('commit' as const),
      of: small(2),
      off: fc.constantFrom(0, 0, 0, 0, 0, 0, -1, 1),
      delivery: small(60),
      rows: fc.array(small(2), { maxLength: 3 }),
      set: fc.array(small(2), { maxLength: 2 }),
      cancel: fc.array(small(2), { maxLength: 2 }),
    }),
  },
  {
    weight: 3,
    arbitrary: fc.record({
      act: fc.constant('claim' as const),
      lane: fc.constantFrom<Lane>('page', 'family'),
      lease: small(4),
      limit: small(3),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({ act: fc.constantFrom('render', 'sent', 'again', 'unknown', 'give-up'), row: small(99) }),
  },
  { weight: 2, arbitrary: fc.record({ act: fc.constant('wait' as const), seconds: small(3) }) },
  { weight: 1, arbitrary: fc.constant({ act: 'reopen' as const }) },
)

interface ModelRow {
  id: string
  lane: Lane
  queue: string
  due: number
  leased: number | undefined
  tries: number
  text: string | undefined
  unknown: boolean
  status: 'waiting' | 'sent' | 'given-up'
}

/** What the store ought to hold: plain lists, scanned from the front. */
class Model {
  now = 0
  readonly seqs = [0, 0, 0]
  readonly deliveries: number[] = []
  readonly rows: ModelRow[] = []
  readonly alarms: { of: number; name: number; due: number }[] = []

  commit(one: Act & { act: 'commit' }): string {
    if (this.deliveries.includes(one.delivery)) return 'duplicate'
    if (one.off !== 0) return 'conflict'
    const seq = (this.seqs[one.of] ?? 0) + 1
    this.deliveries.push(one.delivery)
    this.seqs[one.of] = seq
    one.rows.forEach((queue, place) => {
      const id = effectId(one.of, seq, place)
      const [lane, due] = [laneOf(queue), this.now + place]
      this.rows.push({
        id,
        lane,
        queue: queueOf(queue),
        due,
        leased: undefined,
        tries: 0,
        text: undefined,
        unknown: false,
        status: 'waiting',
      })
    })
    for (const name of one.cancel) this.drop(one.of, name)
    for (const name of one.set) {
      this.drop(one.of, name)
      this.alarms.push({ of: one.of, name, due: this.now + name })
    }
    return 'committed'
  }

  claim({ lane, lease, limit }: Act & { act: 'claim' }): string[] {
    const free: ModelRow[] = []
    const seen: string[] = []
    for (const one of this.rows) {
      if (one.status !== 'waiting' || one.lane !== lane || seen.includes(one.queue)) continue
      seen.push(one.queue)
      if (one.due <= this.now && (one.leased === undefined || one.leased <= this.now)) free.push(one)
    }
    const chosen = free.sort((a, b) => a.due - b.due).slice(0, limit)
    for (const one of chosen) {
      one.tries += 1
      if (one.leased !== undefined && one.text !== undefined) one.unknown = true
      one.leased = this.now + lease
    }
    return chosen.map(({ id }) => id)
  }

  private drop(of: number, name: number): void {
    const index = this.alarms.findIndex(alarm => alarm.of === of && alarm.name === name)
    if (index >= 0) this.alarms.splice(index, 1)
  }
}

const effectId = (of: number, seq: number, place: number) => `case ${of}/${seq}/${place}`
const laneOf = (queue: number): Lane => (queue === 0 ? 'page' : 'family')
const queueOf = (queue: number) => `queue ${queue}`
const settledAs: Record<'sent' | 'again' | 'unknown' | 'give-up', (now: number) => Settled> = {
  sent: now => ({ kind: 'sent', at: at(now) }),
  again: now => ({ kind: 'again', notBefore: at(now + 2), outcomeUnknown: false }),
  unknown: now => ({ kind: 'again', notBefore: at(now + 1), outcomeUnknown: true }),
  'give-up': now => ({ kind: 'given-up', at: at(now), reason: 'none' }),
}

async function touchRow(store: WholeStore, model: Model, one: { act: keyof typeof settledAs | 'render'; row: number }) {
  const found = model.rows[one.row % Math.max(1, model.rows.length)]
  if (found === undefined) return
  if (one.act === 'render') {
    const text = `text at ${model.now}`
    await store.rendered(found.id, text, at(model.now))
    if (found.status === 'waiting') found.text = text
    return
  }
  const outcome = settledAs[one.act](model.now)
  await store.settle(found.id, outcome)
  if (found.status !== 'waiting') return
  found.leased = undefined
  if (outcome.kind === 'again') {
    found.due = model.now + (one.act === 'again' ? 2 : 1)
    found.unknown ||= outcome.outcomeUnknown
  } else found.status = outcome.kind
}

async function agree(store: WholeStore, model: Model): Promise<void> {
  for (const of of [0, 1, 2]) {
    expect((await store.load(`case ${of}`))?.seq ?? 0).toBe(model.seqs[of])
    expect(await store.history(`case ${of}`)).toHaveLength(model.seqs[of] ?? -1)
    const mine = model.rows.filter(({ id }) => id.startsWith(`case ${of}/`))
    const theirs = await store.outboxOf(`case ${of}`)
    const inShort = theirs.map(one => [
      one.effectId,
      one.status,
      one.tries,
      one.content,
      one.outcomeUnknown,
      one.notBefore,
    ])
    expect(inShort).toEqual(mine.map(one => [one.id, one.status, one.tries, one.text, one.unknown, at(one.due)]))
  }
  const due = model.alarms
    .map(({ of, name, due }) => ({ caseId: `case ${of}`, name: `alarm ${name}`, due: at(due) }))
    .sort((a, b) => a.due - b.due || a.caseId.localeCompare(b.caseId) || a.name.localeCompare(b.name))
  expect(await store.nextDue()).toBe(due[0]?.due)
  for (const one of due) expect(await store.alarmOf?.(one.caseId, one.name)).toBe(one.due)
  expect(await store.due(at(model.now), 99)).toEqual(due.filter(alarm => alarm.due <= at(model.now)))
}

/** Random sequences of everything the port can do leave the store and a list-scanning model in the same state. */
export function storeAgreesWithModel(name: string, open: () => Promise<StoreOnDisk>, runs: number): void {
  test(`${name} agrees with a simple model after any sequence of calls`, async () => {
    let claims = 0
    await fc.assert(
      fc.asyncProperty(fc.array(act, { minLength: 20, maxLength: 50 }), async acts => {
        const disk = await open()
        try {
          let { store } = disk
          const model = new Model()
          for (const one of acts) {
            switch (one.act) {
              case 'commit': {
                const from = (model.seqs[one.of] ?? 0) + one.off
                if (from < 0) break
                const outbox = one.rows.map((queue, place) =>
                  row(effectId(one.of, from + 1, place), queueOf(queue), {
                    lane: laneOf(queue),
                    notBefore: at(model.now + place),
                  }),
                )
                const set = Object.fromEntries(one.set.map(name => [`alarm ${name}`, at(model.now + name)]))
                const delivery = { channel: 'web', deliveryId: String(one.delivery) }
                const changes = alarms(
                  set,
                  one.cancel.map(name => `alarm ${name}`),
                )
                const record = step(`case ${one.of}`, from, { chat, delivery, outbox, alarms: changes })
                expect(await store.commit(record)).toBe(model.commit(one))
                break
              }
              case 'claim': {
                const ids = (await store.claim(one.lane, at(model.now), one.lease * 1000, one.limit)).map(
                  one => one.effectId,
                )
                claims += ids.length
                expect(ids).toEqual(model.claim(one))
                break
              }
              case 'wait':
                model.now += one.seconds
                break
              case 'reopen':
                store = await disk.reopen()
                break
              default:
                await touchRow(store, model, one)
            }
            await agree(store, model)
          }
        } finally {
          await disk.discard()
        }
      }),
      { numRuns: runs },
    )
    // Sequences that never claim anything would agree about nothing.
    expect(claims).toBeGreaterThan(runs)
  }, 60_000)
}
