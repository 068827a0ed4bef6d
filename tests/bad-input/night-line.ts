import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { CaseState } from '../../src/case/state.ts'
import { chatOf } from '../../src/channels/webchat/cookie.ts'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import type { Server } from '../../src/http/server.ts'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page } from '../../src/pagers/pager.ts'
import type { Clock } from '../../src/runtime/clock.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import { type Instant, instant } from '../../src/time/instant.ts'

/** Sunday 1 March 2026, 02:10 in New York: the demonstration clinic is shut, Amara Osei is on call. */
export const NIGHT: Instant = instant(Date.parse('2026-03-01T07:10:00Z'))

/** The whole bot behind a real port, with its flows, words, store, alarms and outbox; only the pages end in a list. */
export interface NightLine {
  readonly origin: string
  readonly port: number
  readonly bot: Bot
  /** Pages as clinicians get them. */
  readonly pages: Page[]
  /** Every line of the log. */
  readonly logged: Record<string, unknown>[]
  family(): Family
  stop(): Promise<void>
}

/** One phone in front of the web chat, script off: keeps its cookie, posts as a form does. */
export interface Family {
  cookie: string
  /** Sends words and gives what the bot answered. */
  say(text: string): Promise<Answered>
  /** Taps values of the open question, or of another serial. */
  tap(values: string | readonly string[], serial?: number | string): Promise<Answered>
  control(control: string, subject?: string): Promise<Answered>
  /** Any fields at all. */
  post(fields: Record<string, string | readonly string[]>, headers?: Record<string, string>): Promise<Response>
  look(): Promise<Shown>
  state(): Promise<CaseState | undefined>
}

/** What a person sees after something was sent. */
export interface Answered extends Shown {
  readonly status: number
}

export interface Shown {
  /** What the bot said since the family's last line: one text for each line on the screen. */
  readonly reply: readonly string[]
  /** The open question, its first line. */
  readonly question: string | undefined
  readonly serial: number | undefined
  /** Values of its buttons. */
  readonly values: readonly string[]
  /** What stands in place of an answer where nothing was taken: a line above the question, or a page of its own. */
  readonly refusal: string | undefined
  readonly markup: string
  readonly text: string
}

/** Starts a line whose wall clock shows `at` and runs on from there. */
export async function nightLine(at: Instant = NIGHT): Promise<NightLine> {
  const { loaded: read, problems } = loadLine({ clinicDir: DEMO_CLINIC, at })
  // Two flows in one language, so that the page shows the same whatever else is shipped.
  const two = ['tube-out', 'someone']
  const flows = new Map([...(read?.line.flows.flows ?? [])].filter(([concern]) => two.includes(concern)))
  const loaded =
    read === undefined
      ? undefined
      : { ...read, line: { ...read.line, languages: ['en'], flows: { ...read.line.flows, flows } } }
  if (loaded === undefined) throw new Error(JSON.stringify(problems))
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-bad-input-'))
  const pages: Page[] = []
  const logged: Record<string, unknown>[] = []
  const board = boardPager()
  let origin = ''
  const bot = await openBot({
    loaded,
    dataDir: folder,
    isThrowaway: true,
    clock: clockFrom(at),
    random: systemRandom(),
    log: entry => void logged.push({ ...entry }),
    origin: () => origin,
    pagers: {
      board,
      of: () => ({
        id: 'listed',
        async page(page) {
          pages.push(page)
          return board.page(page)
        },
        stop: async () => {},
      }),
      stop: async () => {},
    },
  })
  const server: Server = await bot.serve(0)
  origin = `http://localhost:${server.port}`
  await bot.runtime.start()
  return {
    origin,
    port: server.port,
    bot,
    pages,
    logged,
    family: () => familyOf(origin, bot),
    async stop() {
      await bot.stop()
      await server.stop()
      rmSync(folder, { recursive: true, force: true, maxRetries: 3 })
    },
  }
}

/** Real time, beginning at another moment. */
function clockFrom(at: Instant): Clock {
  const real = systemClock()
  const ahead = at - real.now()
  return { ...real, now: () => instant(real.now() + ahead) }
}

