import { mkdtempSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { axeFindings, chromiumPath, launchBrowser, phone } from '../support/browser.ts'
import { newFolder, type Served, serve } from './process.ts'

const path = chromiumPath()
if (path === undefined) console.warn('left out: the whole bot in a browser (no chromium; set CHROMIUM to its path)')

/** Screenshots of every screen are kept when SCREENSHOTS names a folder. */
const shots = process.env.SCREENSHOTS ?? mkdtempSync(join(tmpdir(), 'smallhours-shots-'))

const hospital = "Harbour Point Children's Hospital"

describe.skipIf(path === undefined)('the real process in a browser', { timeout: 90_000 }, () => {
  let browser: Browser
  let bot: Served
  const data = newFolder()
  beforeAll(async () => {
    browser = await launchBrowser()
    bot = await serve({ data: data.path })
  })
  afterEach(async () => {
    await Promise.all(browser.contexts().map(context => context.close()))
  })
  afterAll(async () => {
    await browser.close()
    await bot.stop()
    data.remove()
  })

  const shoot = async (page: Page, name: string): Promise<void> => {
    await page.screenshot({ path: join(shots, `${name}.png`) })
  }
  const asked = async (page: Page, words: string): Promise<void> => {
    try {
      await page.getByRole('heading', { name: words }).waitFor({ timeout: 10_000 })
    } catch (error) {
      await page.screenshot({ path: join(shots, 'FAILED.png'), fullPage: true })
      throw error
    }
  }
  /** A button that does not rest after the tap before. */
  const restedButton = (page: Page, name: string) =>
    page
      .locator('main')
      .getByRole('button', { name, exact: true })
      .and(page.locator('button:not([aria-disabled="true"])'))
      .last()
  /** Taps an answer as a person does: once the button may be tapped. */
  const tap = async (page: Page, name: string, then: string): Promise<void> => {
    await restedButton(page, name).click()
    await asked(page, then)
  }
  const write = async (page: Page, words: string, then: string): Promise<void> => {
    await page.locator('#text').fill(words)
    await page.getByRole('button', { name: 'Send', exact: true }).click()
    await asked(page, then)
  }
  /** Nothing scrolls sideways (WCAG 2.2, 1.4.10 Reflow, at 320 CSS px). */
  const sideways = (page: Page): Promise<number> =>
    page.evaluate('document.documentElement.scrollWidth - document.documentElement.clientWidth')

  const steps: readonly (readonly [how: 'tap' | 'write', what: string, then: string])[] = [
    ['tap', 'Nothing. It is empty', 'Look at your child now'],
    ['tap', 'None of these', "Which of these is or was your child's tube?"],
    ['tap', 'Long tube, held by a balloon', 'When did the tube come out?'],
  ]
  const byTap: typeof steps = [
    ...steps,
    ['tap', 'Up to half an hour ago', 'How long does it take'],
    ['tap', 'Up to 30 minutes', 'What number can a clinician ring you on?'],
    ['write', '202 555 0142', 'When was the very first tube put in?'],
    ['tap', '1 to 6 weeks ago', 'Is it risky for your child to be without feed?'],
  ]
  const byWords: typeof steps = [
    ...steps,
    ['write', 'about 20 minutes ago', 'So: between'],
    ['tap', 'Yes', 'How long does it take'],
    ['write', '25 minutes', 'What number can a clinician ring you on?'],
    ['write', '202 555 0142', 'When was the very first tube put in?'],
  ]

  const converse = async (page: Page, opening: 'tap' | 'write', list: typeof steps, look = async (_: string) => {}) => {
    await page.goto(bot.origin)
    if (opening === 'tap') await tap(page, 'The tube came out', 'Look at the opening')
    else await write(page, 'her tube has just come out', 'Look at the opening')
    for (const [how, what, then] of list) {
      await (how === 'tap' ? tap : write)(page, what, then)
      await look(then.replace(/[^a-z]+/gi, '-').slice(0, 24))
    }
  }

  /** Gives the questions that are left "Not sure" until the family is told to leave. */
  const untilLeave = async (page: Page): Promise<void> => {
    for (let turn = 0; turn < 16; turn++) {
      if (await page.getByText(`Leave now for ${hospital}`).count()) return
      const serial = await page.locator('.ask').getAttribute('data-serial')
      await restedButton(page, 'Not sure').click()
      await page.locator(`.ask:not([data-serial="${serial}"])`).waitFor()
    }
    throw new Error('sixteen answers and still not told to leave')
  }

  test.each([
    ['by tap', 'tap', byTap, true],
    ['by typed words', 'write', byWords, true],
    ['with script off, by tap', 'tap', byTap, false],
    ['with script off, by typed words', 'write', byWords, false],
  ] as const)(
    'a family comes to "leave now" %s, without a request to any other host',
    async (name, how, list, script) => {
      const { page, strangers, errors } = await phone(browser, { javaScriptEnabled: script })
      const file = name.replace(/[^a-z]+/g, '-')
      if (!script) {
        // Without script nothing waits: each answer is a whole page.
        await converseWithoutScript(page, how, list)
      } else {
        await converse(page, how, list)
        await untilLeave(page)
      }
      await page.getByText(`Leave now for ${hospital}`).waitFor()
      await shoot(page, `leave-${file}`)
      expect(await page.getByText('Clinic: Amara').count()).toBe(0)
      expect(strangers).toEqual([])
      expect(errors).toEqual([])
    },
  )

  const converseWithoutScript = async (page: Page, how: 'tap' | 'write', list: typeof steps): Promise<void> => {
    const press = async (label: string, then: string) => {
      await page.locator('main').getByRole('button', { name: label, exact: true }).last().click()
      await asked(page, then)
    }
    await page.goto(bot.origin)
    if (how === 'tap') await press('The tube came out', 'Look at the opening')
    else await write(page, 'her tube has just come out', 'Look at the opening')
    for (const [way, what, then] of list)
      await (way === 'tap' ? press : (w: string, t: string) => write(page, w, t))(what, then)
    for (let turn = 0; turn < 16; turn++) {
      if (await page.getByText(`Leave now for ${hospital}`).count()) return
      await page.locator('.ask').getByRole('button', { name: 'Not sure', exact: true }).click()
    }
  }

  test('a clinician takes the case with two taps; the family reads name and time without a reload', async () => {
    const family = await phone(browser)
    await converse(family.page, 'write', byWords)
    await family.page.evaluate('window.notReloaded = true')

    const clinician = await phone(browser)
    await clinician.page.goto(`${bot.origin}/board`)
    await shoot(clinician.page, 'board')
    const link = clinician.page.getByRole('link', { name: /Open what they would see/ }).first()
    await link.click()
    await clinician.page.getByRole('heading', { name: 'Your answer' }).waitFor()
    await shoot(clinician.page, 'case')
    const time = clinician.page.locator('.times button').first()
    const by = (await time.textContent())?.trim() ?? ''
    await time.click()
    await clinician.page.getByText('You have this case.').waitFor()

    await family.page.getByText(`says: "I will ring you by ${by}"`).first().waitFor({ timeout: 5_000 })
    await family.page.getByText('Amara Osei, feeding nurse, has taken this on').first().waitFor()
    expect(await family.page.evaluate('window.notReloaded')).toBe(true)
    await shoot(family.page, 'taken')
    expect([...family.errors, ...clinician.errors, ...family.strangers, ...clinician.strangers]).toEqual([])
  })

  test('a question drawn anew right after a tap goes on resting; "Talk to a person" does not wait', async () => {
    const { page } = await phone(browser)
    await page.goto(bot.origin)
    await tap(page, 'The tube came out', 'Look at the opening')
    await restedButton(page, 'Nothing. It is empty').click()
    await asked(page, 'Look at your child now')
    // The server tells of the reply once more when it has been delivered: the answers rest all the same.
    const resting = page.locator('.ask button[aria-disabled="true"]')
    const answers = await page.locator('.ask button').count()
    for (let looks = 0; looks < 6; looks++) expect([0, answers]).toContain(await resting.count())
    await page.locator('.ask button').first().click({ force: true })
    await page.getByRole('button', { name: 'Talk to a person' }).click()
    await page.getByText('A person has been asked for.').waitFor({ timeout: 5_000 })
    expect(await page.getByText('Ring 911 now. Say your child has a feeding tube').count()).toBe(0)
  })

  test('a reload and a second tab keep everything', async () => {
    const { context, page } = await phone(browser)
    await converse(page, 'write', byWords)
    const lines = () => page.locator('#log article').allTextContents()
    // A line is marked until it has gone out; then it is marked no more.
    await expect.poll(async () => (await lines()).join(' ')).not.toContain('Not sent yet')
    const before = await lines()
    await page.reload()
    expect(await lines()).toEqual(before)
    expect(before.length).toBeGreaterThan(12)
    const second = await context.newPage()
    await second.goto(bot.origin)
    expect(await second.locator('#log article').allTextContents()).toEqual(before)
    // What is answered in one tab is answered in the other.
    await tap(second, 'Not sure', 'Is it risky for your child to be without feed?')
    await asked(page, 'Is it risky for your child to be without feed?')
  })

  test.each(['dark', 'light'] as const)('axe finds nothing on any page of either side, %s', async colorScheme => {
    const found: Record<string, string[]> = {}
    const { context, page } = await phone(browser, { colorScheme })
    const look = async (name: string): Promise<void> => {
      await shoot(page, `${colorScheme}-${name}`)
      // High enough that nothing lies under the numbers at the foot: axe measures a half-covered button as a small one.
      await page.setViewportSize({ width: 360, height: 6_000 })
      const findings = await axeFindings(page, colorScheme)
      await page.setViewportSize({ width: 360, height: 740 })
      if (findings.length > 0) found[name] = findings
    }
    // Every question is looked at in tests/browser/family.test.ts: here the pages as the real process sends them.
    // By day the colours of the first screen, and of the clinic's side, tell of all.
    if (colorScheme === 'dark') {
      await converse(page, 'write', byWords)
      await untilLeave(page)
    } else await page.goto(bot.origin)
    await look('talk')
    for (const address of ['/handover', '/nowhere', '/offline', '/board']) {
      await page.goto(bot.origin + address)
      await look(address.slice(1))
    }
    await page
      .getByRole('link', { name: /Open what they would see/ })
      .first()
      .click()
    await page.getByRole('heading', { name: 'Your answer' }).waitFor()
    await look('case')
    await page.getByRole('button', { name: 'Ringing now' }).click()
    await page.getByRole('heading', { name: 'You have this case. Ring now.' }).waitFor()
    await look('ring')
    await context.close()
    expect(found).toEqual({})
  })

  test('320 px wide nothing scrolls sideways, on either side', async () => {
    const { page } = await phone(browser, { viewport: { width: 320, height: 640 } })
    const wide: Record<string, number> = {}
    const look = async (name: string): Promise<void> => {
      const by = await sideways(page)
      if (by !== 0) wide[name] = by
    }
    await converse(page, 'write', byWords, look)
    await untilLeave(page)
    await shoot(page, 'narrow-leave')
    await look('leave')
    for (const address of ['/handover', '/nowhere', '/offline', '/board']) {
      await page.goto(bot.origin + address)
      await shoot(page, `narrow-${address.slice(1)}`)
      await look(address)
    }
    await page
      .getByRole('link', { name: /Open what they would see/ })
      .first()
      .click()
    await page.getByRole('heading', { name: 'Your answer' }).waitFor()
    await shoot(page, 'narrow-case')
    await look('case')
    expect(wide).toEqual({})
  })
})
