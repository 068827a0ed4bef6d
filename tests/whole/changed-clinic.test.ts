import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { clinicWith, eventually, newFolder, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

interface HealthSaid {
  readonly ok: boolean
  readonly doubts: readonly { readonly what: string; readonly places?: readonly string[] }[]
}

/** Saturday night 2026-02-28 into Sunday: Amara Osei is first on call by the week. */
const LINH_TONIGHT =
  'changes:\n  - { on-call: first, from: 2026-02-28 18:00, until: 2026-03-01 08:00, who: linh, why: Amara is ill }\n'

describe('the clinic file is changed while the real process runs', () => {
  const data = newFolder()
  const folder = newFolder()
  const file = join(folder.path, 'clinic.yaml')
  let bot: Served
  let board: Visit
  let before: Visit

  beforeAll(async () => {
    clinicWith(folder.path, '  ladder-speak: [PT10M, PT20M, PT30M]\n')
    bot = await serve({ data: data.path, clinic: folder.path })
    board = visit(bot.origin)
    before = visit(bot.origin)
    await before.open('/')
    await before.press('Send', { text: 'her tube has just come out' })
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
    folder.remove()
  })

  const health = async (): Promise<HealthSaid> => (await fetch(`${bot.origin}/health`)).json() as Promise<HealthSaid>
  /** Asks for a person; the names on the pages that went out for it. */
  async function pagedFor(text: string): Promise<string> {
    const family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text })
    const code = /Your case code: ([A-Z][a-z]{2} \d{4})/.exec(family.page().text)?.[1] ?? ''
    expect(code).not.toBe('')
    return eventually(`a page for ${code}`, async () => {
      const { markup } = await board.open('/board')
      const page = markup.split('<li>').find(part => part.includes('page-text') && part.includes(code))
      return page?.replace(/<[^>]*>/g, ' ').replace(/\s+/g, ' ')
    })
  }

  test('first the week counts: the page goes to Amara Osei', async () => {
    expect(await pagedFor('talk to a person please')).toMatch(/to (Amara Osei|amara@)/)
  })

  test('another person for tonight on disk: the next page goes to her, and an open case goes on', async () => {
    writeFileSync(file, readFileSync(file, 'utf8').replace('changes:\n', LINH_TONIGHT))
    await eventually('the change counts', async () => bot.output().includes('clinic-file-taken'))
    expect(await pagedFor('I want to talk to a person')).toMatch(/to (Linh Tran|linh@)/)
    // Opened before the change: it is not parked, and its question can be answered.
    await before.press('Nothing. It is empty')
    expect(before.page().text).toContain('None of these')
    expect(bot.output()).not.toContain('case-parked')
    expect(await health()).toMatchObject({ ok: true })
  })

  test('a broken file changes nothing, and board and health say so until it is whole', async () => {
    const whole = readFileSync(file, 'utf8')
    writeFileSync(file, whole.replace('who: linh, why: Amara', 'who: nobody, why: Amara'))
    const doubted = await eventually('health says so', async () => {
      const said = await health()
      return said.ok ? undefined : said
    })
    expect(doubted.doubts.map(({ what }) => what)).toEqual(['clinic-file-refused'])
    expect(doubted.doubts[0]?.places?.[0]).toMatch(/^clinic\.yaml:\d+:\d+ UNKNOWN_ID$/)
    const { text } = await board.open('/board')
    expect(text).toContain("A change to the clinic's files was not taken. The line goes on as it was before")
    expect(text).toContain('"nobody"')
    expect(await pagedFor('please let me talk to a person')).toMatch(/to (Linh Tran|linh@)/)
    writeFileSync(file, whole)
    await eventually('it is well again', async () => (await health()).ok)
  })
})