function familyOf(origin: string, bot: Bot): Family {
  const self: Family = {
    cookie: '',
    async post(fields, headers = {}) {
      if (self.cookie === '') await self.look()
      const body = new URLSearchParams()
      for (const [name, value] of Object.entries(fields)) for (const one of [value].flat()) body.append(name, one)
      return fetch(`${origin}/say`, {
        method: 'POST',
        redirect: 'manual',
        headers: {
          cookie: self.cookie,
          origin,
          'content-type': 'application/x-www-form-urlencoded',
          ...headers,
        },
        body: body.toString(),
      })
    },
    async look() {
      const response = await fetch(`${origin}/`, { headers: self.cookie === '' ? {} : { cookie: self.cookie } })
      const set = response.headers.get('set-cookie')
      if (set !== null) self.cookie = set.split(';')[0] ?? ''
      return shown(await response.text())
    },
    say: text => sent({ text, nonce: freshNonce() }),
    tap: async (values, serial) => {
      const open = serial ?? (await self.look()).serial ?? 0
      return sent({ serial: String(open), value: values, nonce: freshNonce() })
    },
    control: (control, subject) =>
      sent({ control, nonce: freshNonce(), ...(subject === undefined ? {} : { subject }) }),
    async state() {
      const chat = chatOfCookie(self.cookie)
      const [stored] = await bot.store.casesOf({ channel: 'web', chat })
      return stored === undefined ? undefined : (JSON.parse(stored.state) as CaseState)
    },
  }
  const sent = async (fields: Record<string, string | readonly string[]>): Promise<Answered> => {
    const response = await self.post(fields)
    const markup = await response.text()
    if (response.status !== 303) return { ...shown(markup), status: response.status }
    return { ...(await self.look()), status: 303 }
  }
  return self
}

function chatOfCookie(cookie: string): string {
  return chatOf(cookie.split('=')[1] ?? '')
}

let nonces = 0
const freshNonce = (): string => `nonce-${String(++nonces).padStart(8, '0')}`

/** Reads a page as a person does: what stands after their own last line, and what is asked. */
export function shown(markup: string): Shown {
  const log = /<div id="log"[^>]*>([\s\S]*?)<div id="unsent"/.exec(markup)?.[1] ?? ''
  const articles = [...log.matchAll(/<article class="line (\w+)"[^>]*>([\s\S]*?)<\/article>/g)]
  const own = articles.findLastIndex(([, who]) => who === 'family')
  const reply = articles
    .slice(own + 1)
    .flatMap(([, , body = '']) =>
      [...body.matchAll(/<(p|li|blockquote)(?: class="([^"]*)")?[^>]*>([\s\S]*?)<\/\1>/g)].flatMap(
        ([, , kind, inside = '']) => (kind === 'who' || kind === 'soft' ? [] : [plain(inside)]),
      ),
    )
  const ask = /<section class="ask"[^>]*data-serial="(\d+)">([\s\S]*?)<\/section>/.exec(markup)
  const note = /<p class="note" role="alert">([\s\S]*?)<\/p>/.exec(markup)?.[1]
  const page = /<main id="main"><h1>([\s\S]*?)<\/h1>\s*<p>([\s\S]*?)<\/p>/.exec(markup)
  return {
    refusal: note === undefined ? (page === null ? undefined : plain(`${page[1]}. ${page[2]}`)) : plain(note),
    reply,
    question: ask === null ? undefined : plain(/<h2[^>]*>([\s\S]*?)<\/h2>/.exec(ask[2] ?? '')?.[1] ?? ''),
    serial: ask === null ? undefined : Number(ask[1]),
    values: [...(ask?.[2] ?? '').matchAll(/name="value" value="([^"]*)"/g)].map(([, value = '']) => value),
    markup,
    text: plain(markup.replace(/<(style|script|svg)[\s\S]*?<\/\1>/g, ' ')),
  }
}

function plain(markup: string): string {
  return markup
    .replace(/<[^>]*>/g, ' ')
    .replace(/&#39;/g, "'")
    .replace(/&quot;/g, '"')
    .replace(/&lt;/g, '<')
    .replace(/&gt;/g, '>')
    .replace(/&amp;/g, '&')
    .replace(/\s+/g, ' ')
    .trim()
}
