import { createServer, type RequestListener, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { challenges } from '../../src/accounts/tokens.ts'
import { awayIn, type SingleSignOn, singleSignOn } from '../../src/http/single-sign-on.ts'
import { instant } from '../../src/time/instant.ts'
import { aTeam, bytes, type Team } from '../support/a-clinic-team.ts'
import { ORIGIN, type Visitor, visitor } from '../support/web-visitor.ts'

/** A provider of OpenID Connect made by others, on this machine: what ours is held against. */
interface Provider {
  callback(): RequestListener
}
type ProviderClass = new (issuer: string, settings: object) => Provider

const SECRET = 'a secret the hospital gave'
let hospital: Server
let issuer: string
let team: Team
let signOn: SingleSignOn

beforeEach(async () => {
  // It warns that it is for trying out only, which is what it is used for.
  vi.spyOn(console, 'warn').mockImplementation(() => undefined)
  const name: string = 'oidc-provider'
  const { Provider } = (await import(name)) as { Provider: ProviderClass }
  hospital = createServer()
  await new Promise<void>(resolve => hospital.listen(0, '127.0.0.1', resolve))
  issuer = `http://localhost:${(hospital.address() as AddressInfo).port}`
  const provider = new Provider(issuer, {
    clients: [
      {
        client_id: 'smallhours',
        client_secret: SECRET,
        redirect_uris: [`${ORIGIN}/sign-in/hospital/back`],
        response_types: ['code'],
        grant_types: ['authorization_code'],
      },
    ],
    pkce: { required: () => true },
    features: { devInteractions: { enabled: true } },
    findAccount: async (_: unknown, id: string) => ({ accountId: id, claims: async () => ({ sub: id }) }),
    cookies: { keys: ['a key for this test alone'] },
  })
  hospital.on('request', provider.callback())
  signOn = singleSignOn({
    name: 'Harbour Point',
    issuer,
    clientId: 'smallhours',
    secret: () => SECRET,
    challenges: challenges(bytes(32), bytes),
    now: () => instant(Date.parse('2026-03-01T02:00:00Z')),
    isPlainHttpAllowed: true,
  })
  team = aTeam({ singleSignOn: signOn })
})
afterEach(async () => {
  vi.restoreAllMocks()
  await team.close()
  hospital.closeAllConnections()
  await new Promise(resolve => hospital.close(resolve))
})

/** A browser that keeps every cookie of ours. */
function browser(): Visitor & { jar: Map<string, string> } {
  const jar = new Map<string, string>()
  const one = visitor(async request => {
    const headers = new Headers(request.headers)
    headers.set('cookie', [...jar].map(([name, value]) => `${name}=${value}`).join('; '))
    const response = await team.pages.fetch(new Request(request, { headers }))
    for (const set of response.headers.getSetCookie()) {
      const [name = '', value = ''] = set.split(';')[0]?.split('=') ?? []
      if (/Max-Age=0/.test(set)) jar.delete(name)
      else jar.set(name, value)
    }
    return response
  })
  return Object.assign(one, { jar })
}

/** Signs in at the hospital as `id`, presses what is asked for, and gives the address it sends the browser back to. */
async function atHospital(start: string, id: string): Promise<URL> {
  const cookies = new Map<string, string>()
  const cookieOf = () => [...cookies].map(([name, value]) => `${name}=${value}`).join('; ')
  let next: { url: string; body?: string } = { url: start }
  for (let hop = 0; hop < 20; hop += 1) {
    if (next.url.startsWith(ORIGIN)) return new URL(next.url)
    const response = await fetch(next.url, {
      redirect: 'manual',
      headers: { cookie: cookieOf(), 'content-type': 'application/x-www-form-urlencoded' },
      ...(next.body === undefined ? {} : { method: 'POST', body: next.body }),
    })
    for (const set of response.headers.getSetCookie()) {
      const [name = '', value = ''] = set.split(';')[0]?.split('=') ?? []
      cookies.set(name, value)
    }
    const location = response.headers.get('location')
    const markup = await response.text()
    if (location !== null) {
      next = { url: new URL(location, next.url).href }
      continue
    }
    const action = /<form[^>]* action="([^"]+)"/.exec(markup)?.[1]
    const prompt = /name="prompt" value="(\w+)"/.exec(markup)?.[1]
    if (action === undefined || prompt === undefined)
      throw new Error(`no form at ${next.url}: ${response.status} ${markup.slice(0, 300)}`)
    next = { url: new URL(action, next.url).href, body: `prompt=${prompt}&login=${id}&password=x` }
  }
  throw new Error('the hospital never sent the browser back')
}

async function backFrom(one: Visitor, path: string, id: string): Promise<URL> {
  const response = await one.get(path)
  expect(response.status).toBe(303)
  return atHospital(response.headers.get('location') ?? '', id)
}
const pathOf = ({ pathname, search }: URL) => pathname + search

/** Amara, whose account at the hospital is a.osei, has used her invitation with it. */
async function linked(): Promise<void> {
  const made = await team.accounts.waysIn.invite('machine', 'amara')
  const one = browser()
  const back = await backFrom(one, `/invited/${made?.token}/hospital`, 'a.osei')
  expect((await one.get(pathOf(back))).headers.get('location')).toBe('/account')
}

