import type { ChatRef, Incoming, Outgoing } from '../../src/case/message.ts'
import type { Channel, Delivery } from '../../src/channels/channel.ts'
import type { Clinic, Person } from '../../src/oncall/clinic.ts'
import type { Page, Paged, Pager } from '../../src/pagers/pager.ts'
import type { Random } from '../../src/runtime/clock.ts'
import type { Fault } from '../../src/runtime/fault.ts'
import type { Machine } from '../../src/runtime/machine.ts'
import { createRuntime, type Runtime } from '../../src/runtime/runtime.ts'
import { sha256 } from '../../src/runtime/system-clock.ts'
import type { Store } from '../../src/store/store.ts'
import { type Instant, instant, seconds } from '../../src/time/instant.ts'
import { type FakeCase, fakeMachine, fakeUnderstand } from './fake-line.ts'
import { type HandClock, handClock } from './hand-clock.ts'
import { type MemoryStore, memoryStore } from './memory-store.ts'

/** Sunday 1 March 2026, 02:00 in New York. */
export const NIGHT = instant(Date.UTC(2026, 2, 1, 7, 0, 0))

const person = (id: string, name: string, pageAt: Person['pageAt']): Person => ({
  kind: 'person',
  id,
  name,
  job: 'feeding nurse',
  clinician: true,
  pageAt,
})

/** An invented clinic: two nurses, one of whom is paged at two addresses. */
export const aClinic: Clinic = {
  name: 'Harbour Feeding Clinic',
  zone: 'America/New_York',
  clock: '12h',
  demonstration: true,
  familyLanguages: ['en'],
  staffLanguage: 'en',
  numbers: {
    emergency: { number: '911' },
    familiesRing: { number: '+12125550110' },
    transport: { number: '+12125550111' },
  },
  hospitals: [],
  people: [
    person('amara', 'Nurse Amara Osei', [
      { pager: 'beeper', address: 'amara-1' },
      { pager: 'mail', address: 'amara-2' },
    ]),
    person('ben', 'Nurse Ben Adeyemi', [{ pager: 'beeper', address: 'ben-1' }]),
  ],
  desks: [],
  opening: {
    weekly: { monday: [], tuesday: [], wednesday: [], thursday: [], friday: [], saturday: [], sunday: [] },
    dates: {},
  },
  rota: { roles: {}, changes: [] },
  ladder: [
    { when: { kind: 'always' }, kind: 'person', id: 'amara' },
    { when: { kind: 'always' }, kind: 'person', id: 'ben' },
  ],
}

/** Repeats with its seed (a linear congruential generator; no secret hangs on it here). */
export function seededRandom(seed: number): Random {
  let state = seed >>> 0
  const next = () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return state
  }
  const bytes = (length: number) => Uint8Array.from({ length }, () => next() >>> 24)
  return {
    bytes,
    hex: length => Buffer.from(bytes(length)).toString('hex'),
    int: below => Math.floor((next() / 2 ** 32) * below),
  }
}

export type Deliver = (outgoing: Outgoing) => Promise<Delivery>
export type SendPage = (page: Page) => Promise<Paged>

export interface WorldOptions {
  readonly store?: MemoryStore
  /** Stands between runtime and store. */
  readonly through?: (store: MemoryStore) => Store
  readonly clock?: HandClock
  readonly machine?: Machine
  readonly seed?: number
  readonly queuedMax?: number
  readonly clinic?: Clinic
}

export interface World {
  readonly clock: HandClock
  readonly runtime: Runtime
  readonly store: MemoryStore
  readonly faults: Fault[]
  /** What reached a family, in order; only what was answered `delivered`. */
  readonly delivered: Outgoing[]
  /** Every try, whatever came of it. */
  readonly tries: Outgoing[]
  readonly paged: Page[]
  readonly pageTries: Page[]
  /** Set to decide what becomes of a try. */
  deliver: Deliver
  page: SendPage
  lastAlive: Instant | undefined
  start(): Promise<World>
  say(text: string, given?: Partial<ChatRef & { deliveryId: string }>): Promise<void>
  send(body: Incoming['body'], given?: Partial<ChatRef & { deliveryId: string }>): Promise<void>
  advance(ms: number): Promise<void>
  /** The only case of the chat, or the latest. */
  state(chat?: string): Promise<FakeCase>
  caseId(chat?: string): Promise<string>
  /** Kills the process and starts another on the same disk, `downMs` later. Writes under way are lost. */
  restart(downMs?: number): Promise<World>
}

