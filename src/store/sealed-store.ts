import { hash, type KeyObject } from 'node:crypto'
import type { Instant } from '../time/instant.ts'
import { type CaseKeys, openText, SealBroken, sealText } from './seal.ts'
import { type StepContent, stepContentIn, stepText } from './step-content.ts'
import type {
  Content,
  OutboxRow,
  SealableStore,
  Sharing,
  StepRecord,
  StoredCase,
  StoredEvent,
  WholeStore,
} from './store.ts'

/** A store whose content can be read only with the case's key, and that can forget a case. */
export interface SealedStore extends WholeStore {
  /**
   * Destroys the key of a case: nothing of it can be read again, here or in a copy of the store. What was sealed is
   * overwritten as well, its alarms go, what waits to be sent is given up. Again: nothing. Rejects while the store does;
   * then it is to be done again.
   */
  erase(caseId: string, at: Instant): Promise<void>
  /** Erases every case that is closed and was last changed before `olderThan`; their ids. */
  purge(olderThan: Instant, at: Instant): Promise<readonly string[]>
}

/** Told of content that is there and does not open. The error's message holds none of it. */
export type OnUnreadable = (found: { readonly caseId: string; readonly error: SealBroken }) => void

/** What stands in place of the content of an erased case. Says nothing, so it is not sealed. */
const ERASED = '{"erased":true}'

/** Effect ids of which the case is remembered, at most: rows now on their way. */
const REMEMBERED_MOST = 4_096

/**
 * Seals every text that may hold words of a family or a clinician: the state; of a step the event, its effects and what
 * leaves, all in one; the rendered text of a row. Each is bound to its case, its field and its event number or effect id. Ids, chat references (digests),
 * instants and alarm names stay readable: the store sorts and searches by them. A delivery id becomes its digest: a channel
 * may have made it from what was said, and a number of ten digits is found by trying all.
 *
 * An erased case is not there. Content that does not open (damage, a lost key) comes back as an empty text, which nobody
 * can take for a state: the case is then parked and people are paged, as for any case that cannot be trusted. An event
 * that does not open is left out of the history.
 *
 * Closing it closes the store and the keys.
 *
 * @param inboxKey  seals what processes hand each other; needed where the store is shared
 * @param beside  what else is sealed with a case's key, and goes with the case; and texts that were read of late, of any case,
 *   which go with each case and whenever old cases are looked for: another process may have erased one
 */
