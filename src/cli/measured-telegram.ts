/** The whole bot on Telegram in this process, for measurements: its network is a function that answers at once. */
import { cpSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { MeasuredTelegram, TelegramButton } from '../measure/subject.ts'
import { boardPager } from '../pagers/board.ts'
import { within } from '../runtime/clock.ts'
import { handClock } from '../runtime/hand-clock.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import type { Wire } from '../telegram/connection.ts'
import { minutes, seconds } from '../time/instant.ts'
import { openBot } from './bot.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'

const TOKEN = '7001:a-token_for-measurements-AAAA'
/** Long enough for each loop to look, far too short for a poll to count as hanging. */
const LOOKED_MS = seconds(1)
/** An update that is not confirmed by then never is. */
const TAKEN_WITHIN_MS = minutes(1)

/** What the bot asked the server for, as far as it is read here. */
interface Asked {
  readonly offset?: number
  readonly timeout?: number
  readonly chat_id?: string | number
  readonly text?: string
  readonly reply_markup?: {
    readonly inline_keyboard?: readonly (readonly { readonly text: string; readonly callback_data?: string }[])[]
  }
}

/** A signal of the client's own make, which is no instance of the platform's. */
type Aborts = Pick<AbortSignal, 'addEventListener'>

/**
 * The bot as it serves, over a folder of its own. Updates come by its own pump; a reply is sent only when it is let, so that
 * what an update leads to can be timed apart from the sending.
 */
export async function measuredTelegram(folder: string): Promise<MeasuredTelegram> {
  const clock = handClock(systemClock().now())
  const { loaded, problems } = loadLine({ clinicDir: clinicIn(folder), at: clock.now() })
  if (loaded === undefined) throw new Error(`measure: the clinic does not load: ${problems[0]?.found ?? 'unknown'}`)
  /** Of each chat, the last buttons of each kind: the first letter of their data says which. */
  const buttons = new Map<string, readonly TelegramButton[]>()
  const faults: string[] = []
  let isSending = true
  let messages = 0
  let updateId = 0
  let pollAnswered: ((updates: readonly object[]) => void) | undefined
  let confirmed: (() => void) | undefined
  let heard = () => {}
  const isHeard = new Promise<void>(resolve => {
    heard = resolve
  })

  function polled({ offset = 0, timeout }: Asked, signal: Aborts | undefined): Promise<readonly object[]> {
    heard()
    if (offset > updateId) confirmed?.()
    // A poll that waits for nothing only confirms.
    if (timeout === 0) return Promise.resolve([])
    return new Promise((resolve, reject) => {
      pollAnswered = resolve
      signal?.addEventListener('abort', () => reject(new Error('aborted')))
    })
  }

  function answered(method: string, asked: Asked): unknown {
    if (method === 'getMe') return { id: 7_001, is_bot: true, first_name: 'Line', username: 'line_bot' }
    if (method === 'getWebhookInfo') return { url: '', pending_update_count: 0 }
    if (method !== 'sendMessage' && method !== 'sendPhoto') return true
    messages += 1
    const chat = String(asked.chat_id)
    const shown = (asked.reply_markup?.inline_keyboard ?? []).flat()
    const pressable = shown.flatMap(({ text, callback_data: data }) => (data === undefined ? [] : [{ text, data }]))
    for (const [kind = '', some] of Map.groupBy(pressable, ({ data }) => data[0])) buttons.set(`${chat}.${kind}`, some)
    return { message_id: messages, date: 0, chat: { id: Number(chat), type: 'private', first_name: 'x' } }
  }

  const wire = (async (address: string | URL, init?: { body?: unknown; signal?: Aborts }) => {
    const method = String(address).split('/').at(-1) ?? ''
    const asked: Asked = typeof init?.body === 'string' ? JSON.parse(init.body) : {}
    const result = method === 'getUpdates' ? await polled(asked, init?.signal) : answered(method, asked)
    // No more of a response than the client reads: what a network costs is no part of this.
    return { json: async () => ({ ok: true, result }) }
  }) as unknown as Wire

  const pager = { id: 'any', page: async () => ({ kind: 'accepted' }) as const, stop: async () => undefined }
  const bot = await openBot({
    ...{ loaded, clock, random: systemRandom(), wire, dataDir: join(folder, 'data'), origin: () => 'http://localhost' },
    through: store => ({ ...store, claim: async (...given) => (isSending ? store.claim(...given) : []) }),
    log: ({ what, error }) => {
      if (error !== undefined) faults.push(`${what} ${error}`)
    },
    pagers: { board: boardPager(), of: () => pager, stop: async () => undefined },
  })
  await bot.runtime.start()
  bot.hear()
  await isHeard
  await clock.advance(LOOKED_MS, bot.runtime.idle)

  return {
    buttonsIn: (chat, kind) => buttons.get(`${chat}.${kind}`) ?? [],
    async bring(update) {
      updateId += 1
      isSending = false
      const done = new Promise<void>(resolve => {
        confirmed = resolve
      })
      pollAnswered?.([{ update_id: updateId, ...update }])
      const isDone = await within(
        systemClock(),
        TAKEN_WITHIN_MS,
        done.then(() => true),
        false,
      )
      if (!isDone)
        throw new Error(
          `measure: a message on Telegram was not taken within a minute (${faults[0] ?? 'no fault told'})`,
        )
      confirmed = undefined
    },
    async send() {
      isSending = true
      await clock.advance(LOOKED_MS, bot.runtime.idle)
    },
    async stop() {
      await bot.stop()
      if (faults.length > 0) throw new Error(`measure: the bot met ${faults.length} faults, the first is ${faults[0]}`)
    },
  }
}

/** The demonstration's clinic, with families on Telegram. */
function clinicIn(folder: string): string {
  const clinicDir = join(folder, 'clinic')
  cpSync(DEMO_CLINIC, clinicDir, { recursive: true })
  const file = join(clinicDir, 'clinic.yaml')
  const telegram =
    '\ntelegram: { token-file: telegram-token, updates: polling, families-may-write: yes, server: "http://127.0.0.1:9" }\n'
  writeFileSync(file, `${readFileSync(file, 'utf8')}${telegram}`)
  writeFileSync(join(clinicDir, 'telegram-token'), TOKEN, { mode: 0o600 })
  return clinicDir
}
