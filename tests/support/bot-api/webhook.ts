import type { WebhookInfo } from 'grammy/types'
import type { Clock } from '../../../src/runtime/clock.ts'
import type { Sent } from './limits.ts'
import type { UpdateQueue, Waiting } from './update-queue.ts'

/** Waits between tries double from one second to this; the real server draws the cap from 60 to 120 s (its source). */
const RETRY_MOST_MS = 60_000
const RETRY_AFTER_MOST_MS = 3_600_000

/** Delivers updates to the bot's own address: chats side by side, one chat in order, again until it answers 2xx. */
export interface WebhookSender {
  set(sent: Sent): void
  remove(): void
  readonly isSet: boolean
  info(pending: number): WebhookInfo
  /** Statuses that were answered, oldest first; 0 where no answer came. */
  readonly answers: number[]
  /** Looks for something to deliver. */
  look(): void
  stop(): void
}

export function webhookSender(clock: Clock, queue: UpdateQueue): WebhookSender {
  let hook: Sent | undefined
  let lastError: { readonly atS: number; readonly text: string } | undefined
  let isStopped = false
  const answers: number[] = []
  /** Chats with a delivery under way or waiting for its next try. */
  const busy = new Set<string>()
  const tries = new Map<number, number>()

  async function deliver(waiting: Waiting, chat: string): Promise<void> {
    const { update } = waiting
    const { status, retryAfterMs } = await post(update)
    answers.push(status)
    if (status >= 200 && status < 300) {
      queue.confirm(update.update_id)
      busy.delete(chat)
      made.look()
      return
    }
    lastError = { atS: Math.floor(clock.now() / 1_000), text: `Wrong response from the webhook: ${status}` }
    const count = (tries.get(update.update_id) ?? 0) + 1
    tries.set(update.update_id, count)
    const wait = retryAfterMs ?? Math.min(RETRY_MOST_MS, 1_000 * 2 ** (count - 1))
    clock.wake(clock.monotonicMs() + wait, () => {
      busy.delete(chat)
      made.look()
    })
  }

  async function post(update: unknown): Promise<{ status: number; retryAfterMs?: number }> {
    const secret =
      hook?.secret_token === undefined ? {} : { 'X-Telegram-Bot-Api-Secret-Token': String(hook.secret_token) }
    try {
      const answer = await fetch(String(hook?.url), {
        method: 'POST',
        headers: { 'content-type': 'application/json', ...secret },
        body: JSON.stringify(update),
      })
      await answer.arrayBuffer()
      const after = Number(answer.headers.get('retry-after') ?? Number.NaN)
      const retryAfterMs = Number.isFinite(after) ? Math.min(RETRY_AFTER_MOST_MS, after * 1_000) : undefined
      return { status: answer.status, ...(retryAfterMs === undefined ? {} : { retryAfterMs }) }
    } catch {
      return { status: 0 }
    }
  }

  const made: WebhookSender = {
    answers,
    get isSet() {
      return hook !== undefined
    },
    set(sent) {
      hook = sent
      made.look()
    },
    remove() {
      hook = undefined
    },
    info: pending => ({
      url: String(hook?.url ?? ''),
      has_custom_certificate: false,
      pending_update_count: pending,
      ...(lastError === undefined ? {} : { last_error_date: lastError.atS, last_error_message: lastError.text }),
      ...(hook === undefined ? {} : { max_connections: Number(hook.max_connections ?? 40) }),
    }),
    look() {
      if (hook === undefined || isStopped) return
      for (const waiting of queue.waiting()) {
        const { update } = waiting
        const chat = update.callback_query?.message?.chat ?? update.message?.chat ?? update.my_chat_member?.chat
        const key = String(chat?.id ?? 'none')
        if (busy.has(key)) continue
        busy.add(key)
        void deliver(waiting, key)
      }
    },
    stop() {
      isStopped = true
    },
  }
  return made
}
