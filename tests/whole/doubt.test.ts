import { spawn } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { IntlMessageFormat } from 'intl-messageformat'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import type { Incoming, Outgoing } from '../../src/case/message.ts'
import type { Channel } from '../../src/channels/channel.ts'
import { type Bot, type BotOptions, openBot } from '../../src/cli/bot.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import type { Catalogue } from '../../src/flow/wording.ts'
import type { Server } from '../../src/http/server.ts'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page, Paged } from '../../src/pagers/pager.ts'
import type { Clock } from '../../src/runtime/clock.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import type { LogFields } from '../../src/runtime/log.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import { septetsOf } from '../../src/sms/alphabet.ts'
import { instant, minutes, seconds } from '../../src/time/instant.ts'
import { chromiumPath, launchBrowser } from '../support/browser.ts'
import { type FailingStore, failingStore } from '../support/failing-store.ts'
import { eventually, NIGHT, newFolder, root } from './process.ts'
import { visit } from './visit.ts'

const CHAT = { channel: 'text', chat: 'family' } as const
/** The numbers of the demonstration's file: emergency, and what families ring. */
const NUMBERS = /911[\s\S]*\+1 212 555 01\d\d/

const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: instant(NIGHT) })
if (loaded === undefined) throw new Error('the demonstration clinic does not load')

interface Night {
  readonly bot: Bot
  readonly disk: FailingStore
  readonly told: Outgoing[]
  readonly paged: Page[]
  readonly log: LogFields[]
  say(text: string): Promise<void>
}

const open: { stop(): Promise<void> }[] = []
let folder: ReturnType<typeof newFolder>
beforeEach(() => {
  folder = newFolder()
})
afterEach(async () => {
  await Promise.allSettled(open.splice(0).map(one => one.stop()))
  folder.remove()
})

