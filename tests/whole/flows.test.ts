import { cpSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { clinicWith, eventually, newFolder, root, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

const hashIn = (markup: string): string => /name="hash" value="([0-9a-f]{64})"/.exec(markup)?.[1] ?? 'none'

/** Sunday 1 March 2026, 2:10 in the morning: Amara Osei, who may approve, stands for whoever looks at the demonstration. */
describe('what families are told, read and approved on the pages of the real process', { timeout: 60_000 }, () => {
  const data = newFolder()
  const folder = newFolder()
  const wording = join(folder.path, 'flows/someone/wording.en.yaml')
  let bot: Served
  let lead: Visit

  beforeAll(async () => {
    clinicWith(folder.path, '  ladder-speak: [PT10M, PT20M, PT30M]\n')
    cpSync(join(root, 'flows/someone'), join(folder.path, 'flows/someone'), { recursive: true })
    bot = await serve({ data: data.path, clinic: folder.path })
    lead = visit(bot.origin)
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
    folder.remove()
  })

  /** Opens the part until the walk has ended and the page has these words. */
  const until = (words: string | RegExp): Promise<string> =>
    eventually(
      `the page says ${words}`,
      async () => {
        const { text } = await lead.open('/flows/someone')
        return text.search(words) === -1 ? undefined : text
      },
      45_000,
    )

  test('a part is read with what each line makes a family do and what it rests on, on one page a language', async () => {
    const { text, bytes } = await lead.open('/flows/tube-out/words/en')
    expect(text).toContain('Cover the opening with clean, dry cloth or gauze. say/cover-opening · cover-opening · [')
    expect(bytes).toBeLessThan(100_000)
    const { markup } = await lead.open('/flows/tube-out')
    const sheet = /src="(\/flows\/tube-out\/picture\/1)"/.exec(markup)?.[1] ?? ''
    expect((await lead.open(sheet)).markup).toMatch(/^<svg/)
    expect((await lead.open('/flows/no-such-part')).status).toBe(404)
  })

  test('it is walked against the rules before an approval counts; only what was read is approved', async () => {
    await lead.open('/flows/someone')
    expect(lead.page().text).toContain('Nothing of it was approved before.')
    await lead.press('Approve exactly this', { language: ['en', 'es'] })
    await until('Approved by Amara Osei')
    expect(readFileSync(join(folder.path, 'approvals/someone.yaml'), 'utf8')).toMatch(/by: amara/)
    // One of two: the line says so, and one person is not two.
    expect(await until('Not approved.')).toContain('Approved by Amara Osei')
    await lead.press('Approve exactly this', { language: ['en', 'es'] })
    expect(lead.page().text).toContain('has approved exactly this already; another clinician is needed')
  })

  test('a changed word is shown beside what was approved, and an approval of what was read before is refused', async () => {
    await lead.open('/flows/someone')
    const form = lead.page()
    const before = readFileSync(wording, 'utf8')
    writeFileSync(wording, before.replace('no other words', 'no further words'))
    expect(readFileSync(wording, 'utf8')).not.toBe(before)
    await eventually(
      'the page has another content',
      async () => !(await visit(bot.origin).open('/flows/someone')).markup.includes(hashIn(form.markup)),
      20_000,
      250,
    )
    await lead.press('Approve exactly this', { language: ['en', 'es'] })
    expect(lead.page().status).toBe(409)
    expect(lead.page().text).toContain('what was read has the hash')
    const { text } = await lead.open('/flows/someone')
    expect(text).toContain('It was approved before, and has changed since.')
    expect(text).toContain('1 change since Amara Osei approved it:')
    expect(text).toContain('was: no other words is: no further words')
  })

  test('a changed flow is approved as it now is, and the approval is withdrawn with a reason', async () => {
    await lead.open('/flows/someone')
    await lead.press('Approve exactly this', { language: ['en', 'es'] })
    await until('Approved by Amara Osei')
    await lead.press('Withdraw', { why: 'the word is wrong' })
    expect(lead.page().text).toContain('withdraws the approval of someone')
    expect(readFileSync(join(folder.path, 'approvals/someone.yaml'), 'utf8')).toContain('the word is wrong')
  })
})
