import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { newFolder, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

/** Sunday 1 March 2026, 8 in the morning in New York, of a clinic that opens on Monday. */
describe('the clinic pages of the real process, without script', () => {
  const data = newFolder()
  let bot: Served
  let clerk: Visit
  let family: Visit

  beforeAll(async () => {
    bot = await serve({ data: data.path })
    clerk = visit(bot.origin)
    family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
    await family.press('Nothing. It is empty')
    await family.press('None of these')
    await family.press('Long tube, held by a balloon')
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
  })

  test('a case is on the list with what is due next, and one press leads to writing to the family', async () => {
    const { text, markup } = await clerk.open('/now')
    expect(text).toMatch(/Sun \d{4} Go to hospital/)
    expect(text).toMatch(/Paged again at 2:1\d am if nobody answers/)
    const path = /href="(\/now\/open\/[0-9a-f]{32}\?to=write)"/.exec(markup)?.[1] ?? ''
    await clerk.open(path)
    await clerk.press('Send to the family', { text: 'Please go in now. I ring the desk.' })
    await family.open('/')
    expect(family.page().text).toContain('Please go in now. I ring the desk.')
  })

  test("a night with a journey to hospital is signed over only once it is somebody's, and the family hears whose", async () => {
    await clerk.open('/now')
    await clerk.press('Sign the night over')
    expect(clerk.page().status).toBe(409)
    expect(clerk.page().text).toContain('nobody has them yet: Sun')
    await clerk.press('Give', { taker: 'malia' })
    expect(clerk.page().text).toContain('Malia Kealoha looks after it')
    await clerk.press('Sign the night over')
    expect(clerk.page().text).toContain('Signed over by Amara Osei')
    await family.open('/')
    expect(family.page().text).toContain('Malia Kealoha of the clinic looks after your messages from now on.')
  })

  test('what families are told first stands above their advice, over a restart, until it is taken off', async () => {
    await clerk.open('/now/notice')
    await clerk.press('Tell families now', { kind: 'closed', hours: '4' })
    const first = (await visit(bot.origin).open('/')).text
    expect(first).toContain('Right now no one can be paged from here until today 6:')
    expect(first.indexOf('no one can be paged')).toBeLessThan(first.indexOf('If the tube came out'))
    expect((await family.open('/')).text).toContain('Ring the clinic: +1 212 555 0110.')
    await bot.kill()
    bot = await serve({ data: data.path, port: Number(new URL(bot.origin).port) })
    expect((await visit(bot.origin).open('/')).text).toContain('no one can be paged from here')
    await clerk.open('/now/notice')
    await clerk.press('Take it off now')
    expect((await visit(bot.origin).open('/')).text).not.toContain('no one can be paged from here')
  })

  test('the sheet for the wall has people with their numbers, the order of paging and the codes', async () => {
    const { text } = await clerk.open('/now/print')
    for (const words of ['Amara Osei', '+1 212 555 0141', 'Ward 4 desk', 'Emergency: 911', 'If the line does not work'])
      expect(text).toContain(words)
    expect(text).toMatch(/Sun \d{4} Go to hospital/)
    expect(family.everything.join()).not.toContain('555 0141')
  })
})
