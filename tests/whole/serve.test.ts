import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { eventually, newFolder, pause, root, type Served, serve } from './process.ts'
import { type Page, type Visit, visit } from './visit.ts'

/** Largest page a family is sent, in bytes (inclusive): a few seconds on a poor line. Our own budget. */
const PAGE_BYTES_MAX = 60_000

const clinic = parse(readFileSync(join(root, 'deploy/demo-clinic/clinic.yaml'), 'utf8')) as {
  clinic: { name: string }
  numbers: Record<'emergency' | 'families-ring', { number: string }>
  people: Record<string, Reachable>
  desks: Record<string, Reachable>
}
interface Reachable {
  'page-at': readonly { address?: string }[]
  'private-number'?: string
}
const reachables = [...Object.values(clinic.people), ...Object.values(clinic.desks)]
const privateNumbers = reachables.flatMap(one => one['private-number'] ?? [])
const privateAddresses = reachables.flatMap(one => one['page-at'].flatMap(({ address }) => address ?? []))

const digits = (text: string): string => text.replace(/[^\d]/g, '')

/** What every page of a family holds, the one of an unknown address too. */
function expectFamilyPage(page: Page): void {
  expect(page.bytes, page.path).toBeLessThanOrEqual(PAGE_BYTES_MAX)
  expect(page.text, page.path).toContain('Demonstration, not approved for care')
  const tel = [...page.markup.matchAll(/href="tel:([^"]+)"/g)].map(match => match[1])
  expect(tel, page.path).toContain(clinic.numbers.emergency.number)
  expect(tel, page.path).toContain(clinic.numbers['families-ring'].number.replace(/ /g, ''))
}

describe('the real process, by form posts alone', () => {
  const data = newFolder()
  let bot: Served
  let family: Visit
  let clinician: Visit
  const seen: Page[] = []

  beforeAll(async () => {
    bot = await serve({ data: data.path })
    family = visit(bot.origin)
    clinician = visit(bot.origin)
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
  })

  const look = (page: Page): Page => {
    expectFamilyPage(page)
    seen.push(page)
    return page
  }
  /** Answers by the button with this label; the next question is there when the post returns. */
  const tap = async (label: string): Promise<Page> => look(await family.press(label))
  const write = async (text: string): Promise<Page> => look(await family.press('Send', { text }))

  test('a family goes from the first page to "leave now"', async () => {
    const first = look(await family.open('/'))
    expect(first.text.indexOf('Stop any feed')).toBeGreaterThan(0)
    expect(first.text.indexOf('Stop any feed')).toBeLessThan(first.text.indexOf('What is wrong?'))
    const advised = await write('her tube has just come out')
    // Holding advice and the emergency number stand above the first question.
    const asked = advised.text.indexOf('What is in it now?')
    expect(asked).toBeGreaterThan(advised.text.indexOf('Keep the tube that came out'))
    expect(advised.text).toContain('Ring 911 now')

    await tap('Nothing. It is empty')
    await tap('None of these')
    const sent = await tap('Long tube, held by a balloon')
    expect(sent.text).toContain("You will need to go to Harbour Point Children's Hospital.")
    expect(sent.text).toContain('has been paged')
    await write('about 20 minutes ago')
    await tap('Yes')
    await write('25 minutes')
    await write('202 555 0142')

    const answered = new Set<string>()
    const leaves = () => /Leave now for Harbour Point/.test(family.page().text)
    for (let turn = 0; turn < 20 && !leaves(); turn++) {
      const question = /<h2 id="question"[^>]*>([^<]*)</.exec(family.page().markup)?.[1] ?? ''
      expect(answered, `asked twice: ${question}`).not.toContain(question)
      answered.add(question)
      await tap('Not sure')
    }
    expect(family.page().text).toContain("Leave now for Harbour Point Children's Hospital.")
    expect(family.page().text).toContain('You said it takes up to 25 minutes')
    expect(family.page().buttons).toContain("We can't get there")
  })

  test('the page reached the receivers of the demonstration and tells what decides', async () => {
    const board = await eventually('mail and web hook on the board', async () => {
      const page = await clinician.open('/board')
      return /by e-mail/.test(page.text) && /by signed web hook/.test(page.text) ? page : undefined
    })
    expect(board.text).toContain("arrived at the demonstration's own receiver")
    expect(board.text).toContain('GO TO HOSPITAL')
    expect(board.text).toContain('Demonstration, not approved for care')
  })

  test('looking at the page takes nothing; pressing takes it, and the family reads who rings and by when', async () => {
    const link = /href="(\/p\/[^"]+)"/.exec(clinician.page().markup)?.[1] ?? ''
    const page = await clinician.open(link)
    expect(digits(page.text)).toContain('2025550142')
    await visit(bot.origin).open(link)
    expect((await fetch(bot.origin + link, { method: 'HEAD' })).status).toBe(200)
    await pause(300)
    expect((await family.open('/')).text).not.toContain('has taken this on')

    const by = page.buttons.find(label => /^\d{1,2}:\d\d [ap]m$/.test(label)) ?? ''
    const taken = await clinician.press(by)
    expect(taken.text).toContain('You have this case.')
    const told = await eventually('the family reads who has taken it', async () => {
      const now = await family.open('/')
      return /has taken this on/.test(now.text) ? now : undefined
    })
    look(told)
    expect(told.text).toContain(`Amara Osei, feeding nurse, has taken this on and says: "I will ring you by ${by}"`)
    expect(told.text).toContain('on your phone that ends in 42')
    expect((await clinician.open('/board')).text).toContain(`to be in touch by ${by}`)
    expect((await family.open('/handover')).text).toMatch(
      /tube came out\. Out since between \d:\d\d am and \d:\d\d am\./,
    )
  })

  test('every other page of a family holds both numbers and the banner, also where there is nothing', async () => {
    for (const path of ['/handover', '/offline', '/nowhere', '/p', '/../etc/passwd']) {
      const page = await family.open(path)
      expectFamilyPage(page)
      seen.push(page)
    }
    expect((await family.open('/nowhere')).status).toBe(404)
  })

  test('no private number and no private address was sent to anyone by web', () => {
    expect(privateNumbers.length).toBeGreaterThan(4)
    const everything = [...family.everything, ...clinician.everything]
    for (const number of privateNumbers)
      for (const sent of everything) expect(digits(sent).includes(digits(number)), number).toBe(false)
    for (const address of privateAddresses.filter(one => one.includes('@')))
      for (const sent of family.everything) expect(sent.includes(address), address).toBe(false)
  })

  test('nothing that a log keeps names the family', () => {
    expect(bot.output()).not.toContain('555 0142')
    expect(bot.output()).not.toContain('tube has just')
    const largest = Math.max(...seen.map(({ bytes }) => bytes))
    const slowest = Math.max(...seen.map(({ tookMs }) => tookMs))
    console.log(`largest family page ${largest} bytes, slowest ${slowest.toFixed(0)} ms of ${seen.length}`)
  })
})