export const CHAT: ChatRef = { channel: 'web', chat: 'family-1' }

export function world(options: WorldOptions = {}): World {
  const clock = options.clock ?? handClock(NIGHT)
  const store = options.store ?? memoryStore()
  const faults: Fault[] = []
  let message = 0
  let isDead = false

  const made: World = {
    clock,
    store,
    faults,
    delivered: [],
    tries: [],
    paged: [],
    pageTries: [],
    deliver: async () => ({ kind: 'delivered' }),
    page: async () => ({ kind: 'accepted' }),
    lastAlive: undefined,
    runtime: undefined as unknown as Runtime,
    async start() {
      await made.runtime.start()
      await made.runtime.idle()
      return made
    },
    say: (text, given = {}) => made.send({ kind: 'text', text }, given),
    async send(body, given = {}) {
      message += 1
      const deliveryId = `${options.seed ?? 0}-${clock.now()}-${message}`
      await made.runtime.receive({ ...CHAT, deliveryId, at: clock.now(), body, ...given })
      await made.runtime.idle()
    },
    advance: ms => clock.advance(ms, made.runtime.idle),
    async state(chat = CHAT.chat) {
      const [latest] = await store.casesOf({ channel: CHAT.channel, chat })
      if (latest === undefined) throw new Error(`chat "${chat}" has no case`)
      return JSON.parse(latest.state) as FakeCase
    },
    async caseId(chat = CHAT.chat) {
      const [latest] = await store.casesOf({ channel: CHAT.channel, chat })
      if (latest === undefined) throw new Error(`chat "${chat}" has no case`)
      return latest.caseId
    },
    async restart(downMs = 0) {
      isDead = true
      const disk = store.crash()
      await clock.advance(downMs, async () => undefined)
      const next = world({ ...options, store: disk, clock, seed: (options.seed ?? 0) + 1 })
      Object.assign(next, { deliver: made.deliver, page: made.page, lastAlive: made.lastAlive })
      return next.start()
    },
  }

  const channel: Channel = {
    id: 'web',
    deliver: async outgoing => {
      if (isDead) return new Promise(() => undefined)
      made.tries.push(outgoing)
      const delivery = await made.deliver(outgoing)
      if (delivery.kind === 'delivered') made.delivered.push(outgoing)
      return delivery
    },
    start: async () => undefined,
    stop: async () => undefined,
  }
  const pager = (id: string): Pager => ({
    id,
    page: async page => {
      if (isDead) return new Promise(() => undefined)
      made.pageTries.push(page)
      const paged = await made.page(page)
      if (paged.kind === 'accepted') made.paged.push(page)
      return paged
    },
    stop: async () => undefined,
  })

  const runtime = createRuntime({
    store: options.through?.(store) ?? store,
    machine: options.machine ?? fakeMachine(),
    clinic: () => options.clinic ?? aClinic,
    clock,
    random: seededRandom(options.seed ?? 1),
    hash: sha256,
    understand: fakeUnderstand,
    channelOf: id => (id === 'web' ? channel : undefined),
    pagerOf: id => (id === 'beeper' || id === 'mail' ? pager(id) : undefined),
    fitPage: (pieces, link) => [...pieces, link].join(' '),
    pageLink: ({ pageId, to }) => `https://clinic.example/p/${pageId}/${to}`,
    healthLink: () => 'https://clinic.example/health',
    onFault: fault => {
      if (!isDead) faults.push(fault)
    },
    lastAlive: {
      read: async () => made.lastAlive,
      write: async at => {
        if (!isDead) made.lastAlive = at
      },
    },
    askedAgainAfter: seconds(150),
    ...(options.queuedMax === undefined ? {} : { queuedMax: options.queuedMax }),
  })
  return Object.assign(made, { runtime })
}

/** The words of a reply's parts, without what the fake line adds to them. */
export const wordsOf = (outgoing: Outgoing): string[] =>
  outgoing.parts.map(part =>
    part.kind === 'question' ? `ask ${part.serial}` : part.kind === 'person' ? part.text : part.id,
  )
