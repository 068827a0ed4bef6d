import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import type { Browser, Locator, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { axeFindings, chromiumPath, launchBrowser, phone } from '../support/browser.ts'
import { consoleAddresses } from '../support/console-routes.ts'
import { contrastFindings, contrastRatio } from '../support/contrast.ts'
import { clinicWith, eventually, newFolder, type Served, serve } from './process.ts'
import { visit } from './visit.ts'

const path = chromiumPath()
if (path === undefined)
  console.warn("left out: the clinic's pages in a browser (no chromium; set CHROMIUM to its path)")

/** Own goal for whoever changes tonight's number for the first time, at night. */
const TONIGHT = { clicks: 6, seconds: 60 }

/** Whoever does a thing for the first time, by the words on the screen; counts as a hand would. */
interface Newcomer {
  readonly page: Page
  clicks: number
  /** One press. */
  press(name: string | RegExp, role?: 'button' | 'link'): Promise<void>
  /** One press to open the list, one to choose. */
  choose(label: string, option: string | RegExp): Promise<void>
  /** One press into the field. */
  write(label: string, text: string): Promise<void>
}

function newcomer(page: Page): Newcomer {
  const hand: Newcomer = {
    page,
    clicks: 0,
    async press(name, role = 'button') {
      hand.clicks += 1
      await page
        .getByRole(role, { name, exact: typeof name === 'string' })
        .first()
        .click()
    },
    async choose(label, option) {
      hand.clicks += 2
      const list = page.getByLabel(label, { exact: true })
      await list.selectOption(typeof option === 'string' ? { label: option } : await labelOf(list, option))
    },
    async write(label, text) {
      hand.clicks += 1
      await page.getByLabel(label).fill(text)
    },
  }
  return hand
}

async function labelOf(list: Locator, says: RegExp): Promise<string> {
  const labels = await list.locator('option').allTextContents()
  const label = labels.find(each => says.test(each))
  if (label === undefined) throw new Error(`no choice ${says} among ${labels.slice(0, 20).join(' | ')}`)
  return (await list.locator('option', { hasText: label }).first().getAttribute('value')) ?? ''
}

/** Bytes of a page when it is first opened, styles and words in it. */
const FIRST_LOAD_BYTES = 100_000
/** A slow telephone link: 1.6 Mbit/s down, 0.75 up, 150 ms there and back; common practice among those who test pages, no source. */
const SLOW_LINK = { latency: 150, downloadThroughput: 200_000, uploadThroughput: 93_750 }

/** What somebody fills in. */
const FILLED = 'input:not([type=hidden]), select, textarea'

/** Presses Tab until another element of this kind has the focus. */
async function tabTo(page: Page, kind: string): Promise<void> {
  const isAt = (selector: string) =>
    page.evaluate(
      `(() => { const at = document.activeElement; const is = at !== window.tabbedFrom && at.matches(${JSON.stringify(selector)}); return is })()`,
    )
  await page.evaluate('window.tabbedFrom = document.activeElement')
  for (let presses = 0; presses < 30; presses += 1) {
    await page.keyboard.press('Tab')
    if (await isAt(kind)) return
  }
  throw new Error(`Tab comes to no ${kind}`)
}

/** What Tab does not come to, comes to out of order, or comes to without showing it. */
async function reachedByTab(page: Page): Promise<readonly string[]> {
  const count = (await page.evaluate(`(() => {
    const all = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')]
    const groups = new Set()
    window.toReach = all.filter(one => {
      if (one.offsetParent === null && getComputedStyle(one).position !== 'fixed') return false
      // Of radio buttons that go together Tab comes to one; arrows to the others.
      if (one.type !== 'radio') return true
      const isFirst = !groups.has(one.name)
      groups.add(one.name)
      return isFirst
    })
    window.came = []
    document.addEventListener('focusin', ({ target }) => {
      if (window.came.at(-1)?.target !== target) window.came.push({ target, isShown: getComputedStyle(target).outlineStyle !== 'none' })
    })
    document.activeElement?.blur()
    // A field for a date or a time has a place for each part of it.
    return window.toReach.reduce((sum, one) => sum + ({ 'datetime-local': 7, date: 4, time: 4 }[one.type] ?? 1), 0)
  })()`)) as number
  for (let presses = 0; presses < count; presses += 1) await page.keyboard.press('Tab')
  return (await page.evaluate(`(() => {
    const said = one => one?.outerHTML.slice(0, 90) ?? 'nothing'
    const wrong = window.toReach.flatMap((one, place) =>
      window.came[place]?.target === one ? [] : ['expected ' + said(one) + ', came to ' + said(window.came[place]?.target)])
    const unseen = window.came.filter(({ isShown }) => !isShown).map(({ target }) => 'not shown: ' + said(target))
    return [...wrong.slice(0, 1), ...unseen]
  })()`)) as string[]
}

describe.skipIf(path === undefined)("the clinic's pages in a browser", { timeout: 60_000 }, () => {
  const data = newFolder()
  const folder = newFolder()
  let browser: Browser
  let bot: Served
  const told: string[] = []

  beforeAll(async () => {
    clinicWith(folder.path, '  ladder-speak: [PT10M, PT20M, PT30M]\n')
    ;[browser, bot] = await Promise.all([launchBrowser(), serve({ data: data.path, clinic: folder.path })])
    const family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
    await family.press('Nothing. It is empty')
    await family.press('None of these')
    await family.press('Long tube, held by a balloon')
  })
  afterEach(async () => {
    await Promise.all(browser.contexts().map(context => context.close()))
  })
  afterAll(async () => {
    for (const line of told) console.log(line)
    await browser.close()
    await bot.stop()
    data.remove()
    folder.remove()
  })

  /** Does a thing as a newcomer from *Now*; how many presses and seconds it took. */
  async function task(
    what: string,
    work: (hand: Newcomer) => Promise<void>,
  ): Promise<{ clicks: number; seconds: number }> {
    const { page, strangers, errors } = await phone(browser)
    await page.goto(`${bot.origin}/now`)
    const hand = newcomer(page)
    const started = performance.now()
    await work(hand)
    const seconds = (performance.now() - started) / 1000
    told.push(`${what}: ${hand.clicks} presses, ${seconds.toFixed(1)} s of the machine`)
    expect(strangers).toEqual([])
    expect(errors).toEqual([])
    return { clicks: hand.clicks, seconds }
  }

  test("tonight's number is another in six presses, with the sentence read before it is saved", async () => {
    const { clicks, seconds } = await task("change tonight's number", async hand => {
      await hand.press('On call', 'link')
      await hand.press('Change a telephone number', 'link')
      await hand.choose('Who?', 'Amara Osei')
      await hand.page.getByLabel('New number').fill('+1 212 555 0198')
      await hand.press('Look at the change')
      await hand.page.getByText('changes from +1 212 555 0141 to +1 212 555 0198').waitFor()
      await hand.press('Save')
      await hand.page.getByText('Saved.').waitFor()
    })
    expect(clicks).toBeLessThanOrEqual(TONIGHT.clicks)
    expect(seconds).toBeLessThan(TONIGHT.seconds)
  })

  test('somebody else has tonight in six presses', async () => {
    const { clicks, seconds } = await task('somebody else tonight', async hand => {
      await hand.press('On call', 'link')
      await hand.press('Somebody else tonight', 'link')
      await hand.choose('Who?', 'Linh Tran')
      await hand.press('Look at the change')
      await hand.page.getByText('in place of Amara Osei').waitFor()
      await hand.press('Save')
      await hand.page.getByText('Linh Tran, now until today 8:00 am').waitFor()
    })
    expect(clicks).toBeLessThanOrEqual(TONIGHT.clicks)
    expect(seconds).toBeLessThan(TONIGHT.seconds)
  })

  test('Saturday is swapped, a hole is seen and a test call-out is sent', async () => {
    await task('swap Saturday', async hand => {
      await hand.press('On call', 'link')
      await hand.press('Swap or hand over a shift', 'link')
      await hand.choose('Which shift?', /Saturday 7 March 6:00 pm .*Amara Osei \(first\)/)
      await hand.choose('Who takes it?', 'Linh Tran')
      await hand.press('Look at the change')
      await hand.press('Save')
      await hand.page.getByText('Linh Tran takes the shift of Amara Osei as first').waitFor()
    })
    await task('see a hole that somebody leaves', async hand => {
      await hand.press('On call', 'link')
      await hand.press('Somebody is away', 'link')
      await hand.choose('Who?', 'Tomás Herrera')
      await hand.write('From', '2026-03-16T00:00')
      await hand.write('Until', '2026-03-18T00:00')
      await hand.press('Look at the change')
      await hand.page.getByText('This change leaves something open').waitFor()
      await hand.press('Save')
      await hand.page
        .getByText(/first: nobody from Monday 16 March/)
        .first()
        .waitFor()
    })
    await task('send a test call-out', async hand => {
      await hand.press('On call', 'link')
      await hand.press('Send a test call-out to Linh Tran')
      await hand.page.getByText('A test call-out goes to Linh Tran now').waitFor()
    })
  })

  test('a calendar is taken in by its address in nine presses, its days and gaps read before it is saved', async () => {
    const night = (title: string, rule: string) =>
      `BEGIN:VEVENT\r\nUID:${title}\r\nDTSTART;TZID=America/New_York:20260302T180000\r\nDTEND;TZID=America/New_York:20260303T080000\r\nRRULE:${rule}\r\nSUMMARY:${title}\r\nEND:VEVENT\r\n`
    const calendar = `BEGIN:VCALENDAR\r\nVERSION:2.0\r\n${night('Linh Tran', 'FREQ=DAILY')}${night('Deep clean', 'FREQ=WEEKLY')}END:VCALENDAR\r\n`
    const server = createServer((_request, response) => response.end(calendar))
    await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
    const { clicks, seconds } = await task('take in a calendar with an event that is no shift', async hand => {
      await hand.press('On call', 'link')
      await hand.press('Take in a calendar', 'link')
      await hand.choose('Which role does it fill?', 'second')
      await hand.write(
        'Address of a live calendar',
        `http://127.0.0.1:${(server.address() as AddressInfo).port}/rota.ics`,
      )
      await hand.press('Look at the days')
      await hand.page.getByText('This is the name of nobody here').waitFor()
      expect(await axeFindings(hand.page)).toEqual([])
      await hand.page.getByLabel('No shift. Leave out each "Deep clean".').check()
      hand.clicks += 1
      await hand.press('Look again without what is ticked')
      await hand.page.getByText('"second" follows the live calendar at 127.0.0.1').waitFor()
      expect(await axeFindings(hand.page)).toEqual([])
      await hand.press('Save')
      await hand.page.getByText('Saved.').waitFor()
    })
    server.close()
    expect(clicks).toBeLessThanOrEqual(9)
    expect(seconds).toBeLessThan(TONIGHT.seconds)
  })

  test('a case is opened from the list, taken, and the family is written to', async () => {
    await task('take a case and write to the family', async hand => {
      await hand.press(/^Sun \d{4} Go to hospital/, 'link')
      await hand.press('Ringing now')
      await hand.press('Back to the case', 'link')
      await hand.write('Your own words', 'Please go in now.')
      await hand.press('Send to the family')
      await hand.page.getByText('Your words are on their way').waitFor()
    })
  })

  test('a new case comes onto the open list by itself', async () => {
    const { page } = await phone(browser)
    await page.goto(`${bot.origin}/now`)
    const before = await page.locator('[data-code]').count()
    const family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'I want to talk to a person' })
    await eventually('the list has it', async () => {
      await page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
      return (await page.locator('[data-code]').count()) === before + 1
    })
  })

  test.each<[form: string, typed: readonly string[], seen: string | RegExp]>([
    ['/on-call/change/cover', ['Tom'], 'Tomás Herrera is on call as "first"'],
    ['/on-call/change/swap', ['Tuesday', 'Linh'], 'Linh Tran takes the shift of'],
    [
      '/on-call/change/leave',
      ['Dr. Y', '03162026\t0130PM', '03172026\t0130PM'],
      'Dr. Yusuf Demir is away from Mon 16 Mar 2026 1:30 PM',
    ],
    ['/on-call/change/number', ['Dr. Y', '+1 212 555 0187'], 'to +1 212 555 0187'],
    ['/on-call/change/rung-new', ['Dr. I'], 'It is then: 1. Day desk'],
    [
      '/on-call/change/weekly?role=second&day=monday&index=0&who=yusuf&starts=08:00&ends=08:00',
      ['Dr. I'],
      'Each Monday from 08:00 until 08:00',
    ],
    [
      '/settings/change/setting?id=left-check&value=PT10M',
      ['12'],
      'The setting "Ask whether they have left" is 12 minutes',
    ],
    ['/settings/change/date', ['04032026'], 'On Friday 3 April 2026 the clinic is closed'],
    ['/now/notice', [' '], 'What families are told first is changed.'],
  ])('the keyboard alone fills %s and sends it', async (form, typed, seen) => {
    const { page } = await phone(browser, { locale: 'en-US' })
    await page.goto(bot.origin + form)
    await page.locator('main form').last().locator(FILLED).first().focus()
    for (const [index, keys] of typed.entries()) {
      if (index > 0) await tabTo(page, FILLED)
      await page.keyboard.press('Control+a')
      for (const part of keys.split('\t')) {
        if (part !== keys.split('\t')[0]) await page.keyboard.press('Tab')
        await page.keyboard.type(part)
      }
    }
    await tabTo(page, 'button')
    await page.keyboard.press('Enter')
    await page.getByText(seen).first().waitFor()
  })

  // 320 px wide is also what a window of 1280 px is at 400 % (WCAG 2.2, 1.4.10 Reflow): 1280 / 4.
  test.each([0, 1, 2, 3, 4, 5])(
    'at 320 px every page fits, is whole for Tab and for axe, and takes at most 100 kB: every sixth page from %i',
    async part => {
      const { page, strangers, errors } = await phone(browser, {
        colorScheme: 'dark',
        viewport: { width: 320, height: 640 },
      })
      for (const address of consoleAddresses().filter((_one, index) => index % 6 === part)) {
        const response = await page.goto(bot.origin + address)
        expect([address, response?.status()]).toEqual([address, 200])
        expect((await response?.body())?.byteLength, address).toBeLessThanOrEqual(FIRST_LOAD_BYTES)
        await page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        const wide = await page.evaluate('document.documentElement.scrollWidth - document.documentElement.clientWidth')
        expect(wide, address).toBe(0)
        expect(await axeFindings(page, 'shape'), address).toEqual([])
        for (const colorScheme of ['light', 'dark'] as const) {
          await page.emulateMedia({ colorScheme })
          const { kinds, wrong } = await contrastFindings(page)
          expect([address, colorScheme, wrong]).toEqual([address, colorScheme, []])
          expect(kinds, address).toBeGreaterThan(2)
        }
        expect(await reachedByTab(page), address).toEqual([])
      }
      expect([strangers, errors]).toEqual([[], []])
    },
  )

  // WCAG 2.2: black on white is 21; #777 on white is just under 4.5 and #767676 just above (from memory, widely shown).
  test('the contrast that is worked out here is that of the guidelines, and axe finds no other', async () => {
    expect(contrastRatio([0, 0, 0], [255, 255, 255])).toBeCloseTo(21, 5)
    expect(contrastRatio([119, 119, 119], [255, 255, 255])).toBeLessThan(4.5)
    expect(contrastRatio([118, 118, 118], [255, 255, 255])).toBeGreaterThan(4.5)
    const { page } = await phone(browser)
    await page.setContent('<main style="background:#fff"><p style="color:#777">faint</p><p>plain</p></main>')
    expect((await contrastFindings(page)).wrong).toEqual([expect.stringContaining('faint')])
  })

  test.each([
    ['dark', ['/now', '/flows/skin']],
    ['light', ['/now']],
  ] as const)('axe has nothing against the colours either, %s', async (colorScheme, pages) => {
    const { page } = await phone(browser, { colorScheme, viewport: { width: 320, height: 640 } })
    for (const address of pages) {
      await page.goto(bot.origin + address)
      expect(await axeFindings(page, 'light'), address).toEqual([])
    }
  })

  test('over a slow telephone link the list of cases is usable within a second beyond what the machine itself takes', async () => {
    const { page, context } = await phone(browser)
    const opened = async (): Promise<number> => {
      const began = performance.now()
      await page.goto(`${bot.origin}/now`)
      await page.locator('[data-code] a').first().click({ trial: true })
      return performance.now() - began
    }
    await opened()
    const unhurried = await opened()
    const link = await context.newCDPSession(page)
    await link.send('Network.enable')
    await link.send('Network.emulateNetworkConditions', { offline: false, ...SLOW_LINK })
    const slow = await opened()
    told.push(
      `the list of cases, usable: ${Math.round(slow)} ms over a slow link, ${Math.round(unhurried)} ms without it`,
    )
    expect(slow - unhurried).toBeLessThan(1000)
  })
})
