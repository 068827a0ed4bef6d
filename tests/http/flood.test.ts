import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import type { Server } from '../../src/http/server.ts'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page } from '../../src/pagers/pager.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import { QUEUED_MAX } from '../../src/runtime/worker.ts'
import type { Store } from '../../src/store/store.ts'
import { instant } from '../../src/time/instant.ts'

/** Messages that may wait; what is above is turned away. A tenth of what ships, so that the test is short. */
const LIMIT = QUEUED_MAX / 10
const FLOOD = LIMIT + 60

describe('more messages at once than the line can take', { timeout: 120_000 }, () => {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-flood-'))
  const pages: Page[] = []
  let bot: Bot
  let server: Server
  let origin = ''
  /** While it is set the store keeps every message of the flood waiting, as a disk does that answers nobody. */
  let held: Promise<void> | undefined
  let release = () => {}

  function slow(store: Store): Store {
    return {
      ...store,
      async casesOf(chat) {
        if (held !== undefined && !(await isCalm(store, chat))) await held
        return store.casesOf(chat)
      },
    }
  }
  /** A family whose case was there before the flood. */
  const isCalm = async (store: Store, chat: Parameters<Store['casesOf']>[0]) => (await store.casesOf(chat)).length > 0

  const post = (path: string, cookie: string, fields: Record<string, string>) =>
    fetch(origin + path, {
      method: 'POST',
      headers: { cookie: `chat=${cookie}`, origin, 'content-type': 'application/x-www-form-urlencoded' },
      body: new URLSearchParams(fields).toString(),
      redirect: 'manual',
    })
  const say = (cookie: string, nonce: string, text: string) => post('/say', cookie, { nonce, text })

  beforeAll(async () => {
    const clock = systemClock()
    const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: clock.now() })
    if (loaded === undefined) throw new Error('the demonstration clinic does not load')
    const board = boardPager()
    const listed = {
      id: 'listed',
      async page(page: Page) {
        pages.push(page)
        return board.page(page)
      },
      stop: async () => {},
    }
    bot = await openBot({
      ...{ loaded, dataDir: folder, isThrowaway: true, clock, random: systemRandom(), log: () => {} },
      ...{
        origin: () => origin,
        through: slow,
        queuedMax: LIMIT,
        pagers: { board, of: () => listed, stop: async () => {} },
      },
    })
    server = await bot.serve(0)
    origin = `http://localhost:${server.port}`
    await bot.runtime.start()
  })
  afterAll(async () => {
    release()
    await bot.stop()
    await server.stop()
    rmSync(folder, { recursive: true, force: true, maxRetries: 3 })
  })

  test('nothing accepted is lost, nothing is dropped in silence, and a page goes out meanwhile', async () => {
    const calm = 'a-family-already-here'
    expect((await say(calm, 'nonce-before-flood', 'her tube has just come out')).status).toBe(303)

    held = new Promise(resolve => {
      release = () => {
        held = undefined
        resolve()
      }
    })
    const cookieOf = (n: number) => `flooding-family-${String(n).padStart(5, '0')}`
    const answers = new Map<number, Response>()
    const flood = Array.from({ length: FLOOD }, async (_, n) => {
      const response = await say(cookieOf(n), `nonce-of-flood-${n}`, `her tube has come out, it is floodword${n}`)
      answers.set(n, response)
      return response
    })
    // The first answers are those that were turned away: all others are held.
    while (answers.size < FLOOD - LIMIT) await new Promise(resolve => setTimeout(resolve, 5))
    expect(bot.runtime.figures().queued).toBeGreaterThanOrEqual(LIMIT)

    // Danger in the family that is there: turned away or not, the numbers are before its eyes; the page goes at once.
    const before = pages.length
    const asked = performance.now()
    const wanted = bot.runtime.act(await firstCase(), { kind: 'personWanted', said: 'a person, please' }, 'once')
    expect((await wanted).kind).toBe('done')
    while (pages.length === before && performance.now() - asked < 10_000) {
      await new Promise(resolve => setTimeout(resolve, 10))
    }
    const waitedMs = performance.now() - asked
    expect(pages.length).toBeGreaterThan(before)
    // The flood still stands: it was not the end of it that let the page out.
    expect(held).toBeDefined()
    expect(waitedMs).toBeLessThan(4_000)

    release()
    await Promise.all(flood)
    await bot.runtime.idle()
    const byStatus = Map.groupBy([...answers], ([, response]) => response.status)
    expect([...byStatus.keys()].toSorted()).toEqual([303, 503])
    expect(QUEUED_MAX).toBe(1_000)
    // On a slow machine some were not kept in time: told so, sent again by their page, and counted once.
    const [taken = [], turned = []] = [byStatus.get(303), byStatus.get(503)]
    console.log(
      `${FLOOD} at once: ${taken.length} taken, ${turned.length} turned away; a page took ${Math.round(waitedMs)} ms`,
    )
    expect(taken.length + turned.length).toBe(FLOOD)
    expect(turned.length).toBeGreaterThanOrEqual(FLOOD - LIMIT - 1)

    for (const [, response] of turned) {
      expect(Number(response.headers.get('retry-after'))).toBeGreaterThan(0)
      const markup = await response.text()
      const { emergency, clinic } = bot.foot()
      expect(markup).toContain(`tel:${emergency.number}`)
      expect(markup).toContain(`tel:${clinic.number}`)
    }
    const kept = await keptWords()
    for (const [n] of taken) expect(kept.has(`floodword${n}`), `message ${n} was taken and is not there`).toBe(true)

    // Sent again, as the page does by itself, what was turned away is taken; what was taken counts once.
    const [[again] = [0]] = turned
    const [[twice] = [0]] = taken
    for (const n of [again, twice]) {
      const text = `her tube has come out, it is floodword${n}`
      expect((await say(cookieOf(n), `nonce-of-flood-${n}`, text)).status).toBe(303)
    }
    await bot.runtime.idle()
    const after = await keptWords()
    expect([after.get(`floodword${again}`), after.get(`floodword${twice}`)]).toEqual([1, 1])
  })

  async function firstCase(): Promise<string> {
    const [first] = await bot.store.recent(instant(0))
    if (first === undefined) throw new Error('no case')
    return first.caseId
  }

  /** How often each word of the flood stands in the events of all cases. */
  async function keptWords(): Promise<Map<string, number>> {
    const counts = new Map<string, number>()
    for (const { caseId } of await bot.store.recent(instant(0))) {
      for (const { event } of await bot.store.history(caseId)) {
        for (const [word] of event.matchAll(/floodword\d+/g)) counts.set(word, (counts.get(word) ?? 0) + 1)
      }
    }
    return counts
  }
})