export function sealedStore(
  store: SealableStore<Content>,
  keys: CaseKeys,
  onUnreadable: OnUnreadable,
  inboxKey?: KeyObject,
  beside?: { forget(caseId: string): Promise<unknown>; forgetTexts(): void },
): SealedStore {
  const caseOfEffect = new Map<string, string>()
  const states = latelySealed()
  const underWay = new Set<Promise<unknown>>()
  let waitingForKey = 0
  let closing: Promise<void> | undefined

  function keyOf(caseId: string): KeyObject | 'erased' | undefined {
    try {
      const key = keys.find(caseId)
      if (key === undefined) onUnreadable({ caseId, error: new SealBroken('the case has no key') })
      return key
    } catch (error) {
      if (!(error instanceof SealBroken)) throw error
      onUnreadable({ caseId, error })
      return undefined
    }
  }

  function opened(key: KeyObject | undefined, caseId: string, bound: readonly (string | number)[], sealed: Content) {
    if (key === undefined) return undefined
    try {
      return openText(key, [caseId, ...bound], sealed)
    } catch (error) {
      if (!(error instanceof SealBroken)) throw error
      onUnreadable({ caseId, error })
      return undefined
    }
  }

  function openedCase(stored: StoredCase<Content>): StoredCase | undefined {
    const { caseId, seq } = stored
    // Erased a moment ago by another process: its key may still be in memory here.
    if (stored.state === ERASED) return undefined
    const key = keyOf(caseId)
    return key === 'erased' ? undefined : { ...stored, state: openedState(key, caseId, seq, stored.state) }
  }

  /** A message has its case read several times: what is the same to the last byte is not opened again. */
  function openedState(key: KeyObject | undefined, caseId: string, seq: number, sealed: Content): string {
    const known = states.textOf(key, seq, sealed)
    if (known !== undefined) return known
    const text = opened(key, caseId, ['state', seq], sealed)
    if (text !== undefined && key !== undefined) states.keep(key, seq, sealed, text)
    return text ?? ''
  }

  /** What one step put in, opened: undefined where it does not open, `erased` where the case went meanwhile. */
  function openedStep(key: KeyObject | undefined, stored: StoredEvent<Content>): StepContent | 'erased' | undefined {
    const { caseId, seq } = stored
    if (stored.event === ERASED) return 'erased'
    if (stored.effects === '') {
      const text = opened(key, caseId, ['step', seq], stored.event)
      return text === undefined ? undefined : stepContentIn(text)
    }
    // As it was sealed under schema 1: event and effects each by itself, rows of the outbox too.
    const event = opened(key, caseId, ['event', seq], stored.event)
    const effects = opened(key, caseId, ['effects', seq], stored.effects)
    return event === undefined || effects === undefined ? undefined : { event, effects, outbox: new Map() }
  }

  function openedEvents(caseId: string, events: readonly StoredEvent<Content>[]): readonly StoredEvent[] {
    if (events.length === 0) return []
    const key = keyOf(caseId)
    if (key === 'erased') return []
    return events.flatMap(stored => {
      const content = openedStep(key, stored)
      return content === undefined || content === 'erased'
        ? []
        : [{ ...stored, event: content.event, effects: content.effects }]
    })
  }

  /** @param event  of the row's step, found with it or just now */
  function openedRow(row: OutboxRow<Content>, event: StoredEvent<Content> | undefined): OutboxRow {
    const { content, renderedAt, ...rest } = row
    const { caseId, effectId } = row
    const key = keyOf(caseId)
    if (key === 'erased' || row.effect === ERASED) return { ...rest, effect: '{}' }
    const text = content === undefined ? undefined : opened(key, caseId, ['content', effectId], content)
    return {
      ...rest,
      effect: effectOf(key, row, event) ?? '',
      ...(text === undefined || renderedAt === undefined ? {} : { content: text, renderedAt }),
    }
  }

  function effectOf(key: KeyObject | undefined, row: OutboxRow<Content>, event: StoredEvent<Content> | undefined) {
    const { caseId, effectId, effect } = row
    if (effect !== '') return opened(key, caseId, ['effect', effectId], effect)
    const step = event === undefined ? undefined : openedStep(key, event)
    if (step === 'erased') return '{}'
    const found = step?.outbox.get(effectId)
    if (step !== undefined && found === undefined) {
      onUnreadable({ caseId, error: new SealBroken('outbox: a row stands in a step that did not put it out') })
    }
    return found
  }

  async function openedRows(rows: readonly OutboxRow<Content>[]): Promise<readonly OutboxRow[]> {
    return Promise.all(rows.map(async row => openedRow(row, await store.event(row.caseId, row.seq))))
  }

  function sealed(key: KeyObject, step: StepRecord): StepRecord<Content> {
    const { caseId } = step
    const seq = step.from + 1
    const state = sealText(key, [caseId, 'state', seq], step.state)
    states.keep(key, seq, state, step.state)
    return {
      ...step,
      state,
      event: sealText(key, [caseId, 'step', seq], stepText(step)),
      effects: '',
      ...(step.delivery === undefined ? {} : { delivery: digested(step.delivery) }),
      outbox: step.outbox.map(row => ({ ...row, effect: '' })),
    }
  }

  function remember(effectId: string, caseId: string): void {
    if (caseOfEffect.size >= REMEMBERED_MOST) {
      for (const oldest of caseOfEffect.keys()) {
        caseOfEffect.delete(oldest)
        break
      }
    }
    caseOfEffect.set(effectId, caseId)
  }

  async function commit(step: StepRecord): Promise<'committed' | 'duplicate' | 'conflict'> {
    if (closing !== undefined) throw new Error('the store is closed: open it again before writing')
    const known = keys.find(step.caseId)
    if (known !== undefined) return committed(known, step)
    waitingForKey += 1
    let made: KeyObject | 'erased'
    try {
      made = await keys.make(step.caseId)
    } finally {
      waitingForKey -= 1
    }
    return committed(made, step)
  }

  /** A step of an erased case finds that the case has gone on without it. */
  function committed(key: KeyObject | 'erased', step: StepRecord) {
    return key === 'erased' ? Promise.resolve('conflict' as const) : store.commit(sealed(key, step))
  }

  /** Closing waits for it. */
  function tracked<T>(work: Promise<T>): Promise<T> {
    underWay.add(work)
    const done = () => underWay.delete(work)
    work.then(done, done)
    return work
  }

  async function rendered(effectId: string, content: string, at: Instant): Promise<void> {
    const caseId = caseOfEffect.get(effectId) ?? caseInEffectId(effectId)
    const key = keys.find(caseId)
    if (key === 'erased') return
    if (key === undefined) {
      throw new Error(`outbox: no row "${effectId}" of a case with a key; expected the id of a claimed row`)
    }
    await store.rendered(effectId, sealText(key, [caseId, 'content', effectId], content), at)
  }

  function forgetTexts(): void {
    states.forgetAll()
    beside?.forgetTexts()
  }

  async function erase(caseId: string, at: Instant): Promise<void> {
    forgetTexts()
    await keys.erase(caseId, at)
    await store.forget(caseId, ERASED, at)
    await beside?.forget(caseId)
    // Read once more before its key was gone.
    forgetTexts()
  }

  const present = (cases: readonly StoredCase<Content>[]) => cases.flatMap(stored => openedCase(stored) ?? [])

  return {
    async load(caseId) {
      const stored = await store.load(caseId)
      return stored === undefined ? undefined : openedCase(stored)
    },
    casesOf: async chat => present(await store.casesOf(chat)),
    recent: async since => present(await store.recent(since)),
    recentHeads: since => store.recentHeads(since),
    heads: () => store.heads(),
    history: async caseId => openedEvents(caseId, await store.history(caseId)),
    async outboxOf(caseId) {
      const rows = await store.outboxOf(caseId)
      return rows.length === 0 || keyOf(caseId) === 'erased' ? [] : openedRows(rows)
    },
    commit: step => tracked(commit(step)),
    async claim(lane, at, leaseMs, limit) {
      const rows = await store.claim(lane, at, leaseMs, limit)
      for (const { effectId, caseId } of rows) remember(effectId, caseId)
      return openedRows(rows)
    },
    rendered,
    settle: (effectId, outcome, tries) => store.settle(effectId, outcome, tries),
    releaseLeases: () => store.releaseLeases(),
    due: (at, limit) => store.due(at, limit),
    nextDue: () => store.nextDue(),
    alarmOf: (caseId, name) => store.alarmOf(caseId, name),
    onCommitted: listener => store.onCommitted(listener),
    probe: () => store.probe(),
    queued: () => waitingForKey + store.queued(),
    ...(store.sharing === undefined || inboxKey === undefined
      ? {}
      : { sharing: sealedSharing(store.sharing, inboxKey) }),
    close() {
      closing ??= (async () => {
        while (underWay.size > 0) await Promise.allSettled(underWay)
        await store.close()
        await keys.close()
      })()
      return closing
    },
    erase,
    async purge(olderThan, at) {
      forgetTexts()
      const erased: string[] = []
      for (const caseId of await store.closedBefore(olderThan, ERASED)) {
        // Looked at again: erasing takes its time, and a clinician may have written to the case meanwhile.
        const now = await store.load(caseId)
        if (now === undefined || !now.closed || now.changedAt >= olderThan || now.state === ERASED) continue
        await erase(caseId, at)
        erased.push(caseId)
      }
      return erased
    },
  }
}

