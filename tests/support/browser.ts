import { AxeBuilder } from '@axe-core/playwright'
import { type Browser, type BrowserContext, type BrowserContextOptions, chromium, type Page } from 'playwright-core'
import { fallbackPage } from '../../src/channels/web-notice.ts'
import { drawingsIn } from '../../src/channels/webchat/drawing.ts'
import type { WebchatPorts } from '../../src/channels/webchat/family-log.ts'
import { type Webchat, webchat } from '../../src/channels/webchat/webchat.ts'
import { clinicianPages } from '../../src/http/clinician-pages.ts'
import { type Server, serveHttp } from '../../src/http/server.ts'
import { chromiumPath as found } from './missing.ts'
import { screenWording } from './screen-words.ts'
import { type WebClinic, webClinic } from './web-clinic.ts'
import { foot, type WebFamily, webFamily } from './web-family.ts'

/**
 * Where the browser is, or undefined where there is none: browser tests are then left out and `npm test` says so.
 * On a build server (CI=true) its absence is an error, so that these tests cannot go missing unnoticed.
 */
export function chromiumPath(): string | undefined {
  if (found === undefined && process.env.CI === 'true') {
    throw new Error(
      'no browser: install chromium or set CHROMIUM to its path; CI=true does not leave browser tests out',
    )
  }
  return found
}

/** No start-up traffic of the browser's own, no sandbox (tests may run as root). */
const FLAGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
]

export function launchBrowser(flags: readonly string[] = []): Promise<Browser> {
  const executablePath = chromiumPath()
  if (executablePath === undefined) throw new Error('no browser')
  return chromium.launch({ executablePath, headless: true, args: [...FLAGS, ...flags] })
}

/** The whole web side on a free port, with a family and a clinic in memory. */
export interface Site {
  readonly url: string
  readonly family: WebFamily
  readonly channel: Webchat
  readonly clinic: WebClinic
  stop(): Promise<void>
}

export async function startSite(over: Partial<WebchatPorts> = {}): Promise<Site> {
  const drawing = drawingsIn(new URL('../../flows/shared/drawings', import.meta.url).pathname)
  const family = webFamily({ drawing, heartbeatMs: 200, ...over })
  const channel = webchat(family.ports)
  const clinic = webClinic()
  const clinicians = clinicianPages(clinic.ports)
  const server: Server = await serveHttp({
    family: channel,
    mounts: [
      { path: '/p/', fetch: clinicians.fetch },
      { path: '/board', fetch: clinicians.fetch },
    ],
    health: async () => ({ ok: true }),
    busySeconds: () => undefined,
    fallback: await fallbackPage({ spoken: [{ wording: screenWording, language: 'en' }], foot, demonstration: true }),
    onFault: () => undefined,
    port: 0,
    stopWithinMs: 200,
  })
  await channel.start()
  return {
    url: `http://localhost:${server.port}`,
    family,
    channel,
    clinic,
    async stop() {
      await channel.stop()
      await server.stop()
    },
  }
}

/** A phone of 360 by 740 px, and every host it asks other than ours. */
export async function phone(
  browser: Browser,
  options: BrowserContextOptions = {},
): Promise<{ context: BrowserContext; page: Page; strangers: string[]; errors: string[] }> {
  const context = await browser.newContext({ viewport: { width: 360, height: 740 }, ...options })
  const page = await context.newPage()
  const strangers: string[] = []
  const errors: string[] = []
  context.on('request', request => {
    const { hostname, protocol } = new URL(request.url())
    if (protocol.startsWith('http') && hostname !== 'localhost') strangers.push(request.url())
  })
  page.on('pageerror', error => errors.push(error.message))
  page.on('console', message => {
    if (message.type() === 'error' && !/Failed to load resource/.test(message.text())) errors.push(message.text())
  })
  return { context, page, strangers, errors }
}

/** The rules of axe that colours decide: by day a page differs from itself by night in nothing else. */
const OF_COLOURS = ['color-contrast', 'link-in-text-block']

/**
 * What axe finds against WCAG 2.0, 2.1 and 2.2 A and AA, one line a finding.
 *
 * @param looks  by day only what colours decide is looked at: the same screens are looked at whole by night; `shape`: all but
 *   the colours, which cost more than the rest and come from the one style that pages share
 */
export async function axeFindings(page: Page, looks: 'dark' | 'light' | 'shape' = 'dark'): Promise<string[]> {
  const axe = axeOn(page)
  const { violations } = await (looks === 'light'
    ? axe.withRules(OF_COLOURS)
    : axe
        .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'])
        .disableRules(looks === 'shape' ? OF_COLOURS : [])
  ).analyze()
  const lasting = await Promise.all(
    violations.map(async found =>
      found.id === 'target-size' && !(await isSmallInView(page, found.nodes)) ? [] : [found],
    ),
  )
  return lasting.flat().map(v => `${v.id}: ${v.help} (${v.nodes.map(n => n.target.join(' ')).join('; ')})`)
}

/** No page here has frames, so nothing is gathered over them, which would take a page of its own each time. */
const axeOn = (page: Page): AxeBuilder => new AxeBuilder({ page }).setLegacyMode()

/** A button that the numbers at the foot cover in part, as the page happens to be scrolled, is no small one. */
async function isSmallInView(page: Page, nodes: readonly { readonly target: readonly unknown[] }[]): Promise<boolean> {
  for (const { target } of nodes) {
    await page
      .locator(String(target.at(-1)))
      .first()
      .evaluate(button => button.scrollIntoView({ block: 'center' }))
    const { violations } = await axeOn(page).withRules(['target-size']).analyze()
    if (violations.some(found => found.nodes.some(node => String(node.target.at(-1)) === String(target.at(-1)))))
      return true
  }
  return false
}
