import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { clinicWith, newFolder, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

describe('what the clinic has decided, changed on the pages of the real process, without script', () => {
  const data = newFolder()
  const folder = newFolder()
  const text = () => readFileSync(join(folder.path, 'clinic.yaml'), 'utf8')
  let bot: Served
  let lead: Visit

  beforeAll(async () => {
    clinicWith(folder.path, '  # left-check: PT10M   # after "go to hospital"\n')
    bot = await serve({ data: data.path, clinic: folder.path })
    lead = visit(bot.origin)
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
    folder.remove()
  })

  /** Opens the form that a line's *Change* leads to, and fills in its field. */
  async function change(path: RegExp, filled: Readonly<Record<string, string>>): Promise<void> {
    const { markup } = await lead.open('/settings')
    const address = [...markup.matchAll(/href="([^"]*)"/g)]
      .map(([, href = '']) => href.replaceAll('&amp;', '&'))
      .find(href => path.test(href))
    await lead.open(address ?? 'none')
    await lead.press('Look at the change', filled)
  }

  test('each figure stands with what it decides and rests on, and the value it was shipped with', async () => {
    const { text: shown } = await lead.open('/settings')
    expect(shown).toContain(
      'Opening may begin to close after: 60 minutes as shipped how soon the opening may begin to close; common practice, no source',
    )
    expect(shown).toContain('Taught families may put a tube in: off as shipped')
  })

  test('a setting counts at once and can be undone; the notes of the file stay', async () => {
    await change(/change\/setting\?id=left-check/, { 'count-1': '15', 'unit-1': 'minute' })
    expect(lead.page().text).toContain('The setting "Ask whether they have left" is 15 minutes')
    await lead.press('Save')
    expect(lead.page().text).toContain('Ask whether they have left: 15 minutes Shipped: 10 minutes.')
    expect(text()).toContain('  left-check: PT15M\n  # left-check: PT10M')
    await lead.press(/^Undo it/)
    expect(lead.page().text).toContain('Ask whether they have left: 10 minutes as shipped')
  })

  test.each([
    ['a value out of its bounds', /id=left-check/, { 'count-1': '10', 'unit-1': 'hour' }],
    ['a value that is no value', /id=left-check/, { 'count-1': 'soon', 'unit-1': 'minute' }],
    ['a lock that needs two signatures', /id=hold-open-new/, { value: 'on' }],
    ['hours that are none', /day=monday/, { 'from-1': '8 to', 'until-1': '6' }],
  ])('%s is refused, with what was expected', async (_what, path, filled) => {
    const before = text()
    await change(path, filled)
    expect(lead.page().status).toBe(422)
    expect(lead.page().text).toMatch(/[Ee]xpected|is no|needs|Fill in every field/)
    expect(text()).toBe(before)
  })

  test('the number families ring changes on their page at once, and on the page for when all else fails', async () => {
    await change(/families-number\?which=families-ring/, { number: '+1 212 555 0133' })
    expect(lead.page().text).toContain('changes from +1 212 555 0110 to +1 212 555 0133; every family sees it at once')
    await lead.press('Save')
    expect((await visit(bot.origin).open('/')).text).toContain('+1 212 555 0133')
    expect((await visit(bot.origin).open('/')).text).not.toContain('+1 212 555 0110')
  })

  test("a date's hours, a weekday's hours, a hospital's number and how long cases are kept", async () => {
    await change(/change\/date\??$/, { date: '2026-04-03', 'from-1': '', 'until-1': '' })
    expect(lead.page().text).toContain('On Friday 3 April 2026 the clinic is closed')
    await lead.press('Save')
    await change(/day=tuesday/, {
      ...{ 'from-1': '08:00', 'until-1': '12:00' },
      ...{ 'from-2': '13:00', 'until-2': '17:00' },
    })
    await lead.press('Save')
    await change(/change\/hospital\?id=harbour/, { number: '+1 212 555 0177' })
    await lead.press('Save')
    await change(/change\/retention/, { 'count-1': '60', 'unit-1': 'day' })
    expect(lead.page().text).toContain('Closed cases are kept for 60 days')
    await lead.press('Save')
    for (const written of [
      '2026-04-03: closed',
      'tuesday: ["08:00-12:00", "13:00-17:00"]',
      '"+1 212 555 0177"',
      'retention: P60D',
    ])
      expect(text()).toContain(written)
    expect(bot.output()).not.toContain('clinic-file-refused')
  })
})
