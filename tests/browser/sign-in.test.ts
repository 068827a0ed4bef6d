import type { Browser, BrowserContext, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { fallbackPage } from '../../src/channels/web-notice.ts'
import { ACCOUNT_PATHS } from '../../src/http/account-pages.ts'
import { type Server, serveHttp } from '../../src/http/server.ts'
import { aTeam, GOOD_PASSWORD, type Team } from '../support/a-clinic-team.ts'
import { axeFindings, chromiumPath, launchBrowser, phone } from '../support/browser.ts'
import { screenWording } from '../support/screen-words.ts'
import { foot } from '../support/web-family.ts'

const path = chromiumPath()
if (path === undefined) console.warn('left out: browser tests of signing in (no chromium; set CHROMIUM to its path)')

describe.skipIf(path === undefined)('signing in, in a browser', { timeout: 60_000 }, () => {
  let browser: Browser
  let team: Team
  let server: Server
  let url: string
  beforeAll(async () => {
    browser = await launchBrowser()
  })
  beforeEach(async () => {
    team = aTeam()
    server = await serveHttp({
      family: { fetch: async () => new Response('family') },
      mounts: ACCOUNT_PATHS.map(one => ({ path: one, fetch: team.pages.fetch })),
      health: async () => ({ ok: true }),
      busySeconds: () => undefined,
      fallback: await fallbackPage({ spoken: [{ wording: screenWording, language: 'en' }], foot, demonstration: true }),
      onFault: () => undefined,
      port: 0,
      stopWithinMs: 200,
    })
    url = `http://localhost:${server.port}`
  })
  afterEach(async () => {
    await Promise.all(browser.contexts().map(context => context.close()))
    await server.stop()
    await team.close()
  })
  afterAll(() => browser.close())

  const invitation = async (id: string) => `${url}/invited/${(await team.accounts.waysIn.invite('machine', id))?.token}`

  /** A key made of software, as the browser's own test protocol has it: it asks nobody and always says yes, or no. */
  async function withAuthenticator(context: BrowserContext, page: Page, isUserVerified = true) {
    const cdp = await context.newCDPSession(page)
    await cdp.send('WebAuthn.enable')
    const { authenticatorId } = await cdp.send('WebAuthn.addVirtualAuthenticator', {
      options: {
        protocol: 'ctap2',
        transport: 'internal',
        hasResidentKey: true,
        hasUserVerification: true,
        isUserVerified,
        automaticPresenceSimulation: true,
      },
    })
    const credentials = async () => (await cdp.send('WebAuthn.getCredentials', { authenticatorId })).credentials
    return { cdp, authenticatorId, credentials }
  }

  test('a passkey is set up from an invitation, signs in, and is listed; nothing else is asked', async () => {
    const { context, page, strangers, errors } = await phone(browser)
    const { credentials } = await withAuthenticator(context, page)
    await page.goto(await invitation('amara'))
    await page.getByLabel('A name for the passkey').fill('my phone')
    await page.getByRole('button', { name: 'Set up a passkey on this device' }).click()
    await page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
    await page.getByRole('region', { name: 'How you sign in' }).getByText('my phone').first().waitFor()
    expect(await credentials()).toMatchObject([
      { rpId: 'localhost', isResidentCredential: true, userHandle: expect.any(String) },
    ])
    await page.getByRole('button', { name: 'Sign out' }).click()
    await page.getByRole('button', { name: 'Sign in with a passkey' }).click()
    await page.getByText('Amara Example (amara)').waitFor()
    const deeds = (await team.accounts.store.audit()).map(({ did }) => did)
    expect(deeds).toEqual(['invited', 'invitation-used', 'passkey-added', 'signed-in', 'signed-out', 'signed-in'])
    expect([strangers, errors]).toEqual([[], []])
  })

  test('a key that does not ask its owner is not taken, and says so', async () => {
    const { context, page } = await phone(browser)
    await withAuthenticator(context, page, false)
    await page.goto(await invitation('amara'))
    await page.getByRole('button', { name: 'Set up a passkey on this device' }).click()
    await page.getByText('The passkey was not used').waitFor()
    expect((await team.accounts.store.account('amara')).passkeys).toEqual([])
  })

  test('what a key signed once signs in once: sent again, or with one sign changed, it is nothing', async () => {
    const { context, page } = await phone(browser)
    await withAuthenticator(context, page)
    await page.goto(await invitation('amara'))
    await page.getByRole('button', { name: 'Set up a passkey on this device' }).click()
    await page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
    await page.getByRole('button', { name: 'Sign out' }).click()
    const sent = page.waitForRequest(
      request => request.method() === 'POST' && request.url().endsWith('/sign-in/passkey'),
    )
    await page.getByRole('button', { name: 'Sign in with a passkey' }).click()
    const body = (await sent).postDataJSON() as { key: string }
    await page.getByText('Amara Example (amara)').waitFor()
    const post = async (key: string) => {
      const headers = { origin: url, 'content-type': 'application/json' }
      return (await fetch(`${url}/sign-in/passkey`, { method: 'POST', headers, body: JSON.stringify({ key }) })).status
    }
    expect(await post(body.key)).toBe(401)
    const changed = JSON.parse(body.key) as { response: Record<string, string> }
    for (const field of ['signature', 'authenticatorData', 'clientDataJSON']) {
      const text = changed.response[field] ?? ''
      const other = { ...changed, response: { ...changed.response, [field]: `${text.slice(0, 20)}A${text.slice(21)}` } }
      expect(await post(JSON.stringify(other)), field).toBe(401)
    }
  })

  test('a copied key, whose counter stands behind, signs nobody in', async () => {
    const { context, page } = await phone(browser)
    const { cdp, authenticatorId, credentials } = await withAuthenticator(context, page)
    await page.goto(await invitation('amara'))
    await page.getByRole('button', { name: 'Set up a passkey on this device' }).click()
    await page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
    const [copy] = await credentials()
    if (copy === undefined) throw new Error('no key was made')
    for (let i = 0; i < 2; i += 1) {
      await page.getByRole('button', { name: 'Sign out' }).click()
      await page.getByRole('button', { name: 'Sign in with a passkey' }).click()
      await page.getByText('Amara Example (amara)').waitFor()
    }
    await page.getByRole('button', { name: 'Sign out' }).click()
    await cdp.send('WebAuthn.removeCredential', { authenticatorId, credentialId: copy.credentialId })
    await cdp.send('WebAuthn.addCredential', { authenticatorId, credential: copy })
    await page.getByRole('button', { name: 'Sign in with a passkey' }).click()
    await page.getByText('This passkey is not known here').waitFor()
  })

  test('a second passkey is added to an account, and one is removed', async () => {
    const { context, page } = await phone(browser)
    await page.goto(await invitation('amara'))
    await page.getByLabel('New password').fill(GOOD_PASSWORD)
    await page.getByRole('button', { name: 'Set this password instead' }).click()
    await withAuthenticator(context, page)
    await page.getByLabel('A name for the passkey').fill('the ward computer')
    await page.getByRole('button', { name: 'Add a passkey' }).click()
    await page.getByText('The passkey is set up').waitFor()
    await page.getByRole('button', { name: 'Remove the ward computer' }).click()
    await page.getByText('The passkey is removed').waitFor()
  })

  test('all of it but passkeys works with script off: invitation, sign-in, people, sign-out', async () => {
    const { page } = await phone(browser, { javaScriptEnabled: false })
    await page.goto(await invitation('malia'))
    expect(await page.getByRole('button', { name: 'Set up a passkey on this device' }).isVisible()).toBe(false)
    await page.getByLabel('New password').fill(GOOD_PASSWORD)
    await page.getByRole('button', { name: 'Set this password instead' }).click()
    await page.getByRole('button', { name: 'Sign out' }).click()
    await page.goto(`${url}/people`)
    await page.getByLabel('Your short name at the clinic').fill('malia')
    await page.getByLabel('Password', { exact: true }).fill(GOOD_PASSWORD)
    await page.getByRole('button', { name: 'Sign in with the password' }).click()
    await page.getByRole('heading', { name: 'People' }).waitFor()
    await page.getByRole('button', { name: 'Invite Amara Example' }).click()
    expect(await page.getByLabel('Link').inputValue()).toMatch(/\/invited\/[\w-]{43}$/)
  })

  test('keyboard alone signs in', async () => {
    const { page } = await phone(browser)
    await page.goto(await invitation('malia'))
    await page.getByLabel('New password').fill(GOOD_PASSWORD)
    await page.getByRole('button', { name: 'Set this password instead' }).click()
    await page.getByRole('button', { name: 'Sign out' }).click()
    await page.getByLabel('Your short name at the clinic').waitFor()
    for (let i = 0; i < 8; i += 1) {
      await page.keyboard.press('Tab')
      if ((await page.evaluate('document.activeElement.id')) === 'name') break
    }
    await page.keyboard.type('malia')
    await page.keyboard.press('Tab')
    await page.keyboard.type(GOOD_PASSWORD)
    await page.keyboard.press('Enter')
    await page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
  })

  test.each(['dark', 'light'] as const)(
    'axe finds nothing and nothing scrolls sideways at 320 px, %s',
    async colorScheme => {
      const { page } = await phone(browser, { colorScheme, viewport: { width: 320, height: 640 } })
      const found: Record<string, unknown> = {}
      // Colours are the same on every page: in the light a few of them tell.
      const looked = colorScheme === 'dark' ? undefined : ['account', 'people', 'sign-in-wrong']
      const look = async (name: string) => {
        if (looked?.includes(name) === false) return
        for (const details of await page.locator('summary').all()) await details.click()
        const wide = await page.evaluate('document.documentElement.scrollWidth - document.documentElement.clientWidth')
        const findings = await axeFindings(page, colorScheme)
        if (findings.length > 0 || wide !== 0) found[name] = [findings, wide]
        if (process.env.SHOTS !== undefined)
          await page.screenshot({ path: `${process.env.SHOTS}/${name}-${colorScheme}.png`, fullPage: true })
      }
      await page.goto(await invitation('malia'))
      await look('invited')
      await page.getByLabel('New password').fill('password1234')
      await page.getByRole('button', { name: 'Set this password instead' }).click()
      await look('invited-refused')
      await page.getByLabel('New password').fill(GOOD_PASSWORD)
      await page.getByRole('button', { name: 'Set this password instead' }).click()
      await look('account')
      await team.tokenOf('malia')
      await page.reload()
      await look('account-two')
      await page.goto(`${url}/people`)
      await look('people')
      await page.locator('summary').first().waitFor()
      await page.getByRole('button', { name: 'Invite Linh Example' }).click()
      await look('invitation')
      await page.goto(`${url}/invited/${'A'.repeat(43)}`)
      await look('gone')
      await page.getByRole('link').first().waitFor()
      await page.goto(`${url}/account`)
      await page.getByRole('button', { name: 'Sign out' }).click()
      await look('sign-in')
      await page.getByLabel('Your short name at the clinic').fill('malia')
      await page.getByLabel('Password', { exact: true }).fill('wrong')
      await page.getByRole('button', { name: 'Sign in with the password' }).click()
      await look('sign-in-wrong')
      expect(found).toEqual({})
    },
  )
})
