import type { CaseEvent } from '../case/event.ts'
import type { ChatRef, Incoming } from '../case/message.ts'
import { type InboxItem, NotOurs, type Sharing, type Store } from '../store/store.ts'
import type { Applied } from './case-steps.ts'
import type { Clock, Random } from './clock.ts'
import { Busy, NotStored, type OnFault } from './fault.ts'
import type { Worker } from './worker.ts'

/** How often this process looks for what others brought it, in milliseconds; alone it looks seldom. */
const LOOKS_EVERY_MS = 100
const LOOKS_ALONE_EVERY_MS = 1_000
/** How often an answer of another process is looked for. */
const ASKS_EVERY_MS = 40
/** Longest wait for an answer of another process: it may have died, and its chats be taken by the next. */
const ANSWER_MS = 4_500
/** Things taken up at one look, of each part of the store. */
const AT_ONCE = 64
/** Seconds until whoever met a full inbox may come back. */
const FULL_COMES_BACK_S = 2

/** What one process hands another, as JSON. */
type Handed =
  | { readonly kind: 'receive'; readonly incoming: Incoming }
  | { readonly kind: 'act' | 'tell'; readonly caseId: string; readonly event: CaseEvent; readonly deliveryId: string }

export interface RelayDependencies {
  readonly store: Pick<Store, 'load'>
  readonly sharing: Sharing
  readonly worker: Worker
  readonly clock: Clock
  readonly random: Random
  readonly hash: (text: string) => string
  /** A message could not be handed on: the family is to get the fixed text, and people must know. */
  readonly turnedAway: (incoming: Incoming) => void
  readonly onFault: OnFault
}

export interface Relay extends Pick<Worker, 'receive' | 'act' | 'tell'> {
  start(): void
  stop(): Promise<void>
  /** True when nothing handed over is under way here. */
  readonly isIdle: boolean
}

/**
 * Between the doors of this process and its worker, where several processes share a store. What belongs to a chat that
 * another acts for is kept in the store for that one, and its answer waited for: nothing is lost should this process, or
 * the other, end meanwhile. A delivery counts once, however often it is handed over.
 */
export function relay(deps: RelayDependencies): Relay {
  const { store, sharing, worker, clock, onFault } = deps
  const underWay = new Set<string>()
  let cancel: (() => void) | undefined
  let looking: Promise<void> | undefined
  let stopped = false

  const rest = (ms: number) => new Promise<void>(wake => clock.wake(clock.monotonicMs() + ms, wake))

  /** Kept for the other process; then its answer, or undefined when it gave none in time. */
  async function handed(chat: ChatRef, id: string, what: Handed): Promise<string | undefined> {
    if ((await sharing.put(chat, id, JSON.stringify(what))) === 'full') throw new Busy(AT_ONCE, FULL_COMES_BACK_S)
    const until = clock.monotonicMs() + ANSWER_MS
    while (clock.monotonicMs() < until && !stopped) {
      const answer = await sharing.answer(chat, id)
      if (answer !== undefined) return answer
      await rest(ASKS_EVERY_MS)
    }
    return undefined
  }

  async function receive(incoming: Incoming): Promise<void> {
    const chat = { channel: incoming.channel, chat: incoming.chat }
    if (sharing.isOurs(chat)) {
      try {
        return await worker.receive(incoming)
      } catch (error) {
        if (!(error instanceof NotOurs)) throw error
      }
    }
    try {
      // Kept is kept: without an answer in time the other process, or the next, goes on with it all the same.
      await handed(chat, idOf('receive', incoming.channel, incoming.chat, incoming.deliveryId), {
        kind: 'receive',
        incoming,
      })
    } catch (error) {
      if (error instanceof Busy) throw error
      onFault({ code: 'store-failed', error })
      deps.turnedAway(incoming)
      throw new NotStored('relay: a message could not be kept for the process that acts for its chat; send it again', {
        cause: error,
      })
    }
  }

  async function applied(
    kind: 'act' | 'tell',
    caseId: string,
    event: CaseEvent,
    deliveryId: string,
    here: () => Promise<Applied>,
  ): Promise<Applied> {
    try {
      return await here()
    } catch (error) {
      if (!(error instanceof NotOurs)) throw error
    }
    const stored = await store.load(caseId)
    if (stored === undefined) return { kind: 'no-such-case' }
    const answer = await handed(stored.chat, idOf(kind, caseId, deliveryId), { kind, caseId, event, deliveryId })
    if (answer === undefined || answer === '')
      throw new NotStored(
        'relay: the process that acts for this case gave no answer in time; look at the case before you do it again',
      )
    return JSON.parse(answer) as Applied
  }

  const idOf = (...parts: readonly string[]): string => deps.hash(JSON.stringify(parts))

  /** What others brought, each at once: the worker keeps a chat's in order. */
  async function look(): Promise<void> {
    const items = await sharing.waiting(AT_ONCE)
    for (const item of items) {
      if (underWay.has(item.id)) continue
      underWay.add(item.id)
      void take(item).finally(() => underWay.delete(item.id))
    }
  }

  /** What cannot be done now stays, and is found at the next look, here or by whoever acts for it then. */
  async function take(item: InboxItem): Promise<void> {
    try {
      await sharing.done(item, await answerTo(item.content))
    } catch (error) {
      if (!(error instanceof NotOurs)) onFault({ code: 'store-failed', error })
      await rest(LOOKS_ALONE_EVERY_MS)
    }
  }

  async function answerTo(content: string): Promise<string> {
    const what = handedIn(content)
    if (what === undefined) {
      onFault({ code: 'handed-unreadable' })
      return ''
    }
    if (what.kind === 'receive') {
      await worker.receive(what.incoming)
      return 'received'
    }
    return JSON.stringify(await worker[what.kind](what.caseId, what.event, what.deliveryId))
  }

  function again(): void {
    if (stopped) return
    cancel = clock.wake(clock.monotonicMs() + (sharing.isAlone ? LOOKS_ALONE_EVERY_MS : LOOKS_EVERY_MS), () => {
      looking = look()
        .catch(error => onFault({ code: 'store-failed', error }))
        .then(again)
    })
  }

  return {
    receive,
    act: (caseId, event, deliveryId = deps.random.hex(16)) =>
      applied('act', caseId, event, deliveryId, () => worker.act(caseId, event, deliveryId)),
    tell: (caseId, event, deliveryId) =>
      applied('tell', caseId, event, deliveryId, () => worker.tell(caseId, event, deliveryId)),
    start: again,
    async stop() {
      stopped = true
      cancel?.()
      await looking
    },
    get isIdle() {
      return underWay.size === 0
    },
  }
}

function handedIn(content: string): Handed | undefined {
  try {
    return JSON.parse(content) as Handed
  } catch {
    return undefined
  }
}
