import type { ChatRef } from '../../src/case/message.ts'
import type {
  AlarmRow,
  Lane,
  OutboxRow,
  SealableStore,
  Settled,
  StepRecord,
  StoredCase,
  StoredEvent,
} from '../../src/store/store.ts'
import type { Instant } from '../../src/time/instant.ts'

/** Methods a fault can be planted in. */
export type StoreCall = Exclude<keyof SealableStore<string>, 'onCommitted' | 'queued' | 'close'>

/** What goes wrong at one call. Calls are counted per method from 1, over the life of the disk. */
export interface PlannedFault {
  readonly call: StoreCall
  readonly nth: number
  /**
   * `refused`: rejects, nothing written. `answer-lost`: written and durable, yet the caller is rejected.
   * `silent`: nothing written and the caller is never answered.
   */
  readonly how: 'refused' | 'answer-lost' | 'silent'
}

export interface MemoryStoreOptions {
  readonly faults?: readonly PlannedFault[]
  /** Runs the sync later; default setImmediate. A simulated night passes its own queue, so that seeds repeat. */
  readonly defer?: (sync: () => void) => void
}

/** The store in memory with a disk that can lose power: a synced image, and writes not yet part of it. */
export interface MemoryStore extends SealableStore<string> {
  /**
   * Power cut: only the synced image is left, with the first `kept` of the pending writes (a disk may have taken
   * some in, though nobody was told). Callers still waiting are never answered; this handle rejects from now on.
   * @returns the store as the next start of the program finds it
   */
  crash(kept?: number): MemoryStore
  plan(fault: PlannedFault): void
}

/** The disk's content. Maps keep order of insertion: cases by opening, outbox rows by place. */
interface Image {
  readonly cases: Map<string, StoredCase>
  readonly events: Map<string, StoredEvent[]>
  readonly delivered: Set<string>
  readonly outbox: Map<string, HeldRow>
  readonly alarms: Map<string, AlarmRow>
}

type HeldRow = OutboxRow & { readonly leasedUntil?: number }

interface Pending {
  readonly apply: (image: Image) => unknown
  readonly answer: (value: unknown) => void
  readonly reject: (reason: unknown) => void
}

interface Disk {
  readonly image: Image
  readonly faults: PlannedFault[]
  readonly calls: Map<StoreCall, number>
  readonly defer: (sync: () => void) => void
}

export function memoryStore(options: MemoryStoreOptions = {}): MemoryStore {
  return onDisk({
    image: { cases: new Map(), events: new Map(), delivered: new Set(), outbox: new Map(), alarms: new Map() },
    faults: [...(options.faults ?? [])],
    calls: new Map(),
    defer: options.defer ?? setImmediate,
  })
}

