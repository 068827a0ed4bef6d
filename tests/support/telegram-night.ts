import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, vi } from 'vitest'
import { remembering } from '../../src/cli/again.ts'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { codeOf, hashOfCode } from '../../src/cli/telegram-code.ts'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page } from '../../src/pagers/pager.ts'
import { type HandClock, handClock } from '../../src/runtime/hand-clock.ts'
import type { LogFields } from '../../src/runtime/log.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { openTelegramFile } from '../../src/store/sqlite/telegram-file.ts'
import { instant, type Milliseconds } from '../../src/time/instant.ts'
import { type BotApi, botApi } from './bot-api/bot-api.ts'
import type { Phone, Shown } from './bot-api/phone.ts'

/** A Saturday night on which Amara has the telephone, and Ingrid is second. */
const NIGHT = Date.parse('2026-03-01T02:10:00-05:00')

/** The whole bot in this process on a Bot API of the test's own, with a clock moved by hand. */
export interface TelegramNight {
  readonly api: BotApi
  readonly clock: HandClock
  readonly log: readonly LogFields[]
  /** Pages by every way but Telegram, with who was paged. */
  readonly otherPages: Page[]
  /** Times the bot asked to be ended and started again. */
  readonly ended: () => number
  bot(): Bot
  /** A family with a telephone of its own. */
  family(): Phone
  /** A person of the clinic with a linked account. */
  clinician(who: string): Promise<Phone>
  /** Waits until the bot's newest message to a phone matches, live message apart. */
  reads(phone: Phone, words: RegExp): Promise<string>
  /** Lets time pass for the bot and the server. */
  pass(length: Milliseconds): Promise<void>
  /** Lets time pass in small steps, whether or not the server is heard. */
  passUnheard(length: Milliseconds): Promise<void>
  /** Waits until nothing is under way. */
  rest(): Promise<void>
  /** Ends the bot as a clean stop does, and starts it anew on the same data, after so long. */
  restart(how?: { readonly later?: Milliseconds }): Promise<void>
  /** The code that was linked last. */
  codeOfLast(): string
  /** From now on the store rejects every message whose words fit. */
  poison(fits: (text: string) => boolean): void
  stop(): Promise<void>
}

export interface NightOptions {
  readonly updates?: 'polling' | 'webhook'
  readonly takesFamilies?: boolean
  /** The first calls of the bot that the server cuts off. */
  readonly failAtStart?: number
}

