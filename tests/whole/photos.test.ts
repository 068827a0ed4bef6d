import { cpSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { makeBackup } from '../../src/cli/carrying.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import type { Server } from '../../src/http/server.ts'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page } from '../../src/pagers/pager.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import { exif, JPEG, jpegWith } from '../support/photo-files.ts'
import { smallhours } from '../support/smallhours.ts'
import { nonceOn } from '../support/web-visitor.ts'

/** The whole bot, served on loopback, with a clinic that lets families send photos of skin. */
describe('a photo through the whole bot', { timeout: 60_000 }, () => {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-photos-'))
  const data = join(folder, 'data')
  const logged: unknown[] = []
  const pages: Page[] = []
  let bot: Bot
  let server: Server
  let origin = ''
  let cookie = ''

  const get = (path: string) => fetch(origin + path, { headers: { cookie }, redirect: 'manual' })
  const pageNow = async () => (await get('/')).text()
  const send = async (path: string, body: FormData | URLSearchParams) => {
    const answer = await fetch(origin + path, { method: 'POST', headers: { cookie, origin }, body, redirect: 'manual' })
    await bot.runtime.idle()
    return answer.status
  }
  const say = async (fields: Record<string, string>) =>
    send('/say', new URLSearchParams({ nonce: nonceOn(await pageNow()), ...fields }))
  const sendPhoto = (file: Buffer) => {
    const form = new FormData()
    form.append('photo', new File([Buffer.from(file)], 'IMG_0001.JPG', { type: 'image/jpeg' }))
    return send('/photo', form)
  }
  const filesOf = (place: string): string[] =>
    existsSync(place)
      ? readdirSync(place, { recursive: true })
          .map(name => join(place, String(name)))
          .filter(file => statSync(file).isFile())
      : []

  beforeAll(async () => {
    const clinic = join(folder, 'clinic')
    cpSync(DEMO_CLINIC, clinic, { recursive: true })
    const clock = systemClock()
    const { loaded } = loadLine({ clinicDir: clinic, at: clock.now() })
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
      loaded: { ...loaded, photos: { concerns: ['skin'], atMost: 2 } },
      ...{ dataDir: data, clock, random: systemRandom(), log: line => logged.push(line), origin: () => origin },
      pagers: { board, of: () => listed, stop: async () => {} },
    })
    await bot.runtime.start()
    server = await bot.serve(0)
    origin = `http://127.0.0.1:${server.port}`
    cookie = ((await fetch(origin)).headers.get('set-cookie') ?? '').split(';')[0] ?? ''
  })
  afterAll(async () => {
    await server.stop()
    await bot.stop()
    rmSync(folder, { recursive: true, force: true })
  })

  test('is asked for nowhere before a case is there, and refused', async () => {
    expect(await pageNow()).not.toContain('action="/photo"')
    expect(await sendPhoto(JPEG)).toBe(403)
  })

  test('is kept for the clinician, decides nothing, and the question stays open', async () => {
    await say({ concern: 'skin' })
    const before = await pageNow()
    expect(before).toContain('action="/photo"')
    const asked = /id="question"[^>]*>([^<]+)</.exec(before)?.[1]
    expect(await sendPhoto(jpegWith(exif(6)))).toBe(303)
    const after = await pageNow()
    expect(after).toContain('The photo is kept for the clinician')
    expect(/id="question"[^>]*>([^<]+)</.exec(after)?.[1]).toBe(asked)
  })

  test('sent again it is the same one; more than the clinic allows are refused', async () => {
    await sendPhoto(jpegWith(exif(6)))
    expect(filesOf(join(data, 'photos'))).toHaveLength(1)
    expect(await sendPhoto(jpegWith(exif(3)))).toBe(303)
    expect(await pageNow()).not.toContain('action="/photo"')
    expect(await sendPhoto(jpegWith(exif(8)))).toBe(403)
    expect(filesOf(join(data, 'photos'))).toHaveLength(2)
  })

  test('the clinician finds it on the page of the case, without what the telephone wrote beside it', async () => {
    await say({ control: 'person' })
    const link = new URL(pages.at(-1)?.link ?? '').pathname
    const shown = /src="(\/p\/[^"]+\/photo\/[^"]+)"/.exec(await (await get(link)).text())?.[1] ?? ''
    const answer = await get(shown)
    const bytes = Buffer.from(await answer.arrayBuffer())
    expect([answer.status, answer.headers.get('content-type')]).toEqual([200, 'image/jpeg'])
    expect([bytes.includes('HERE'), bytes.subarray(-JPEG.length + 2).equals(JPEG.subarray(2))]).toEqual([false, true])
  })

  test('lies nowhere in the clear: not in the data folder, a backup, a transcript or the log', async () => {
    const to = join(folder, 'backup')
    await makeBackup({ dataDir: data, store: undefined, isDemonstration: true, told: () => {} }, to)
    expect(filesOf(join(to, 'photos'))).toHaveLength(2)
    const picture = JPEG.subarray(-60)
    for (const file of [...filesOf(data), ...filesOf(to)])
      expect(readFileSync(file).includes(picture), file).toBe(false)
    const out = join(folder, 'cases.jsonl')
    await smallhours('transcript', 'export', out, '--data', data)
    const transcript = readFileSync(out, 'utf8')
    expect(transcript).toContain('photoKept')
    const told = transcript + JSON.stringify(logged)
    expect(told.includes(picture.toString('base64').slice(0, 40)) || told.includes('image/jpeg')).toBe(false)
    for (const file of filesOf(join(data, 'photos')).map(name => name.split('/').at(-1) ?? ''))
      expect(told).not.toContain(file)
  })

  test('goes with its case when that is erased', async () => {
    const code = /(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4}/.exec(await pageNow())?.[0] ?? ''
    const { code: ended } = await smallhours('records', 'erase', code, '--even-open', '--data', data)
    expect(ended).toBe(0)
    expect(filesOf(join(data, 'photos'))).toEqual([])
  })
})