describe('signing in at the hospital', { timeout: 30_000 }, () => {
  it('is linked by an invitation, then signs in and leads on to where somebody wanted to go', async () => {
    await linked()
    expect((await team.accounts.store.account('amara')).identities).toEqual([{ issuer, subject: 'a.osei' }])
    const one = browser()
    expect(await (await one.get('/sign-in?onward=/people')).text()).toContain('Sign in with Harbour Point')
    const back = await backFrom(one, '/sign-in/hospital?onward=/people', 'a.osei')
    const response = await one.get(pathOf(back))
    expect([response.status, response.headers.get('location')]).toEqual([303, '/people'])
    expect((await one.get('/people')).status).toBe(200)
    expect(one.jar.has('hospital')).toBe(false)
    expect((await team.accounts.store.audit()).map(({ did }) => did)).toEqual([
      'invited',
      'invitation-used',
      'identity-linked',
      'signed-in',
      'signed-in',
    ])
  })

  it('asks with code flow, PKCE, state and nonce, each fresh (OpenID Connect Core 1.0; RFC 7636)', async () => {
    const asked = await Promise.all([1, 2].map(() => signOn.begin(`${ORIGIN}/sign-in/hospital/back`, '/')))
    const [one, other] = asked.map(({ url }) => Object.fromEntries(new URL(url).searchParams))
    expect(one).toMatchObject({
      response_type: 'code',
      scope: 'openid',
      code_challenge_method: 'S256',
      client_id: 'smallhours',
    })
    for (const name of ['state', 'nonce', 'code_challenge']) {
      expect(one?.[name]?.length, name).toBeGreaterThanOrEqual(32)
      expect(one?.[name], name).not.toBe(other?.[name])
    }
  })

  it('lets nobody in whose account at the hospital is nobody’s here', async () => {
    await linked()
    const one = browser()
    const response = await one.get(pathOf(await backFrom(one, '/sign-in/hospital', 'stranger')))
    expect(response.status).toBe(401)
    expect(await response.text()).toContain('The hospital sign-in did not open anything here')
    expect(one.jar.has('clinic')).toBe(false)
  })

  it('counts once, in the browser that was sent away, with what it was sent away with', async () => {
    await linked()
    const one = browser()
    const back = await backFrom(one, '/sign-in/hospital', 'a.osei')
    const kept = new Map(one.jar)
    // Somebody else's browser, which was not sent away.
    expect((await browser().get(pathOf(back))).status).toBe(401)
    // One that was sent away itself, with another state.
    const other = browser()
    await other.get('/sign-in/hospital')
    expect((await other.get(pathOf(back))).status).toBe(401)
    const changed = new URL(back)
    changed.searchParams.set('code', 'another')
    const third = browser()
    const theirs = await backFrom(third, '/sign-in/hospital', 'a.osei')
    theirs.searchParams.set('code', 'another')
    expect((await third.get(pathOf(theirs))).status).toBe(401)
    expect((await one.get(pathOf(back))).status).toBe(303)
    // The same address again, with the same cookie put back.
    const again = browser()
    for (const [name, value] of kept) again.jar.set(name, value)
    expect((await again.get(pathOf(back))).status).toBe(401)
  })

  it('whoever says no at the hospital is not signed in', async () => {
    const one = browser()
    const start = new URL((await one.get('/sign-in/hospital')).headers.get('location') ?? '')
    const path = `/sign-in/hospital/back?error=access_denied&state=${start.searchParams.get('state')}&iss=${encodeURIComponent(issuer)}`
    expect((await one.get(path)).status).toBe(401)
  })

  it('whoever has left the clinic is not let in by the hospital', async () => {
    await linked()
    team.people.splice(0, 1, { ...(team.people[0] as Team['people'][number]), left: true })
    const one = browser()
    expect((await one.get(pathOf(await backFrom(one, '/sign-in/hospital', 'a.osei')))).status).toBe(401)
  })

  it('an account at the hospital belongs to one person', async () => {
    await linked()
    const made = await team.accounts.waysIn.invite('machine', 'linh')
    const one = browser()
    const back = await backFrom(one, `/invited/${made?.token}/hospital`, 'a.osei')
    expect((await one.get(pathOf(back))).status).toBe(401)
    expect((await team.accounts.store.account('linh')).identities).toEqual([])
  })

  it('when the hospital cannot be reached says so, and other ways still work', async () => {
    hospital.closeAllConnections()
    await new Promise(resolve => hospital.close(resolve))
    const response = await browser().get('/sign-in/hospital')
    expect(response.status).toBe(502)
    expect(await response.text()).toContain('The hospital sign-in cannot be reached')
    expect((await browser().get('/sign-in')).status).toBe(200)
    hospital = createServer()
    await new Promise<void>(resolve => hospital.listen(0, '127.0.0.1', resolve))
  })

  it.each([
    'hospital=x',
    'hospital=',
    `hospital=${Buffer.from('{}').toString('base64url')}`,
    `hospital=${Buffer.from('{"state":1}').toString('base64url')}`,
  ])('a cookie of another form is none: %s', cookie => expect(awayIn(cookie, false)).toBeUndefined())
})