/** Cases whose sealed state is remembered with its text, at most. */
const STATES_MOST = 64

/** The state of each case as it was last sealed or opened, by its key; forgotten when any case is erased. */
function latelySealed() {
  const byKey = new Map<KeyObject, { readonly seq: number; readonly sealed: Uint8Array; readonly text: string }>()
  return {
    /** The text, where the sealed bytes are those it was sealed to, and stand where they stood. */
    textOf(key: KeyObject | undefined, seq: number, sealed: Content): string | undefined {
      const known = key === undefined ? undefined : byKey.get(key)
      if (known === undefined || known.seq !== seq || typeof sealed === 'string') return undefined
      return Buffer.compare(known.sealed, sealed) === 0 ? known.text : undefined
    },
    keep(key: KeyObject, seq: number, sealed: Content, text: string): void {
      if (typeof sealed === 'string') return
      byKey.delete(key)
      if (byKey.size >= STATES_MOST) {
        for (const oldest of byKey.keys()) {
          byKey.delete(oldest)
          break
        }
      }
      byKey.set(key, { seq, sealed, text })
    },
    forgetAll: () => byKey.clear(),
  }
}

/** What does not open is done with: nobody could act on it, and it must not stand in the way of the rest. */
function sealedSharing(sharing: Sharing<Content>, key: KeyObject): Sharing {
  return {
    start: () => sharing.start(),
    isOurs: chat => sharing.isOurs(chat),
    onTaken: listener => sharing.onTaken(listener),
    get isLead() {
      return sharing.isLead
    },
    get isAlone() {
      return sharing.isAlone
    },
    figures: () => sharing.figures(),
    put: (chat, id, content) => sharing.put(chat, id, sealText(key, ['inbox', id], content)),
    async waiting(limit) {
      const items = await sharing.waiting(limit)
      return items.map(item => ({ ...item, content: openedItem(key, item.id, item.content) }))
    },
    done: (item, answer) => sharing.done(item, answer),
    answer: (chat, id) => sharing.answer(chat, id),
  }
}

function openedItem(key: KeyObject, id: string, content: Content): string {
  try {
    return openText(key, ['inbox', id], content)
  } catch (error) {
    if (error instanceof SealBroken) return ''
    throw error
  }
}

/** The whole id: what is random in it (the page's nonce) keeps the digest from being guessed. */
const digested = ({ channel, deliveryId }: NonNullable<StepRecord['delivery']>) => ({
  channel,
  deliveryId: hash('sha256', deliveryId, 'base64url'),
})

/** An effect's id begins with its case's: case, event number, position. */
const caseInEffectId = (effectId: string): string => effectId.slice(0, Math.max(0, effectId.search(/[./]\d+[./]\d+/)))
