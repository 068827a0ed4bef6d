import type { Browser } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { axeFindings, chromiumPath, launchBrowser, phone, type Site, startSite } from '../support/browser.ts'

const path = chromiumPath()
if (path === undefined)
  console.warn('left out: browser tests of the clinician pages (no chromium; set CHROMIUM to its path)')

const PAGES = [
  '/p/token-good',
  '/p/token-good/ring',
  '/p/token-good?did=take',
  '/p/token-old',
  '/p/token-bad',
  '/board',
]

describe.skipIf(path === undefined)('the clinician pages in a browser', { timeout: 60_000 }, () => {
  let browser: Browser
  let site: Site
  beforeAll(async () => {
    browser = await launchBrowser()
    site = await startSite()
  })
  afterEach(async () => {
    site.clinic.acts.length = 0
    await Promise.all(browser.contexts().map(context => context.close()))
  })
  afterAll(async () => {
    await browser.close()
    await site.stop()
  })

  test.each([true, false])(
    'two taps from the page: the link, then "Ringing now"; script %s',
    async javaScriptEnabled => {
      const { page, strangers } = await phone(browser, { javaScriptEnabled })
      await page.goto(`${site.url}/p/token-good`)
      expect(site.clinic.acts).toEqual([])
      await page.getByRole('button', { name: 'Ringing now' }).click()
      await page.getByRole('link', { name: 'Ring +1 202 555 0142' }).waitFor()
      expect(site.clinic.acts.map(a => a.action)).toEqual([{ kind: 'take', doing: { kind: 'ringing-now' } }])
      expect(strangers).toEqual([])
    },
  )

  test('the number and the four answers can be seen and reached in the first two screens of a phone', async () => {
    const { page } = await phone(browser)
    await page.goto(`${site.url}/p/token-good`)
    const last = await page.getByRole('button', { name: 'I cannot, pass on' }).boundingBox()
    expect(last?.y ?? 9999).toBeLessThan(2 * 740)
    const first = await page.getByRole('button', { name: 'Ringing now' }).boundingBox()
    expect((first?.y ?? 9999) + (first?.height ?? 0)).toBeLessThan(740)
  })

  test.each(['dark', 'light'] as const)('axe finds nothing on any page, %s', async colorScheme => {
    const { page } = await phone(browser, { colorScheme })
    const found: Record<string, string[]> = {}
    for (const address of PAGES) {
      await page.goto(site.url + address)
      for (const details of await page.locator('summary').all()) await details.click()
      const findings = await axeFindings(page, colorScheme)
      if (findings.length > 0) found[address] = findings
    }
    expect(found).toEqual({})
  })

  test('nothing scrolls sideways at 320 px', async () => {
    const { page } = await phone(browser, { viewport: { width: 320, height: 640 } })
    for (const address of PAGES) {
      await page.goto(site.url + address)
      const wide = await page.evaluate('document.documentElement.scrollWidth - document.documentElement.clientWidth')
      expect(wide, address).toBe(0)
    }
  })

  test('a message, a stop, a lowering and an outcome are sent as filled in', async () => {
    const { page } = await phone(browser)
    await page.goto(`${site.url}/p/token-good`)
    await page.getByLabel('Your own words').fill('Please go in now.')
    await page.getByRole('button', { name: 'Send to the family' }).click()
    await page.getByText('Your words are on their way').waitFor()
    await page.getByRole('button', { name: 'Stop: Have you arrived?' }).click()
    await page.getByText('Stopped.').waitFor()
    await page.getByText('Lower the urgency').click()
    await page.getByLabel('Lower to').selectOption('speak')
    await page.getByLabel('Reason').fill('seen on video')
    await page.getByRole('button', { name: 'Lower it' }).click()
    await page.getByText('The urgency was lowered').waitFor()
    await page.locator('summary', { hasText: 'Set the outcome' }).click()
    await page.getByLabel('Admitted').check()
    await page.getByLabel('Do not write to this family again').check()
    await page.getByRole('button', { name: 'Set the outcome' }).click()
    await page.getByText('The outcome is set').waitFor()
    expect(site.clinic.acts.map(a => a.action)).toEqual([
      { kind: 'write', text: 'Please go in now.' },
      { kind: 'stop-alarm', name: 'arrival-check' },
      { kind: 'lower', to: 'speak', reason: 'seen on video' },
      { kind: 'outcome', outcome: 'admitted', doNotWrite: true },
    ])
  })
})