/** The whole bot in this process, on a file, with a store that can be made to fail and pagers of the test's own. */
async function aNight(
  clock: Clock,
  page: (one: Page) => Promise<Paged>,
  origin = () => 'http://localhost',
  line: LoadedLine = loaded as LoadedLine,
): Promise<Night> {
  const disk = failingStore()
  const told: Outgoing[] = []
  const paged: Page[] = []
  const log: LogFields[] = []
  const channel: Channel = {
    id: CHAT.channel,
    async deliver(outgoing) {
      told.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => undefined,
    stop: async () => undefined,
  }
  const pager = (id: string) => ({
    id,
    async page(one: Page) {
      const answer = await page(one)
      if (answer.kind === 'accepted') paged.push(one)
      return answer
    },
    stop: async () => undefined,
  })
  const pagers = new Map(['board', 'smtp', 'webhook'].map(id => [id, pager(id)]))
  const board = boardPager()
  const options: BotOptions = {
    loaded: line,
    dataDir: folder.path,
    isThrowaway: true,
    clock,
    random: systemRandom(),
    log: fields => void log.push(fields),
    origin,
    channels: [channel],
    through: store => disk.through(store),
    pagers: { board, of: id => pagers.get(id), stop: async () => undefined },
  }
  const bot = await openBot(options)
  open.push(bot)
  await bot.runtime.start()
  let message = 0
  return {
    ...{ bot, disk, told, paged, log },
    async say(text) {
      message += 1
      const incoming: Incoming = {
        ...CHAT,
        deliveryId: `d${message}`,
        at: clock.now(),
        body: { kind: 'text', text },
      }
      await bot.runtime.receive(incoming)
      await bot.runtime.idle()
    },
  }
}

const wordsOf = (told: readonly Outgoing[]): string =>
  told.flatMap(({ parts }) => parts.map(part => ('text' in part ? part.text : ''))).join('\n')

describe('pagers, through the whole bot', () => {
  const danger = 'her tube is out and her lips are blue'

  async function ladderOf(answer: (one: Page) => Promise<Paged>, ms: number) {
    const clock = handClock(instant(NIGHT))
    const night = await aNight(clock, answer)
    await night.say(danger)
    await clock.advance(ms, night.bot.runtime.idle)
    return { clock, night }
  }

  test.each<[string, (one: Page) => Promise<Paged>, number]>([
    ['refuse every page', async () => ({ kind: 'refused', reason: 'no such address' }), seconds(5)],
    ['throw at every page', () => Promise.reject(new Error('broken')), minutes(15)],
    ['hang at every page', () => new Promise(() => undefined), minutes(15)],
    ['fail at every page', async () => ({ kind: 'failed', reason: 'no connection' }), minutes(15)],
  ])(
    'that %s: the family is told that nobody has answered, with the numbers, and paging goes on',
    async (_, answer, ms) => {
      const tried: Page[] = []
      const { night, clock } = await ladderOf(one => {
        tried.push(one)
        return answer(one)
      }, ms)
      const words = wordsOf(night.told)
      expect(words).toMatch(/No one from the clinic has answered yet|No one is on call right now/)
      expect(words).toMatch(/ring \+1 212 555 01\d\d[\s\S]*911/i)
      expect(new Set(tried.map(({ to }) => to.id)).size).toBeGreaterThanOrEqual(3)
      expect(night.paged).toEqual([])
      const before = tried.length
      await clock.advance(minutes(30), night.bot.runtime.idle)
      expect(tried.length).toBeGreaterThan(before)
      expect(night.log.map(({ what }) => what)).toContain('pager-failing')
      const health = await night.bot.runtime.health()
      expect(health.ok).toBe(false)
      expect(new Set(health.doubts.map(({ what }) => what))).toEqual(new Set(['pager-failing']))
    },
  )

  test('that say "accepted" and reach nobody: the ladder goes on to the end all the same', async () => {
    const { night } = await ladderOf(async () => ({ kind: 'accepted' }), minutes(20))
    expect(new Set(night.paged.map(({ to }) => to.id)).size).toBeGreaterThanOrEqual(3)
    expect(wordsOf(night.told)).toContain('No one from the clinic has answered yet')
    expect(night.log.map(({ what }) => what)).not.toContain('pager-failing')
  })

  test('a clinician who answers long after the end has the case; the family reads who it is, and paging stops', async () => {
    const { night, clock } = await ladderOf(async () => ({ kind: 'refused', reason: 'no such address' }), minutes(40))
    const [stored] = await night.bot.store.casesOf(CHAT)
    const by = { id: 'amara', name: 'Amara Osei', role: 'feeding nurse' }
    const took = await night.bot.runtime.act(stored?.caseId ?? '', {
      kind: 'pageAcknowledged',
      by,
      doing: { kind: 'ringing-now' },
    })
    expect(took).toEqual({ kind: 'done' })
    await clock.advance(seconds(1), night.bot.runtime.idle)
    expect(wordsOf(night.told.slice(-1))).toContain('Amara Osei')
    const pagesBefore = (await night.bot.store.outboxOf(stored?.caseId ?? '')).filter(row => row.lane === 'page').length
    await clock.advance(minutes(4), night.bot.runtime.idle)
    const rows = (await night.bot.store.outboxOf(stored?.caseId ?? '')).filter(row => row.lane === 'page')
    expect(rows.length).toBe(pagesBefore)
  })
})

describe('a store that fails, through the whole bot', () => {
  test('everyone on the ladder is paged past it, in words of at most 306 that need no more than their first 60', async () => {
    const clock = handClock(instant(NIGHT))
    const night = await aNight(
      clock,
      async () => ({ kind: 'accepted' }),
      () => 'https://line.example.test',
    )
    night.disk.fail('full')
    await expect(night.say('Zephyrkin’s tube is out')).rejects.toThrow('must be sent again')
    await clock.advance(1)
    expect(wordsOf(night.told)).toMatch(/Something is wrong with this line\. Ring \+1 212 555 01\d\d now\.[\s\S]*911/)
    expect(new Set(night.paged.map(({ to }) => to.id)).size).toBeGreaterThanOrEqual(3)
    for (const { text, link } of night.paged) {
      expect(septetsOf(text)).toBeLessThanOrEqual(306)
      expect(text.slice(0, 60)).toBe('LINE CANNOT KEEP MESSAGES. Families are told to ring us now.')
      expect(text).toMatch(/Answer \+1 212 555 01\d\d\./)
      expect(text).toContain(link)
      expect(text).not.toContain('Zephyrkin')
    }
    night.disk.mend()
    await clock.advance(minutes(2), night.bot.runtime.idle)
    expect(night.paged.at(-1)?.text).toMatch(/^THE LINE WORKS AGAIN\. /)
    await night.say('his tube is out')
    expect(wordsOf(night.told.slice(-1))).toMatch(/^Sorry\. For a while this line could not keep what you wrote\./)
    expect(JSON.stringify(night.log)).not.toMatch(/Zephyrkin|0142|tube/)
  })
})

/** A catalogue one of whose texts wants a value that nobody gives. */
function withoutAValue(catalogue: Catalogue, id: string): Catalogue {
  const text: Catalogue['text'] = (wanted, values) =>
    wanted === id ? String(new IntlMessageFormat('Since {never}', 'en').format({})) : catalogue.text(wanted, values)
  return { ...catalogue, has: wanted => catalogue.has(wanted), text }
}

describe('the pages past the store', () => {
  test('really go out as mail and as signed web calls', async () => {
    // Real time, from a night on: who is on the ladder, and how they are reached, is of that night.
    const real = systemClock()
    const ahead = NIGHT - real.now()
    const clock = { ...real, now: () => instant(real.now() + ahead) }
    const disk = failingStore()
    const bot = await openBot({
      loaded: loaded as LoadedLine,
      dataDir: folder.path,
      isThrowaway: true,
      ...{ clock, random: systemRandom(), log: () => undefined, origin: () => 'http://localhost' },
      through: store => disk.through(store),
    })
    open.push(bot)
    await bot.runtime.start()
    disk.fail('full')
    const body = { kind: 'text', text: 'her tube is out' } as const
    await expect(bot.runtime.receive({ ...CHAT, deliveryId: 'd', at: clock.now(), body })).rejects.toThrow(
      'must be sent again',
    )
    const arrived = await eventually('mail and web call', async () => {
      const all = bot.pagers.demo?.recent() ?? []
      return new Set(all.map(({ how }) => how)).size === 2 && all
    })
    for (const { text } of arrived)
      expect(text).toMatch(/^LINE CANNOT KEEP MESSAGES\. Families are told to ring us now\./)
    expect(bot.pagers.board.recent().some(({ text }) => text.startsWith('LINE CANNOT'))).toBe(true)
  })
})

describe('words that cannot be worked out, through the whole bot', () => {
  /** The shipped line, with one text that wants a value which nobody gives. */
  function lackingAValue(id: string): LoadedLine {
    const shipped = loaded as LoadedLine
    const { line } = shipped
    const lacking = (all: ReadonlyMap<string, Catalogue>): ReadonlyMap<string, Catalogue> =>
      new Map([...all].map(([language, catalogue]) => [language, withoutAValue(catalogue, id)] as const))
    const flows = new Map(
      [...line.flows.flows].map(([name, flow]) => [name, { ...flow, wording: lacking(flow.wording) }] as const),
    )
    return { ...shipped, line: { ...line, flows: { ...line.flows, flows, wording: lacking(line.flows.wording) } } }
  }

  test('in a reply: the family gets the fixed text with the numbers, and a person is paged once', async () => {
    const clock = handClock(instant(NIGHT))
    const night = await aNight(clock, async () => ({ kind: 'accepted' }), undefined, lackingAValue('ask/in-opening'))
    await night.say('her tube is out')
    await clock.advance(minutes(1), night.bot.runtime.idle)
    expect(wordsOf(night.told)).toMatch(/Something is wrong with this line\. Ring \+1 212 555 01\d\d now\./)
    expect(night.log.map(({ what }) => what)).toContain('render-failed')
    expect(night.paged.length).toBeGreaterThan(0)
    const paged = night.paged.length
    await night.say('hello?')
    await clock.advance(seconds(30), night.bot.runtime.idle)
    expect(new Set(night.paged.slice(0, paged).map(({ kind }) => kind))).toEqual(new Set(['page']))
    expect(night.told.length).toBeLessThan(8)
  })

  test('in the fixed text itself: the line does not start', async () => {
    await expect(
      aNight(handClock(instant(NIGHT)), async () => ({ kind: 'accepted' }), undefined, lackingAValue('say/fallback')),
    ).rejects.toThrow('never')
  })

  test('in a page: it goes out all the same, with what it is about', async () => {
    const clock = handClock(instant(NIGHT))
    const broken = lackingAValue('page/code')
    const night = await aNight(clock, async () => ({ kind: 'accepted' }), undefined, broken)
    await night.say('her tube is out and her lips are blue')
    await clock.advance(seconds(5), night.bot.runtime.idle)
    expect(night.paged.length).toBeGreaterThan(0)
    expect(night.paged[0]?.text).toMatch(/^CASE STOPPED by a fault\..* \w{3} \d{4}/)
  })
})

describe('thanks, through the whole bot', () => {
  test('page nobody again once a clinician has the case; a question mark does', async () => {
    const clock = handClock(instant(NIGHT))
    const night = await aNight(clock, async () => ({ kind: 'accepted' }))
    await night.say('her tube is out and her lips are blue')
    const [stored] = await night.bot.store.casesOf(CHAT)
    const caseId = stored?.caseId ?? ''
    const by = { id: 'amara', name: 'Amara Osei', role: 'feeding nurse' }
    await night.bot.runtime.act(caseId, { kind: 'pageAcknowledged', by, doing: { kind: 'ringing-now' } })
    await clock.advance(seconds(1), night.bot.runtime.idle)
    // The one question that is open is for a number; then nothing is asked.
    await night.say('202 555 0142')
    await clock.advance(seconds(1), night.bot.runtime.idle)
    const pagesOf = async () => (await night.bot.store.outboxOf(caseId)).filter(row => row.lane === 'page').length
    const before = await pagesOf()
    await night.say('ok thank you so much')
    expect(wordsOf(night.told.slice(-1))).toMatch(
      /^Noted\. This line stays open[\s\S]*ring \+1 212 555 01\d\d[\s\S]*911/,
    )
    expect(await pagesOf()).toBe(before)
    await night.say('thanks, are you sure?')
    expect(await pagesOf()).toBeGreaterThan(before)
  })
})

describe('the pages of the web, while the store fails', { timeout: 60_000 }, () => {
  async function onTheWeb(): Promise<{ night: Night; origin: string; paged: Page[] }> {
    let origin = ''
    const night = await aNight(
      systemClock(),
      async () => ({ kind: 'accepted' }),
      () => origin,
    )
    const server: Server = await night.bot.serve(0)
    open.push(server)
    origin = `http://127.0.0.1:${server.port}`
    return { night, origin, paged: night.paged }
  }

  test.each(['throws', 'hangs'] as const)(
    'that %s: every address a family may be at gives the numbers within seconds, and people are paged',
    async how => {
      const { night, origin } = await onTheWeb()
      const family = visit(origin)
      await family.open('/')
      await family.press('Send', { text: 'her tube has just come out' })
      expect(family.page().text).toContain('Nothing. It is empty')
      await eventually(
        'a quiet line',
        async () => ((await (await fetch(`${origin}/health`)).json()) as { ok: boolean }).ok,
      )
      night.disk.fail(how)

      const posted = await family.press('Nothing. It is empty')
      expect(posted.status).toBe(503)
      expect(posted.text).toContain('What you wrote was not kept. No one was told about your child.')
      expect(posted.text).toMatch(NUMBERS)
      expect(posted.tookMs).toBeLessThan(8_000)

      const headers = { cookie: family.cookie(), origin, accept: 'application/json' }
      const began = performance.now()
      const [shown, log, stream, json] = await Promise.all([
        family.open('/'),
        fetch(`${origin}/log`, { headers }),
        fetch(`${origin}/stream`, { headers }),
        fetch(`${origin}/say`, {
          method: 'POST',
          headers: { ...headers, 'content-type': 'application/json' },
          body: JSON.stringify({ nonce: 'abcdefgh12345678', text: 'help', agoMs: 0 }),
        }),
      ])
      expect(performance.now() - began).toBeLessThan(8_000)
      expect(shown.status).toBe(500)
      expect(shown.text).toMatch(NUMBERS)
      expect(shown.text).toContain('put nothing through the tube and nothing into the opening')
      for (const response of [log, stream]) {
        expect(response.status).toBe(500)
        expect(JSON.stringify(await response.json())).toContain('Ring a number below')
      }
      expect(json.status).toBe(503)
      expect(json.headers.get('retry-after')).toBe('2')
      expect(((await json.json()) as { words: string }).words).toContain('Ring a number below now.')

      expect(
        new Set(night.paged.filter(({ text }) => text.startsWith('LINE CANNOT')).map(({ to }) => to.id)).size,
      ).toBeGreaterThan(2)
      const health = await fetch(`${origin}/health`)
      expect(health.status).toBe(503)
      const told = await health.text()
      const { ok, doubts } = JSON.parse(told)
      expect(ok).toBe(false)
      expect(doubts[0]).toEqual({ what: 'store-silent', since: expect.stringMatching(/^20\d\d-.*Z$/) })
      expect(told).not.toContain('tube')

      night.disk.mend()
      const again = await family.open('/')
      expect(again.text).toContain('her tube has just come out')
      await family.press('Nothing. It is empty')
      expect(family.page().text).toContain('None of these')
      await eventually('the word that it works again', async () =>
        (await family.open('/')).text.includes('Sorry. For a while this line could not keep what you wrote.'),
      )
    },
  )

  test('a clinician who presses reads that it was not kept and what to do; pressed again later, it counts once', async () => {
    const { night, origin } = await onTheWeb()
    const family = visit(origin)
    await family.open('/')
    await family.press('Send', { text: 'her tube is out and her lips are blue' })
    const page = await eventually('a page', async () => night.paged[0])
    const clinician = visit(origin)
    await clinician.open(new URL(page.link).pathname)
    const take = clinician.page().buttons.find(label => /^\d{1,2}:\d\d [ap]m$/.test(label)) ?? ''
    night.disk.fail('full')
    const pressed = await clinician.press(take)
    expect(pressed.status).toBe(503)
    expect(pressed.text).toContain('What you pressed was not kept')
    expect(pressed.text).toContain('Ring the family yourself if you can.')
    expect(pressed.text).toMatch(/\+1 212 555 01\d\d/)
    expect(night.paged.some(({ text }) => text.startsWith('LINE CANNOT'))).toBe(true)
    night.disk.mend()
    await clinician.open(new URL(page.link).pathname)
    expect(clinician.page().text).not.toContain('You have this case')
    await clinician.press(take)
    expect(clinician.page().text).toContain('You have this case.')
  })
})

const browserPath = chromiumPath()
if (browserPath === undefined)
  console.warn('left out: a failing store in a browser (no chromium; set CHROMIUM to its path)')

describe.skipIf(browserPath === undefined)('a page with script, while the store fails', { timeout: 60_000 }, () => {
  test('says at once that what was written was not kept and to ring, and sends it by itself when the line works', async () => {
    let origin = ''
    const night = await aNight(
      systemClock(),
      async () => ({ kind: 'accepted' }),
      () => origin,
    )
    const server = await night.bot.serve(0)
    open.push(server)
    origin = `http://127.0.0.1:${server.port}`
    const browser = await launchBrowser()
    open.push({ stop: () => browser.close() })
    const page = await browser.newPage()
    await page.goto(origin)
    await page.locator('#text').waitFor()
    night.disk.fail('full')
    await page.locator('#text').fill('her tube has just come out')
    await page.getByRole('button', { name: 'Send', exact: true }).click()
    const unsent = page.locator('#unsent')
    await unsent.getByText('What you wrote was not kept.').waitFor({ timeout: 8_000 })
    expect(await unsent.textContent()).toContain('“her tube has just come out”')
    expect(await unsent.textContent()).toContain('Ring a number below now.')
    expect(await page.locator('body').textContent()).toMatch(NUMBERS)
    night.disk.mend()
    await page.getByText('Sorry. For a while this line could not keep what you wrote.').waitFor({ timeout: 20_000 })
    expect(
      await page
        .locator('#unsent')
        .count()
        .then(async n => (n === 0 ? '' : page.locator('#unsent').textContent())),
    ).toBe('')
  })
})

describe('the board', { timeout: 60_000 }, () => {
  test('says what cannot be trusted and since when, and shows every case though one cannot be read', async () => {
    let origin = ''
    const clock = handClock(instant(NIGHT))
    const night = await aNight(
      clock,
      async () => ({ kind: 'refused', reason: 'no such address' }),
      () => origin,
    )
    const server = await night.bot.serve(0)
    open.push(server)
    origin = `http://127.0.0.1:${server.port}`
    await night.say('her tube is out and her lips are blue')
    const [stored] = await night.bot.store.casesOf(CHAT)
    if (stored === undefined) throw new Error('no case')
    const { caseId } = stored
    const chat = { channel: CHAT.channel, chat: 'another' }
    await night.bot.store.commit({
      caseId: 'b'.repeat(32), chat, from: 0, at: stored.changedAt, closed: false,
      state: '{"torn":', event: '{}', effects: '[]', outbox: [], alarms: { set: [], cancel: [] },
    }) // biome-ignore format: one record
    const board = visit(origin)
    await board.open('/board')
    expect(board.page().status).toBe(200)
    expect(board.page().text).toContain('Ring the emergency number, told')
    expect(board.page().text).toContain('CASE STOPPED by a fault')
    expect(board.page().text).not.toContain('The line cannot be trusted now')
    await clock.advance(minutes(3), night.bot.runtime.idle)
    await board.open('/board')
    expect(board.page().text).toMatch(
      /The line cannot be trusted now.*A way of paging takes nothing \(\w+\) since 2:10/,
    )
    expect(board.page().text).not.toContain(caseId)
  })
})

describe('the real process', { timeout: 60_000 }, () => {
  const node = `${root}/node_modules/.bin/node`

  /** Starts `serve` with one more module, which does something to the process; its end and what it wrote. */
  async function served(module: string): Promise<{ code: number | null; signal: string | null; written: string }> {
    const source = `data:text/javascript,${encodeURIComponent(module)}`
    const args = ['--import', source, 'src/cli/main.ts', 'serve', '--port', '0', '--data', folder.path]
    const child = spawn(node, args, { cwd: root, stdio: ['ignore', 'pipe', 'pipe'] })
    let written = ''
    for (const stream of [child.stdout, child.stderr]) stream.setEncoding('utf8').on('data', text => (written += text))
    const timer = setTimeout(() => child.kill('SIGKILL'), 40_000)
    const [code, signal] = await new Promise<[number | null, string | null]>(resolve =>
      child.once('close', (...end) => resolve(end as [number | null, string | null])),
    )
    clearTimeout(timer)
    return { code, signal, written }
  }

  test.each([
    ['an error nothing caught', 'uncaughtException', `throw new TypeError('Zephyrkin ate, 202 555 0142')`],
    ['a promise nothing caught', 'unhandledRejection', `Promise.reject(new TypeError('Zephyrkin ate, 202 555 0142'))`],
  ])('ends with 1 at %s, and logs its class without its words', async (_, why, thrown) => {
    const { code, written } = await served(
      `const look = setInterval(() => { if (process.listenerCount('uncaughtException') > 0) { clearInterval(look); setTimeout(() => { ${thrown} }, 2000) } }, 50)`,
    )
    expect(code).toBe(1)
    const [line] = written.split('\n').filter(text => text.startsWith('{'))
    expect(JSON.parse(line ?? '{}')).toMatchObject({ what: 'process-fault', why, error: 'TypeError' })
    expect(written).not.toMatch(/Zephyrkin|0142/)
  })

  test('that stands still is ended by the thread beside it, and says so', async () => {
    const watchdog = fileURLToPath(new URL('../../src/runtime/watchdog.ts', import.meta.url))
    const clock = fileURLToPath(new URL('../../src/runtime/system-clock.ts', import.meta.url))
    const blocked = `const { startWatchdog } = await import(${JSON.stringify(watchdog)});
      const { systemClock } = await import(${JSON.stringify(clock)}); startWatchdog(systemClock(), 900, 6);
      setTimeout(() => { console.log('moving'); for (;;); }, 3000)`
    const child = spawn(node, ['--input-type=module', '-e', blocked], { cwd: root, stdio: ['ignore', 'pipe', 'pipe'] })
    let written = ''
    for (const stream of [child.stdout, child.stderr]) stream.setEncoding('utf8').on('data', text => (written += text))
    const timer = setTimeout(() => child.kill('SIGTERM'), 30_000)
    const signal = await new Promise(resolve => child.once('close', (_, name) => resolve(name)))
    clearTimeout(timer)
    // For three seconds, more than three times its limit, it moved and was left alone.
    expect(written).toContain('moving')
    expect(signal).toBe('SIGKILL')
    expect(JSON.parse(written.split('\n').find(line => line.startsWith('{')) ?? '{}')).toMatchObject({
      what: 'loop-blocked',
    })
  })
})
