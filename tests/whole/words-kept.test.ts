import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { eventually, newFolder, type Served, serve } from './process.ts'
import { type Page, type Visit, visit } from './visit.ts'

/** Lines of the log as they are read: who is said to speak, and everything else in it. */
function linesOn(page: Page): { readonly who: string; readonly text: string }[] {
  return [
    ...page.markup.matchAll(
      /<article class="line (\w+)"[\s\S]*?<p class="who"[^>]*>([^<]*)<\/p>([\s\S]*?)<\/article>/g,
    ),
  ].map(([, , who = '', rest = '']) => ({
    who,
    text: rest
      .replace(/<[^>]*>/g, ' ')
      .replace(/\s+/g, ' ')
      .trim(),
  }))
}

describe('what was said stands in the log as it was said, by whom', () => {
  const data = newFolder()
  let bot: Served
  let family: Visit
  beforeAll(async () => {
    bot = await serve({ data: data.path })
    family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
  })
  const ours = (page: Page): string[] => linesOn(page).flatMap(({ who, text }) => (who === 'You' ? [text] : []))

  test('a tap on an old tab is kept in the words of the question tapped, never in those of the open one', async () => {
    const tab = visit(bot.origin, family.cookie())
    await tab.open('/')
    await family.press('Nothing. It is empty')
    const stale = await tab.press('The same tube, put back')
    expect(ours(stale).some(said => said.startsWith('The same tube, put back'))).toBe(true)
    expect(stale.text).not.toContain('same-tube')

    // "Yes" means one thing to "Is the time right?" and another to the question after it.
    await family.open('/')
    await family.press('None of these')
    await family.press('Long tube, held by a balloon')
    await family.press('Send', { text: 'about 20 minutes ago' })
    await tab.open('/')
    expect(ours(await family.press('Yes')).filter(said => said.startsWith('Yes'))).toHaveLength(1)
    const again = await tab.press('Change it')
    expect(ours(again).filter(said => said.startsWith('Change it'))).toHaveLength(1)
  })

  test.each(['that was a wrong tap', 'the clinician rang me'])(
    '"%s", written, stands there in those words',
    async text => {
      await family.open('/')
      const page = await family.press('Send', { text })
      expect(ours(page).filter(said => said === text)).toHaveLength(1)
    },
  )

  test('"not yet" on the road is answered', async () => {
    const road = visit(bot.origin)
    await road.open('/')
    await road.press('Send', { text: 'her tube has just come out' })
    await road.press('Nothing. It is empty')
    await road.press('None of these')
    await road.press('Long tube, held by a balloon')
    await road.press('Send', { text: 'we have left' })
    await road.press('Not yet')
    const lines = linesOn(road.page())
    const said = lines.findIndex(({ text }) => text.startsWith('Not yet'))
    expect(said).toBeGreaterThan(0)
    expect(lines[said + 1]?.text).toContain('Noted. This line stays open')
  })

  test("a clinician's words stand under the clinician's name, also while a question is open", async () => {
    const clinician = visit(bot.origin)
    const board = await clinician.open('/board')
    await clinician.open(/href="(\/p\/[^"]+)"/.exec(board.markup)?.[1] ?? '')
    await clinician.press(/^Send/, { text: 'Keep it covered until I ring.' })
    const lines = await eventually('the words of the clinician', async () => {
      const found = linesOn(await family.open('/')).filter(({ text }) => text.includes('Keep it covered until I ring.'))
      return found.some(({ text }) => !text.includes('Not sent yet')) && found
    })
    expect(lines).toEqual([{ who: 'Amara Osei, feeding nurse', text: 'Keep it covered until I ring.' }])
    expect(family.page().buttons).toContain('Up to 15 minutes')
  })
})