function onDisk(disk: Disk): MemoryStore {
  const { image } = disk
  const pending: Pending[] = []
  const listeners = new Set<() => void>()
  let gone: string | undefined
  let armed = false

  function sync(): void {
    armed = false
    for (const one of pending.splice(0)) settleOne(one)
  }

  /** `apply` checks before it writes: one that throws has written nothing. */
  function settleOne(one: Pending): void {
    try {
      one.answer(one.apply(image))
    } catch (error) {
      one.reject(error)
    }
  }

  function faultOf(call: StoreCall): PlannedFault['how'] | undefined {
    const nth = (disk.calls.get(call) ?? 0) + 1
    disk.calls.set(call, nth)
    return disk.faults.find(fault => fault.call === call && fault.nth === nth)?.how
  }

  function write<T>(call: StoreCall, apply: (image: Image) => T): Promise<T> {
    if (gone !== undefined) return Promise.reject(new Error(gone))
    const fault = faultOf(call)
    if (fault === 'refused') return Promise.reject(new Error(`planned fault: ${call} refused`))
    if (fault === 'silent') return new Promise(() => undefined)
    return new Promise<T>((answer, reject) => {
      const lost = () => reject(new Error(`planned fault: the answer to ${call} is lost`))
      pending.push({ apply, answer: fault === 'answer-lost' ? lost : value => answer(value as T), reject })
      if (armed) return
      armed = true
      disk.defer(() => {
        if (gone === undefined) sync()
      })
    })
  }

  function read<T>(call: StoreCall, look: (image: Image) => T): Promise<T> {
    if (gone !== undefined) return Promise.reject(new Error(gone))
    const fault = faultOf(call)
    if (fault === 'silent') return new Promise(() => undefined)
    if (fault !== undefined) return Promise.reject(new Error(`planned fault: ${call} refused`))
    return Promise.resolve(look(image))
  }

  const notify = () => {
    for (const listener of listeners) queueMicrotask(listener)
  }

  return {
    load: caseId => read('load', ({ cases }) => cases.get(caseId)),
    casesOf: chat => read('casesOf', ({ cases }) => latestFirst([...cases.values()].filter(one => isOf(one, chat)))),
    recent: since =>
      read('recent', ({ cases }) =>
        latestFirst([...cases.values()].filter(one => !one.closed || one.changedAt >= since)),
      ),
    recentHeads: since =>
      read('recentHeads', ({ cases }) =>
        latestFirst([...cases.values()].filter(one => !one.closed || one.changedAt >= since)).map(
          ({ state: _state, ...head }) => head,
        ),
      ),
    async *heads() {
      const heads = await read('recentHeads', ({ cases }) =>
        [...cases.values()].map(({ state: _state, ...head }) => head),
      )
      yield* heads.sort((a, b) => (a.caseId < b.caseId ? -1 : 1))
    },
    history: caseId => read('history', ({ events }) => [...(events.get(caseId) ?? [])]),
    event: (caseId, seq) => read('event', ({ events }) => events.get(caseId)?.find(one => one.seq === seq)),
    closedBefore: (olderThan, mark) =>
      read('closedBefore', ({ cases }) =>
        [...cases.values()]
          .filter(one => one.closed && one.changedAt < olderThan && one.state !== mark)
          .sort((a, b) => a.changedAt - b.changedAt)
          .map(one => one.caseId),
      ),
    outboxOf: caseId =>
      read('outboxOf', ({ outbox }) => [...outbox.values()].filter(row => row.caseId === caseId).map(shown)),
    due: (at, limit) =>
      read('due', ({ alarms }) => earliestFirst([...alarms.values()].filter(alarm => alarm.due <= at)).slice(0, limit)),
    nextDue: () => read('nextDue', ({ alarms }) => earliestFirst([...alarms.values()])[0]?.due),
    alarmOf: (caseId, name) => read('alarmOf', ({ alarms }) => alarms.get(alarmKey(caseId, name))?.due),

    commit: step =>
      write('commit', held => {
        const outcome = commitTo(held, step)
        if (outcome === 'committed') notify()
        return outcome
      }),
    claim: (lane, at, leaseMs, limit) => write('claim', held => claimFrom(held, lane, at, leaseMs, limit)),
    rendered: (effectId, content, renderedAt) =>
      write('rendered', ({ outbox }) => {
        const row = existing(outbox, effectId)
        if (row.status === 'waiting') outbox.set(effectId, { ...row, content, renderedAt })
      }),
    settle: (effectId, outcome, tries) =>
      write('settle', ({ outbox }) => {
        const row = existing(outbox, effectId)
        outbox.set(effectId, settled(row, outcome, tries))
        notify()
      }),

    probe: () => write('probe', () => undefined),
    releaseLeases: () => write('releaseLeases', ({ outbox }) => releaseIn(outbox)),
    forget: (caseId, mark, at) => write('forget', held => forgetIn(held, caseId, mark, at)),

    onCommitted: listener => {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
    queued: () => pending.length,
    close: async () => {
      if (gone !== undefined) return
      sync()
      gone = 'the store is closed'
    },
    crash: (kept = 0) => {
      for (const one of pending.slice(0, kept)) {
        settleOne({ apply: one.apply, answer: () => undefined, reject: () => undefined })
      }
      gone = 'the store is gone: the process was killed'
      listeners.clear()
      return onDisk(disk)
    },
    plan: fault => {
      disk.faults.push(fault)
    },
  }
}

function commitTo(image: Image, step: StepRecord): 'committed' | 'duplicate' | 'conflict' {
  const { caseId, delivery } = step
  const deliveryKey = delivery === undefined ? undefined : JSON.stringify([delivery.channel, delivery.deliveryId])
  if (deliveryKey !== undefined && image.delivered.has(deliveryKey)) return 'duplicate'
  if ((image.cases.get(caseId)?.seq ?? 0) !== step.from) return 'conflict'
  const effectIds = step.outbox.map(row => row.effectId)
  if (new Set(effectIds).size < effectIds.length || effectIds.some(id => image.outbox.has(id))) {
    throw new Error('an effect id is used twice')
  }
  const seq = step.from + 1
  const { chat, closed, state, at } = step
  image.cases.set(caseId, { caseId, chat: { ...chat }, seq, closed, changedAt: at, state })
  image.events.set(caseId, [
    ...(image.events.get(caseId) ?? []),
    { caseId, seq, at, event: step.event, effects: step.effects },
  ])
  if (deliveryKey !== undefined) image.delivered.add(deliveryKey)
  for (const row of step.outbox) {
    image.outbox.set(row.effectId, { ...row, caseId, seq, tries: 0, status: 'waiting', outcomeUnknown: false })
  }
  for (const name of step.alarms.cancel) image.alarms.delete(alarmKey(caseId, name))
  for (const { name, due } of step.alarms.set) image.alarms.set(alarmKey(caseId, name), { caseId, name, due })
  return 'committed'
}

function claimFrom({ outbox }: Image, lane: Lane, at: Instant, leaseMs: number, limit: number): readonly OutboxRow[] {
  const heads = new Map<string, HeldRow>()
  for (const row of outbox.values()) {
    if (row.status === 'waiting' && row.lane === lane && !heads.has(row.queue)) heads.set(row.queue, row)
  }
  const isFree = (row: HeldRow) => row.notBefore <= at && (row.leasedUntil ?? at) <= at
  const chosen = [...heads.values()].filter(isFree).sort((a, b) => a.notBefore - b.notBefore)
  return chosen.slice(0, limit).map(row => {
    const mayHaveArrived = row.leasedUntil !== undefined && row.renderedAt !== undefined
    const claimed: HeldRow = {
      ...row,
      tries: row.tries + 1,
      leasedUntil: at + leaseMs,
      outcomeUnknown: row.outcomeUnknown || mayHaveArrived,
    }
    outbox.set(row.effectId, claimed)
    return shown(claimed)
  })
}

function releaseIn(outbox: Image['outbox']): number {
  const leased = [...outbox.values()].filter(row => row.status === 'waiting' && row.leasedUntil !== undefined)
  for (const row of leased) {
    outbox.set(row.effectId, { ...shown(row), outcomeUnknown: row.outcomeUnknown || row.renderedAt !== undefined })
  }
  return leased.length
}

function forgetIn({ cases, events, outbox, alarms }: Image, caseId: string, mark: string, at: Instant): void {
  for (const [key, alarm] of alarms) if (alarm.caseId === caseId) alarms.delete(key)
  const held = cases.get(caseId)
  if (held === undefined || held.state === mark) return
  cases.set(caseId, { ...held, closed: true, seq: held.seq + 1, state: mark })
  events.set(
    caseId,
    (events.get(caseId) ?? []).map(one => ({ ...one, event: mark, effects: mark })),
  )
  for (const row of outbox.values()) {
    if (row.caseId !== caseId) continue
    const ended = settled(row, { kind: 'given-up', at, reason: 'case-erased' }, undefined)
    outbox.set(row.effectId, { ...ended, effect: mark, ...(row.content === undefined ? {} : { content: mark }) })
  }
}

function settled(row: HeldRow, outcome: Settled, tries: number | undefined): HeldRow {
  if (row.status !== 'waiting') return row
  if (tries !== undefined && tries !== row.tries && outcome.kind !== 'sent') return row
  const free = shown(row)
  switch (outcome.kind) {
    case 'sent':
      return { ...free, status: 'sent', sentAt: outcome.at }
    case 'given-up':
      return { ...free, status: 'given-up', reason: outcome.reason }
    case 'again':
      return {
        ...free,
        notBefore: outcome.notBefore,
        outcomeUnknown: row.outcomeUnknown || outcome.outcomeUnknown,
      }
  }
}

function existing(outbox: Image['outbox'], effectId: string): HeldRow {
  const row = outbox.get(effectId)
  if (row === undefined) throw new Error(`outbox: no row "${effectId}"`)
  return row
}

const shown = ({ leasedUntil: _, ...row }: HeldRow): OutboxRow => row
const isOf = (one: StoredCase, { channel, chat }: ChatRef) => one.chat.channel === channel && one.chat.chat === chat
const alarmKey = (caseId: string, name: string) => JSON.stringify([caseId, name])
const inOrder = (a: string, b: string) => (a < b ? -1 : a > b ? 1 : 0)

/** Reversed first: of cases changed together the latest opened leads (sorting keeps the order of equals). */
const latestFirst = (cases: StoredCase[]) => cases.reverse().sort((a, b) => b.changedAt - a.changedAt)

const earliestFirst = (alarms: AlarmRow[]) =>
  alarms.sort((a, b) => a.due - b.due || inOrder(a.caseId, b.caseId) || inOrder(a.name, b.name))
