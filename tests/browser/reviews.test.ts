import { type ServerType, serve } from '@hono/node-server'
import type { Browser } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { consolePages } from '../../src/http/console/console.ts'
import { type FigureTable, HIDDEN } from '../../src/review/figure-table.ts'
import { reviewTables } from '../../src/review/review-tables.ts'
import { reviewFigures, type Score } from '../../src/review/score.ts'
import { instant } from '../../src/time/instant.ts'
import { axeFindings, chromiumPath, launchBrowser, phone } from '../support/browser.ts'
import { consoleBeside, REVIEWED, someone } from '../support/console-people.ts'
import { aScore, shippedRubric } from '../support/review-parts.ts'

const path = chromiumPath()
if (path === undefined)
  console.warn('left out: browser tests of the pages Reviews (no chromium; set CHROMIUM to its path)')

const PAGES = ['/reviews', `/reviews/case/${REVIEWED}?step=1`, '/reviews/figures', '/reviews/actions']

describe.skipIf(path === undefined)('the pages Reviews in a browser', () => {
  let browser: Browser
  let server: ServerType
  let url: string
  const did: string[] = []
  beforeAll(async () => {
    browser = await launchBrowser()
    const { fetch } = consolePages({
      ...consoleBeside(text => void did.push(text)),
      signedIn: async () => someone(['reviewer']),
      now: () => instant(0),
    })
    url = await new Promise(resolve => {
      server = serve({ fetch, port: 0, hostname: '127.0.0.1' }, ({ port }) => resolve(`http://127.0.0.1:${port}`))
    })
  })
  afterAll(async () => {
    await browser.close()
    await new Promise(resolve => server.close(resolve))
  })

  test('axe finds nothing, and nothing scrolls sideways at 320 px', async () => {
    const { page, strangers } = await phone(browser, { viewport: { width: 320, height: 640 } })
    const found: Record<string, unknown> = {}
    for (const address of PAGES) {
      await page.goto(url + address)
      const findings = await axeFindings(page, 'dark')
      const wide = await page.evaluate('document.documentElement.scrollWidth - document.documentElement.clientWidth')
      if (findings.length > 0 || wide !== 0) found[address] = [findings, wide]
      if (process.env.SHOTS !== undefined)
        await page.screenshot({ path: `${process.env.SHOTS}/reviews-${PAGES.indexOf(address)}.png`, fullPage: true })
    }
    expect(found).toEqual({})
    expect(strangers.filter(address => !address.startsWith(url))).toEqual([])
  })

  test('at 1000 px the tables with the most and the longest in them are whole: nothing of a figure is cut off', async () => {
    const concerns =
      'Balloon|Bleeding|Something is broken|Tube blocked|Trouble with feeds|Leaking|Medicine|Skin round the opening|Wants a person|Tube moved|Tube out'.split(
        '|',
      )
    const hours: FigureTable = {
      ...{ id: 'hours', title: 'By hour', says: '', head: ['hour', 'all', ...concerns] },
      rows: [['00–01', HIDDEN, ...concerns.map(() => HIDDEN)]],
    }
    const pairs = Array.from({ length: 6 }, (_one, at): [string, Score[]] => [`c${at}`, [aScore('ana'), aScore('ben')]])
    const agreement = reviewTables(
      shippedRubric,
      reviewFigures(shippedRubric, new Map(pairs), () => 'set-out'),
    )
    const beside = consoleBeside(() => undefined)
    const { fetch } = consolePages({
      ...{ ...beside, reviews: { ...beside.reviews, report: async () => [hours, ...agreement] } },
      ...{ signedIn: async () => someone(['reviewer']), now: () => instant(0) },
    })
    const html = await (await fetch(new Request('http://localhost/reviews/report'))).text()
    const { page } = await phone(browser, { viewport: { width: 1000, height: 800 } })
    await page.setContent(html)
    const cut = await page.evaluate(
      "[...document.querySelectorAll('.figures .wide')].filter(each => each.scrollWidth > each.clientWidth).map(each => each.getAttribute('aria-label'))",
    )
    expect(await page.locator('.figures table').count()).toBe(4)
    expect(cut).toEqual([])
  })

  test('keyboard alone, with script off, steps through a case and hands in its score', async () => {
    const { page } = await phone(browser, { javaScriptEnabled: false })
    await page.goto(`${url}/reviews/case/${REVIEWED}?step=1`)
    await page.getByRole('link', { name: 'Next step' }).first().focus()
    await page.keyboard.press('Enter')
    await page.waitForURL(/step=2/)
    for (const { id } of shippedRubric.items) {
      await page.locator(`input[name="item.${id}"]`).first().focus()
      await page.keyboard.press('Space')
    }
    for (const name of ['safe', 'should']) {
      await page.locator(`input[name="${name}"]`).first().focus()
      await page.keyboard.press('Space')
    }
    await page.getByRole('button', { name: 'Hand in the score' }).focus()
    await page.keyboard.press('Enter')
    await page.getByText('Your score is in.').waitFor()
    expect(did).toContain('score 0123')
  })
})
