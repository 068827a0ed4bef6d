import { type Api, GrammyError } from 'grammy'
import type { Update } from 'grammy/types'
import { ASKED_FOR } from './arrived.ts'
import { isTokenRefused } from './outcome.ts'
import type { Taken } from './take-once.ts'

/** Why a poll brought nothing. */
export type PollFault = 'token-refused' | 'conflict' | 'too-many-requests' | 'silent' | 'cut-off' | 'server'

export interface PollPorts {
  readonly api: Pick<Api, 'getUpdates'>
  /** Ends when the update is taken or parked, or says when to bring it again. */
  readonly take: (update: Update) => Promise<Taken>
  /** A clock that paces: see `runtime/clock.ts`. */
  readonly clock: { monotonicMs(): number; wake(atMs: number, fn: () => void): () => void }
  polled(count: number): void
  failed(fault: PollFault): void
}

export interface Poller {
  start(): void
  /** Takes no more, ends the poll under way, and confirms what was taken. */
  stop(): Promise<void>
  /** Ends the poll under way and begins another: it may hang on a dead connection. */
  renew(): void
  /** True while updates are being taken: no poll is under way then. */
  readonly isTaking: boolean
}

/** A poll is held this long by the server, in seconds; one without an answer so much later hangs. */
const POLL_S = 25
const SILENT_AFTER_MS = (POLL_S + 12) * 1_000
const REST_LEAST_MS = 500
const REST_MOST_MS = 10_000

/**
 * Asks for updates, takes each batch whole, and only then asks with the next offset, which confirms it: a kill anywhere loses
 * nothing, and what is brought twice counts once. Chats are taken side by side, one chat in order. It never ends by itself.
 */
export function poller({ api, take, clock, polled, failed }: PollPorts): Poller {
  let isStopped = false
  let running: Promise<void> | undefined
  let offset: number | undefined
  let abort: AbortController | undefined
  let restMs = 0
  let isTaking = false
  const wakes = new Set<() => void>()

  const rest = (ms: number): Promise<void> =>
    new Promise(resolve => {
      const end = () => {
        cancel()
        wakes.delete(end)
        resolve()
      }
      const cancel = clock.wake(clock.monotonicMs() + ms, end)
      wakes.add(end)
      if (isStopped) end()
    })

  async function run(): Promise<void> {
    while (!isStopped) {
      const updates = await poll()
      if (updates === undefined) {
        if (!isStopped) await rest(restMs)
        continue
      }
      isTaking = true
      const isWhole = await takeAll(updates)
      isTaking = false
      const last = updates.at(-1)
      if (isWhole && last !== undefined) offset = last.update_id + 1
    }
  }

  async function poll(): Promise<readonly Update[] | undefined> {
    const own = new AbortController()
    abort = own
    let isSilent = false
    const cancel = clock.wake(clock.monotonicMs() + SILENT_AFTER_MS, () => {
      isSilent = true
      own.abort()
    })
    try {
      const updates = await api.getUpdates(
        { timeout: POLL_S, limit: 100, allowed_updates: ASKED_FOR, ...(offset === undefined ? {} : { offset }) },
        own.signal as never,
      )
      restMs = 0
      polled(updates.length)
      return updates
    } catch (error) {
      if (isStopped) return undefined
      restMs = Math.min(REST_MOST_MS, Math.max(REST_LEAST_MS, restMs * 2))
      if (error instanceof GrammyError && error.error_code === 429)
        restMs = Math.max(restMs, (error.parameters.retry_after ?? 1) * 1_000)
      failed(isSilent ? 'silent' : faultOf(error))
      return undefined
    } finally {
      cancel()
      abort = undefined
    }
  }

  /** True when all of them are taken or parked: the batch may be confirmed. */
  async function takeAll(updates: readonly Update[]): Promise<boolean> {
    const chats = Map.groupBy(updates, chatOf)
    const ended = await Promise.all([...chats.values()].map(inOrder))
    return ended.every(isTaken => isTaken)
  }

  async function inOrder(updates: readonly Update[]): Promise<boolean> {
    for (const update of updates) {
      for (let taken = await take(update); typeof taken === 'object'; taken = await take(update)) {
        if (isStopped) return false
        await rest(taken.againAfterMs)
        if (isStopped) return false
      }
    }
    return true
  }

  async function confirm(): Promise<void> {
    if (offset === undefined) return
    const own = new AbortController()
    const cancel = clock.wake(clock.monotonicMs() + 2_000, () => own.abort())
    // What it brings is not taken, and so comes again at the next start.
    await api.getUpdates({ offset, limit: 1, timeout: 0 }, own.signal as never).catch(() => undefined)
    cancel()
  }

  return {
    start() {
      running ??= run()
    },
    async stop() {
      if (isStopped) return
      isStopped = true
      abort?.abort()
      for (const end of wakes) end()
      await running
      await confirm()
    },
    renew: () => abort?.abort(),
    get isTaking() {
      return isTaking
    },
  }
}

const chatOf = (update: Update): string =>
  String(
    update.message?.chat.id ?? update.edited_message?.chat.id ?? update.callback_query?.from.id ?? update.update_id,
  )

function faultOf(error: unknown): PollFault {
  if (!(error instanceof GrammyError)) return 'cut-off'
  if (isTokenRefused(error.error_code)) return 'token-refused'
  if (error.error_code === 409) return 'conflict'
  return error.error_code === 429 ? 'too-many-requests' : 'server'
}