export async function telegramNight({
  updates = 'polling',
  takesFamilies = true,
  failAtStart = 0,
}: NightOptions = {}): Promise<TelegramNight> {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-telegram-'))
  const clock = handClock(instant(NIGHT))
  const api = await botApi({ clock })
  api.fail(() => true, 'reset', failAtStart)
  const clinicDir = clinicIn(folder, api, updates, takesFamilies)
  const { loaded, problems } = loadLine({ clinicDir, at: instant(NIGHT), again })
  if (loaded === undefined) throw new Error(`the clinic does not load: ${JSON.stringify(problems)}`)
  const log: LogFields[] = []
  const otherPages: Page[] = []
  let ended = 0
  let users = 90_000
  let lastCode = ''
  let isPoison = (_text: string): boolean => false
  let server: { port: number; stop(): Promise<void> } | undefined
  const others = {
    id: 'others',
    page: async (page: Page) => {
      otherPages.push(page)
      return { kind: 'accepted' } as const
    },
    stop: async () => undefined,
  }

  async function begin(): Promise<Bot> {
    const made = await openBot({
      ...{ loaded: loaded as NonNullable<typeof loaded>, clock, random: systemRandom() },
      origin: () => `http://127.0.0.1:${server?.port ?? 1}`,
      dataDir: join(folder, 'data'),
      through: store => ({
        ...store,
        async commit(step) {
          if (isPoison(step.event)) throw new Error('poison')
          return store.commit(step)
        },
      }),
      log: fields => log.push(fields),
      onStanding: () => {
        ended += 1
      },
      pagers: { board: boardPager(), of: id => (id === 'telegram' ? undefined : others), stop: async () => undefined },
    })
    if (updates === 'webhook') server = await made.serve(server?.port ?? 0)
    await made.runtime.start()
    made.hear()
    if (failAtStart > 0) return made
    await vi.waitFor(() => expect(api.isHeard()).toBe(true), FAST)
    return made
  }

  let bot = await begin()
  /** What is on its way over the loopback is not known to the bot's own idea of being idle. */
  const settled = async (): Promise<void> => {
    for (let tries = 0; tries < 200; tries += 1) {
      await bot.runtime.idle()
      if (api.underWay() === 0 && api.isHeard()) return
      await new Promise(resolve => setTimeout(resolve, 2))
    }
  }
  const rest = async (): Promise<void> => {
    for (let quiet = 0, seen = -1; quiet < 3; ) {
      await settled()
      await new Promise(resolve => setTimeout(resolve, 4))
      quiet = api.calls.length === seen ? quiet + 1 : 0
      seen = api.calls.length
    }
  }
  return {
    ...{ api, clock, log, otherPages },
    ended: () => ended,
    bot: () => bot,
    family: () => api.user(++users),
    async clinician(who) {
      const code = codeOf(systemRandom().bytes(16))
      lastCode = code
      const file = openTelegramFile(join(folder, 'data', 'telegram.sqlite'))
      file.keepCode(hashOfCode(code), who, clock.now(), instant(clock.now() + 60_000))
      file.close()
      const phone = api.user(++users)
      phone.says(`/start ${code}`)
      await vi.waitFor(() => expect(phone.texts().at(-1)).toMatch(/this account now gets your pages/), FAST)
      return phone
    },
    async reads(phone, words) {
      await vi.waitFor(() => expect(spoken(phone).at(-1)).toMatch(words), FAST)
      return spoken(phone).at(-1) ?? ''
    },
    pass: length => clock.advance(length, settled),
    async passUnheard(length) {
      for (let passed = 0; passed < length; passed += STEP_MS) {
        await clock.advance(Math.min(STEP_MS, length - passed))
        await new Promise(resolve => setTimeout(resolve, 3))
      }
    },
    codeOfLast: () => lastCode,
    poison(fits) {
      isPoison = fits
    },
    async restart({ later = 0 as Milliseconds } = {}) {
      await bot.stop()
      await server?.stop()
      await clock.advance(later)
      bot = await begin()
    },
    async stop() {
      await bot.stop()
      await server?.stop()
      await api.stop()
      rmSync(folder, { recursive: true, force: true })
    },
    rest,
  }
}

/** Flows are read once a file of tests. */
const again = remembering()
const STEP_MS = 2_500
const FAST = { timeout: 8_000, interval: 10 }

/** Messages of the bot, without the live message of a case, which alone begins with the case's code. */
export const saidTo = (phone: Phone): readonly Shown[] =>
  phone.shown.filter(({ text }) => !/^(Your case code|Su código)/.test(text))

export const spoken = (phone: Phone): string[] => saidTo(phone).map(({ text }) => text)

/** The demonstration's clinic with a bot on Telegram, by which everybody is paged instead of web calls. */
function clinicIn(folder: string, api: BotApi, updates: string, takesFamilies: boolean): string {
  const clinicDir = join(folder, 'clinic')
  cpSync(DEMO_CLINIC, clinicDir, { recursive: true })
  const file = join(clinicDir, 'clinic.yaml')
  const paged = readFileSync(file, 'utf8').replaceAll('- { pager: webhook, address: "demo:" }', '- { pager: telegram }')
  writeFileSync(
    file,
    `${paged}\ntelegram:\n  token-file: telegram-token\n  updates: ${updates}\n  families-may-write: ${takesFamilies ? 'yes' : 'no'}\n  server: ${api.root}\n`,
  )
  writeFileSync(join(clinicDir, 'telegram-token'), `${api.token}\n`, { mode: 0o600 })
  return clinicDir
}
