import { NotOurs, type Store } from '../store/store.ts'
import { type Clock, within } from './clock.ts'

/** Longest wait for one answer of the store, in milliseconds: shorter than a family waits before it thinks nobody is there. */
export const STORE_ANSWERS_WITHIN_MS = 5_000

/** The store did not answer in time. Whether it did what was asked is not known; everything asked of it may be asked again. */
export class StoreSilent extends Error {
  override readonly name = 'StoreSilent'
}

/** Told what every call came to; a call that got no answer in time has failed. */
export interface StoreHeard {
  failed(call: string): void
  answered(call: string): void
}

/**
 * The same store, none of whose promises hangs. Without this, one lost answer would stop a chat, or a whole lane, until the
 * next restart. Asking again is safe: commits are fenced by event number and delivery, claims by lease.
 */
export function timedStore(
  store: Store,
  clock: Clock,
  heard?: StoreHeard,
  ms: number = STORE_ANSWERS_WITHIN_MS,
): Store {
  const LATE = Symbol('late')
  async function timed<T>(call: string, ask: () => Promise<T>): Promise<T> {
    try {
      const answer = await within<T, typeof LATE>(clock, ms, ask(), LATE)
      if (answer === LATE)
        throw new StoreSilent(`store: "${call}" gave no answer within ${ms} ms; it may be asked again`)
      heard?.answered(call)
      return answer as T
    } catch (error) {
      // It did answer: the chat is another process's.
      if (error instanceof NotOurs) heard?.answered(call)
      else heard?.failed(call)
      throw error
    }
  }
  const { alarmOf, probe, releaseLeases } = store
  return {
    load: id => timed('load', () => store.load(id)),
    casesOf: chat => timed('casesOf', () => store.casesOf(chat)),
    recent: since => timed('recent', () => store.recent(since)),
    recentHeads: since => timed('recentHeads', () => store.recentHeads(since)),
    heads: () => store.heads(),
    history: id => timed('history', () => store.history(id)),
    commit: step => timed('commit', () => store.commit(step)),
    claim: (lane, at, leaseMs, limit) => timed(`claim-${lane}`, () => store.claim(lane, at, leaseMs, limit)),
    rendered: (id, content, at) => timed('rendered', () => store.rendered(id, content, at)),
    settle: (id, outcome, tries) => timed('settle', () => store.settle(id, outcome, tries)),
    ...(releaseLeases === undefined ? {} : { releaseLeases: () => timed('releaseLeases', () => releaseLeases()) }),
    outboxOf: id => timed('outboxOf', () => store.outboxOf(id)),
    due: (at, limit) => timed('due', () => store.due(at, limit)),
    nextDue: () => timed('nextDue', () => store.nextDue()),
    ...(alarmOf === undefined
      ? {}
      : { alarmOf: (id: string, name: string) => timed('alarmOf', () => alarmOf(id, name)) }),
    ...(probe === undefined ? {} : { probe: () => timed('probe', () => probe()) }),
    close: () => store.close(),
  }
}
