import { execFile } from 'node:child_process'
import { readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { promisify } from 'node:util'
import type { Browser, BrowserContext, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest'
import { addApproval, approvalsFile } from '../../src/cli/approvals-folder.ts'
import { loadLine } from '../../src/cli/load-line.ts'
import { approvedSources } from '../../src/cli/roll-back.ts'
import { instant } from '../../src/time/instant.ts'
import { GOOD_PASSWORD } from '../support/a-clinic-team.ts'
import { chromiumPath, launchBrowser } from '../support/browser.ts'
import { ROOT } from '../support/clone.ts'
import { type HttpsFront, httpsFront } from '../support/https-front.ts'
import { APPROVERS, NOTHING_FOR_FICTION, walkedAlready, wholeClinic } from '../support/whole-clinic.ts'
import { eventually, NIGHT, newFolder, type Served, serve } from './process.ts'

// As the preload does it in the processes: nothing counts as kept for fiction.
vi.mock('../../src/config/fiction.ts', async original => ({
  ...(await original<typeof import('../../src/config/fiction.ts')>()),
  isForFiction: () => false,
  isReservedName: () => false,
}))

const path = chromiumPath()
if (path === undefined) console.warn('left out: a real clinic in a browser (no chromium; set CHROMIUM to its path)')

const HOST = 'feeding.quay.test'
const PUBLIC = `https://${HOST}`
const laterClock = fileURLToPath(new URL('./later-clock.js', import.meta.url))
const PRELOAD = [laterClock, NOTHING_FOR_FICTION]
const DAY_MS = 86_400_000
/** Own goals for a newcomer, as for tonight's number; approving means reading, which no test can hurry. */
const MOST = { presses: 6, seconds: 60 }

/** Somebody at the clinic with a browser of their own; presses are counted as a hand makes them. */
class Hand {
  presses = 0
  readonly page: Page
  readonly context: BrowserContext
  constructor(context: BrowserContext, page: Page) {
    this.context = context
    this.page = page
  }
  async press(name: string | RegExp, role: 'button' | 'link' = 'button'): Promise<void> {
    this.presses += 1
    const exact = typeof name === 'string'
    await this.page.getByRole(role, { name, exact }).first().click()
  }
  async tick(label: string): Promise<void> {
    this.presses += 1
    await this.page.getByLabel(label, { exact: true }).check()
  }
  async choose(label: string, option: string): Promise<void> {
    this.presses += 2
    await this.page.getByLabel(label, { exact: true }).selectOption({ label: option })
  }
  sees(text: string | RegExp): Promise<void> {
    return this.page.getByText(text).first().waitFor()
  }
  async open(address: string): Promise<void> {
    await this.page.goto(`${PUBLIC}${address}`)
  }
}

describe.skipIf(path === undefined)('a real clinic, by browser, signed in', { timeout: 60_000 }, () => {
  const folder = newFolder()
  const told: string[] = []
  const strangers: string[] = []
  let place: { readonly clinic: string; readonly data: string }
  let bot: Served
  let front: HttpsFront
  let browser: Browser
  let malia: Hand
  const leads = new Map<string, Hand>()

  beforeAll(async () => {
    place = wholeClinic(folder.path, instant(NIGHT - DAY_MS), ['someone'])
    filesKept('someone')
    front = await httpsFront(HOST, () => bot.origin)
    ;[browser, bot] = await Promise.all([
      launchBrowser(front.flags),
      serve({ data: place.data, clinic: place.clinic, preload: PRELOAD }),
    ])
  }, 60_000)
  afterAll(async () => {
    for (const line of told) console.log(line)
    await browser?.close()
    await bot?.stop()
    await front?.stop()
    folder.remove()
  })

  /** Approved as the desk does it, the files kept beside: what changed since can then be played. */
  function filesKept(id: string): void {
    const at = instant(NIGHT - DAY_MS)
    const part = loadLine({ clinicDir: place.clinic, at }).approvables.find(one => one.id === id)
    const files = approvedSources(place.clinic, undefined, id)
    if (part === undefined || files === undefined) throw new Error(`there is no part ${id}`)
    rmSync(approvalsFile(place.clinic, id))
    for (const [index, by] of APPROVERS.entries())
      addApproval(
        place.clinic,
        { ...part, files },
        { by, at: instant(at - 60_000 * (10 - index)), languages: part.languages },
      )
  }

  async function somebody(): Promise<Hand> {
    const context = await browser.newContext({ viewport: { width: 360, height: 740 } })
    context.on('request', request => {
      if (!request.url().startsWith(PUBLIC) && !request.url().startsWith('data:')) strangers.push(request.url())
    })
    return new Hand(context, await context.newPage())
  }

  async function timed(what: string, hand: Hand, work: () => Promise<void>): Promise<void> {
    hand.presses = 0
    const started = performance.now()
    await work()
    const seconds = (performance.now() - started) / 1000
    told.push(`a real clinic: ${what}: ${hand.presses} presses, ${seconds.toFixed(1)} s of the machine`)
    expect(hand.presses).toBeLessThanOrEqual(MOST.presses)
    expect(seconds).toBeLessThan(MOST.seconds)
  }

  const withPassword = async (hand: Hand, link: string): Promise<void> => {
    await hand.page.goto(link)
    await hand.page.getByLabel('New password').fill(GOOD_PASSWORD)
    await hand.press('Set this password instead')
    await hand.page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
  }

  test('nobody who is not signed in sees anything of it', async () => {
    const stranger = await somebody()
    for (const address of ['/now', '/on-call', '/flows/skin', '/settings', '/people', '/board']) {
      await stranger.open(address)
      await stranger.page.getByLabel('Your short name at the clinic').waitFor()
      expect(new URL(stranger.page.url()).pathname).toBe('/sign-in')
    }
    await stranger.context.close()
  })

  test('the first administrator is invited on the machine, sets up a passkey and signs in with it', async () => {
    const args = ['people', 'invite', 'malia', '--clinic', place.clinic, '--data', place.data, '--json']
    const preload = PRELOAD.flatMap(file => ['--import', file])
    const { stdout } = await promisify(execFile)(process.execPath, [...preload, 'src/cli/main.ts', ...args], {
      cwd: ROOT,
      env: { ...process.env, CLOCK_AHEAD_MS: String(NIGHT - Date.now()) },
    })
    const link = /https:\/\/feeding\.quay\.test\/invited\/[\w-]{43}/.exec(stdout)?.[0] ?? ''
    malia = await somebody()
    const cdp = await malia.context.newCDPSession(malia.page)
    await cdp.send('WebAuthn.enable')
    await cdp.send('WebAuthn.addVirtualAuthenticator', {
      options: {
        ...{ protocol: 'ctap2', transport: 'internal', hasResidentKey: true, hasUserVerification: true },
        ...{ isUserVerified: true, automaticPresenceSimulation: true },
      },
    })
    await malia.page.goto(link)
    await malia.press('Set up a passkey on this device')
    await malia.page.getByRole('heading', { name: 'Your sign-in' }).waitFor()
    await malia.press('Sign out')
    await malia.press('Sign in with a passkey')
    await malia.sees('Malia Test (malia)')
    const [cookie] = (await malia.context.cookies()).filter(({ name }) => name.endsWith('clinic'))
    expect(cookie).toMatchObject({ name: '__Host-clinic', secure: true, httpOnly: true, sameSite: 'Lax' })
  })

  test('she invites the leads, who set up passwords; who was invited once is not let in by the same link again', async () => {
    for (const id of APPROVERS) {
      await malia.open('/people')
      await malia.press(new RegExp(`^Invite .*${id}`, 'i'))
      const link = await malia.page.getByLabel('Link').inputValue()
      const lead = await somebody()
      await withPassword(lead, link)
      leads.set(id, lead)
      const late = await somebody()
      await late.page.goto(link)
      await late.sees('This invitation no longer works')
      await late.context.close()
    }
  })

  test('a changed flow is held back until it is approved: the line says that it goes on as it was', async () => {
    const file = join(place.clinic, 'flows/someone/flow.yaml')
    const before = readFileSync(file, 'utf8')
    const waiting = 'say: [waiting-for-call, watch-while-waiting, worse-waiting]'
    expect(before).toContain(waiting)
    writeFileSync(file, before.replace(waiting, 'say: [waiting-for-call, worse-waiting]'))
    walkedAlready(place.clinic, instant(NIGHT))
    await eventually('it says so', async () => {
      await malia.open('/now')
      return (await malia.page.getByText("A change to the clinic's files was not taken").count()) > 0
    })
    await malia.sees('Who is on call, numbers and hours count as they stand in the file now.')
    // From here on the situations are played, behind everything else.
    const amara = leads.get('amara') as Hand
    await amara.open('/flows/someone')
    await amara.page.getByRole('heading', { name: 'Conversations that would now go differently' }).waitFor()
    await amara.page.getByRole('link', { name: 'Look again' }).waitFor()
  })

  test("tonight's number is another in six presses, while the flow waits", async () => {
    await malia.open('/on-call')
    await timed("change tonight's number", malia, async () => {
      await malia.press('Change a telephone number', 'link')
      await malia.choose('Who?', 'Amara Test')
      await malia.page.getByLabel('New number').fill('+1 212 555 0198')
      await malia.press('Look at the change')
      await malia.sees('changes from +1 212 555 0141 to +1 212 555 0198')
      await malia.press('Save')
      await malia.sees('Saved.')
    })
    expect(readFileSync(join(place.clinic, 'clinic.yaml'), 'utf8')).toContain('"+1 212 555 0198"')
  })

  test('a test call-out is proved by its owner alone, over the link that she was sent', async () => {
    await malia.press('Send a test call-out to Amara Test')
    await malia.sees('A test call-out goes to Amara Test now')
    const amara = leads.get('amara') as Hand
    const link = await eventually(
      'it is on the board',
      async () => {
        await amara.open('/board')
        return (
          (await amara.page
            .locator('a[href^="/p/test/"]')
            .first()
            .getAttribute('href', { timeout: 200 })
            .catch(() => null)) ?? undefined
        )
      },
      20_000,
    )
    expect(await amara.page.getByText('Nobody real is paged').count()).toBe(0)
    await amara.open(link)
    await amara.press('I have this telephone')
    await amara.sees('Answered at 2:1')
    await malia.open('/on-call')
    await malia.sees('Proved: a test call-out was answered today')
  })

  test('an administrator approves nothing', async () => {
    await malia.open('/flows/someone')
    expect(await malia.page.getByRole('button', { name: 'Approve exactly this' }).count()).toBe(0)
  })

  test('two leads approve it, each in a few presses, and the line takes it', async () => {
    const [amara, ingrid] = APPROVERS.map(id => leads.get(id) as Hand) as [Hand, Hand]
    for (const [hand, isLast] of [[amara, false] as const, [ingrid, true] as const]) {
      await hand.open('/flows')
      await timed(`${isLast ? 'the second' : 'the first'} approves a changed flow`, hand, async () => {
        await hand.press(/^Wants a person/, 'link')
        await hand.sees(/\d+ changes since (?:Amara Test, Dr\. Ingrid Test|Dr\. Ingrid Test, Amara Test) approved it/)
        await hand.tick('English')
        await hand.tick('Spanish')
        await hand.press('Approve exactly this')
        await hand.sees(isLast ? 'Two clinicians have approved exactly this' : 'It needs another clinician')
      })
    }
    await eventually('the line takes it', async () => {
      await malia.open('/now')
      return (await malia.page.getByText("A change to the clinic's files was not taken").count()) === 0
    })
  })

  test('a figure that decides about care is not changed on the page: it says what to do, and the file stays as it was', async () => {
    const file = join(place.clinic, 'clinic.yaml')
    const before = readFileSync(file, 'utf8')
    const amara = leads.get('amara') as Hand
    await amara.open('/settings/change/setting?id=left-check&value=PT10M')
    await amara.page.getByLabel('New value').first().fill('12')
    await amara.press('Look at the change')
    await amara.press('Save')
    await amara.sees('This figure decides about care.')
    expect(readFileSync(file, 'utf8')).toBe(before)
    await malia.open('/now')
    expect(await malia.page.getByText("A change to the clinic's files was not taken").count()).toBe(0)
  })

  test('nothing is asked of any other host, and the trail names who did what', async () => {
    expect(strangers).toEqual([])
    const { openAccountFile } = await import('../../src/store/sqlite/account-file.ts')
    const trail = openAccountFile(join(place.data, 'accounts.sqlite'))
    const acts = (await trail.audit()).map(({ who, did, on }) => `${who} ${did} ${on}`)
    await trail.close()
    for (const act of [
      'machine invited malia',
      'malia invited amara',
      'amara approved someone',
      'ingrid approved someone',
    ])
      expect(acts).toContain(act)
    expect(acts.some(act => act.startsWith('malia clinic-file-changed'))).toBe(true)
    await malia.open('/trail')
    await malia.sees('Every line is as it was written')
    await malia.page.getByLabel('What was done?').selectOption({ label: 'approved' })
    await malia.press('Show')
    await malia.sees(/Dr\. Ingrid Test approved someone/)
    expect(await malia.page.getByText('signed in', { exact: false }).locator('visible=true').count()).toBe(0)
  })
})
