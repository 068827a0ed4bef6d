import { afterEach, beforeEach, describe, expect, it, test } from 'vitest'
import { auditFaults } from '../../src/accounts/audit.ts'
import { SESSION_IDLE, SESSION_LASTS } from '../../src/accounts/sessions.ts'
import { ownPath } from '../../src/http/gate.ts'
import { hours, minutes, seconds } from '../../src/time/instant.ts'
import { aTeam, FROM, fromOwnPage, GOOD_PASSWORD, type Team } from '../support/a-clinic-team.ts'
import { ORIGIN, visitor } from '../support/web-visitor.ts'

let team: Team
beforeEach(() => {
  team = aTeam()
})
afterEach(() => team.close())

const browser = () => visitor(team.pages.fetch)
const audit = async () =>
  (await team.accounts.store.audit()).map(({ who, did, on }) => `${who} ${did} ${on.split(' ')[0]}`)

/** Invites by the machine and sets the password through the page. */
async function withPassword(id: string, password = GOOD_PASSWORD) {
  const made = await team.accounts.waysIn.invite('machine', id)
  const one = browser()
  const response = await one.post(`/invited/${made?.token}`, { password })
  expect(response.status).toBe(303)
  return one
}

describe('an invitation', () => {
  it('sets up a password, signs in, and works once', async () => {
    const made = await team.accounts.waysIn.invite('machine', 'amara')
    const one = browser()
    const page = await (await one.get(`/invited/${made?.token}`)).text()
    expect(page).toContain('Welcome, Amara Example')
    expect(page).toContain('autocomplete="new-password"')
    expect((await one.post(`/invited/${made?.token}`, { password: GOOD_PASSWORD })).headers.get('location')).toBe(
      '/account',
    )
    expect(await (await one.get('/account')).text()).toContain('Amara Example (amara)')
    const again = await browser().post(`/invited/${made?.token}`, { password: 'another good long one' })
    expect(again.status).toBe(410)
    expect(await again.text()).toContain('This invitation no longer works')
    expect(await audit()).toEqual([
      'machine invited amara',
      'machine invitation-used machine'.replace('machine invitation', 'amara invitation'),
      'amara password-set amara',
      expect.stringMatching(/^amara signed-in /),
    ])
  })

  it('is not used up by being opened, by HEAD, or by a password that is refused', async () => {
    const made = await team.accounts.waysIn.invite('machine', 'amara')
    const path = `/invited/${made?.token}`
    await browser().get(path, { 'user-agent': 'preview-robot' })
    await team.pages.fetch(new Request(ORIGIN + path, { method: 'HEAD' }))
    const refused = await browser().post(path, { password: 'password1234' })
    expect(refused.status).toBe(422)
    expect(await refused.text()).toContain('one of those that are tried first')
    expect((await browser().post(path, { password: GOOD_PASSWORD })).status).toBe(303)
  })

  it('runs out after a day, is replaced by a newer one, can be taken back, and is nothing when guessed', async () => {
    const first = await team.accounts.waysIn.invite('machine', 'amara')
    const second = await team.accounts.waysIn.invite('machine', 'amara')
    expect((await browser().get(`/invited/${first?.token}`)).status).toBe(410)
    team.pass(hours(24))
    expect((await browser().get(`/invited/${second?.token}`)).status).toBe(410)
    const third = await team.accounts.waysIn.invite('machine', 'amara')
    await team.accounts.waysIn.withdrawInvitations('machine', 'amara')
    for (const token of [third?.token, 'A'.repeat(43), 'x'])
      expect((await browser().get(`/invited/${token}`)).status, token).toBeGreaterThanOrEqual(404)
  })

  it('is made for nobody who has left or has no role', async () => {
    for (const id of ['otto', 'noor', 'stranger'])
      expect(await team.accounts.waysIn.invite('machine', id), id).toBeUndefined()
  })
})

describe('signing in with a password', () => {
  const tryIn = (name: string, password: string, one = browser()) =>
    one.post('/sign-in', { name, password, onward: '/people' })

  it('leads on to the page that was asked for, with a cookie no script can read and no other site sends', async () => {
    await withPassword('malia')
    const response = await tryIn(' Malia ', GOOD_PASSWORD)
    expect(response.status).toBe(303)
    expect(response.headers.get('location')).toBe('/people')
    // OWASP ASVS 5.0.0, V3.3.1 to V3.3.4 and V7.2.3: at least 128 random bits.
    expect(response.headers.get('set-cookie')).toMatch(/^clinic=[\w-]{43}; Path=\/; HttpOnly; SameSite=Lax$/)
    expect(response.headers.get('cache-control')).toBe('no-store')
  })

  it('over https the cookie is bound to the host and never sent in the clear', async () => {
    await team.close()
    team = aTeam({ origin: 'https://feeding.clinic.example' })
    const made = await team.accounts.waysIn.invite('machine', 'amara')
    const one = visitor(team.pages.fetch, 'https://feeding.clinic.example')
    const response = await one.post(`/invited/${made?.token}`, { password: GOOD_PASSWORD })
    expect(response.headers.get('set-cookie')).toMatch(
      /^__Host-clinic=[\w-]{43}; Path=\/; HttpOnly; SameSite=Lax; Secure$/,
    )
    expect((await one.get('/account')).status).toBe(200)
    one.cookie = one.cookie.replace('__Host-', '')
    expect((await one.get('/account')).status).toBe(303)
  })

  it('says the same of a wrong password, a strange name, somebody who left, and somebody without a password', async () => {
    await withPassword('amara')
    const said = await Promise.all(
      [
        ['amara', 'not the password at all'],
        ['nobody-here', GOOD_PASSWORD],
        ['otto', GOOD_PASSWORD],
        ['linh', GOOD_PASSWORD],
        ['', ''],
      ].map(async ([name = '', password = '']) => {
        const response = await tryIn(name, password)
        const markup = (await response.text()).replaceAll(/nonce="[^"]*"|value="[^"]*"/g, '')
        return `${response.status} ${markup}`
      }),
    )
    expect(new Set(said).size).toBe(1)
    expect(said[0]).toContain('401')
    expect(said[0]).toContain('Name or password is not right')
  })

  it('makes the next try wait after five that went wrong, longer each time, whoever’s name it is', async () => {
    await withPassword('amara')
    for (const name of ['amara', 'nobody-here']) {
      for (let i = 0; i < 5; i += 1) expect((await tryIn(name, `wrong wrong ${i}`)).status, `${name} ${i}`).toBe(401)
      const held = await tryIn(name, GOOD_PASSWORD)
      expect(held.status).toBe(429)
      expect(await held.text()).toContain('Try again after 2026-03-01 02:00')
    }
    team.pass(seconds(29))
    expect((await tryIn('amara', GOOD_PASSWORD)).status).toBe(429)
    team.pass(seconds(1))
    expect((await tryIn('amara', 'wrong wrong 6')).status).toBe(401)
    team.pass(seconds(59))
    expect((await tryIn('amara', GOOD_PASSWORD)).status).toBe(429)
    team.pass(seconds(1))
    expect((await tryIn('amara', GOOD_PASSWORD)).status).toBe(303)
    expect((await tryIn('amara', 'wrong again now')).status).toBe(401)
  })

  it('many at once are not all let through before the first is counted', async () => {
    await withPassword('amara')
    const statuses = await Promise.all(Array.from({ length: 12 }, (_, i) => tryIn('amara', `wrong wrong ${i}`)))
    expect(statuses.filter(({ status }) => status === 401).length).toBeLessThanOrEqual(6)
  })

  it('holds back an address that tries many names', async () => {
    for (let i = 0; i < 30; i += 1) await team.accounts.store.noteFailure(await addressKey(), team.now())
    expect((await tryIn('amara', GOOD_PASSWORD)).status).toBe(429)
    team.pass(hours(24))
    expect((await tryIn('amara', 'wrong wrong wrong')).status).toBe(401)
  })
  const addressKey = async () => {
    const { tokenHash } = await import('../../src/accounts/tokens.ts')
    return `address:${tokenHash('unknown')}`
  }

  it('keeps nothing of what was typed as a name that is nobody’s: it may be a password', async () => {
    await tryIn('hunter-two-is-mine', 'x')
    const kept = JSON.stringify(await team.accounts.store.audit())
    expect(kept).not.toContain('hunter')
    expect(kept).toContain('"on":"unknown"')
  })

  test.each([
    ['from another site', { origin: 'https://evil.example' }, 403],
    ['with the origin null', { origin: 'null' }, 403],
    ['without an origin', { origin: '' }, 403],
  ])('a post %s signs nobody in', async (_, headers, status) => {
    await withPassword('amara')
    const response = await browser().post('/sign-in', { name: 'amara', password: GOOD_PASSWORD }, headers)
    expect(response.status).toBe(status)
    expect(response.headers.get('set-cookie')).toBeNull()
  })

  it('takes a body that is too large, or in another form, for nothing', async () => {
    const large = await browser().post('/sign-in', { name: 'amara', password: 'x'.repeat(70_000) })
    expect(large.status).toBe(413)
    const odd = await team.pages.fetch(
      new Request(`${ORIGIN}/sign-in`, {
        method: 'POST',
        headers: { origin: ORIGIN, 'content-type': 'text/xml' },
        body: '<a/>',
      }),
    )
    expect(odd.status).toBe(401)
  })
})

describe('sessions', () => {
  it('have a new token at each sign-in, and the one the browser had before no longer works', async () => {
    const one = await withPassword('amara')
    const before = one.cookie
    await one.post('/sign-in', { name: 'amara', password: GOOD_PASSWORD })
    expect(one.cookie).not.toBe(before)
    const old = browser()
    old.cookie = before
    expect((await old.get('/account')).status).toBe(303)
    expect((await one.get('/account')).status).toBe(200)
  })

  it('end after an hour unused, and after twelve hours however they are used', async () => {
    const one = await withPassword('amara')
    team.pass(minutes(59))
    expect((await one.get('/account')).status).toBe(200)
    team.pass(SESSION_IDLE)
    expect((await one.get('/account')).status).toBe(303)
    await one.post('/sign-in', { name: 'amara', password: GOOD_PASSWORD })
    for (let passed = 0; passed < SESSION_LASTS - minutes(30); passed += minutes(30)) {
      expect((await one.get('/account')).status).toBe(200)
      team.pass(minutes(30))
    }
    expect((await one.get('/account')).status).toBe(200)
    team.pass(minutes(30))
    expect((await one.get('/account')).status).toBe(303)
  })

  it('are listed with their browser, and ended one by one or all but this one', async () => {
    const one = await withPassword('amara')
    const others = [browser(), browser()]
    for (const other of others)
      await other.post('/sign-in', { name: 'amara', password: GOOD_PASSWORD }, { 'user-agent': FROM.browser })
    const page = await (await one.get('/account')).text()
    expect(page.match(/Firefox, Linux/g)).toHaveLength(2)
    const id = /name="id" value="([0-9a-f]{16})"/.exec(page)?.[1] ?? ''
    await one.post('/account/sessions/end', { id })
    expect(
      (await Promise.all(others.map(other => other.get('/account')))).map(({ status }) => status).toSorted(),
    ).toEqual([200, 303])
    await one.post('/account/sessions/end-others', {})
    for (const other of others) expect((await other.get('/account')).status).toBe(303)
    expect((await one.get('/account')).status).toBe(200)
  })

  it('of somebody else are not ended by naming them', async () => {
    const linh = await withPassword('linh')
    const amara = await withPassword('amara')
    const [session] = await team.accounts.sessions.of('linh')
    await amara.post('/account/sessions/end', { id: session?.id ?? '' })
    expect((await linh.get('/account')).status).toBe(200)
  })

  it('signing out ends the session, not only the cookie', async () => {
    const one = await withPassword('amara')
    const before = one.cookie
    const response = await one.post('/sign-out', {})
    expect(response.headers.get('set-cookie')).toContain('Max-Age=0')
    const old = browser()
    old.cookie = before
    expect((await old.get('/account')).status).toBe(303)
  })

  it('a cookie given twice, or of a strange form, is nobody’s', async () => {
    const one = await withPassword('amara')
    const old = browser()
    for (const cookie of [
      `${one.cookie}; clinic=${'A'.repeat(43)}`,
      `${one.cookie}x`,
      'clinic=',
      `clinic="${one.cookie.slice(7)}"`,
    ]) {
      old.cookie = cookie
      expect((await old.get('/account')).status, cookie).toBe(303)
    }
  })

  it('whoever leaves the clinic is out with the next request', async () => {
    const one = await withPassword('amara')
    team.people.splice(0, 1, { ...(team.people[0] as Team['people'][number]), left: true })
    expect((await one.get('/account')).status).toBe(303)
  })
})

describe('changing how one signs in', () => {
  it('needs a sign-in of the last ten minutes, ends every other session, and renews this one', async () => {
    const one = await withPassword('amara')
    const other = browser()
    await other.post('/sign-in', { name: 'amara', password: GOOD_PASSWORD })
    const before = one.cookie
    expect((await one.post('/account/password', { password: 'quite another long one' })).status).toBe(303)
    expect(one.cookie).not.toBe(before)
    expect((await other.get('/account')).status).toBe(303)
    expect((await one.get('/account')).status).toBe(200)
    team.pass(minutes(10))
    const late = await one.post('/account/password', { password: 'a third good long one' })
    expect(late.status).toBe(422)
    expect(await late.text()).toContain('Sign in again first')
    expect((await browser().post('/sign-in', { name: 'amara', password: 'quite another long one' })).status).toBe(303)
  })

  it('never takes away the last way in', async () => {
    const one = await withPassword('amara')
    await one.post('/account/passkey/remove', { id: 'k1' })
    const { store } = team.accounts
    const passkey = {
      credentialId: 'k1',
      publicKey: Uint8Array.from([1]),
      counter: 0,
      label: '',
      transports: [],
      addedAt: team.now(),
    }
    await store.change({ at: team.now(), who: 'amara', did: 'passkey-added', on: 'amara' }, [
      { kind: 'add-passkey', personId: 'amara', passkey },
    ])
    expect((await one.post('/account/passkey/remove', { id: 'k1' })).headers.get('location')).toBe(
      '/account?did=removed',
    )
    expect((await store.account('amara')).passkeys).toEqual([])
  })
})

describe('an administrator', () => {
  it('invites: the link is shown once, to give to that person', async () => {
    const malia = await withPassword('malia')
    const page = await (await malia.post('/people/linh/invite', {})).text()
    const link = />(http:\/\/localhost:8080\/invited\/[\w-]{43})</.exec(page)?.[1] ?? ''
    expect((await browser().get(new URL(link).pathname)).status).toBe(200)
    expect(await (await malia.get('/people')).text()).not.toContain('/invited/')
  })

  it('takes a lost telephone out: sessions, passkeys and password are gone, and a new invitation is there', async () => {
    const malia = await withPassword('malia')
    const linh = await withPassword('linh')
    const page = await (await malia.post('/people/linh/start-anew', {})).text()
    expect(page).toContain('Invitation for Linh Example')
    expect((await linh.get('/account')).status).toBe(303)
    expect((await browser().post('/sign-in', { name: 'linh', password: GOOD_PASSWORD })).status).toBe(401)
    expect((await audit()).slice(-4, -1)).toEqual([
      'malia session-ended linh',
      'malia password-removed linh',
      'malia invited linh',
    ])
  })

  it('sees who signs in how, and ends sessions; a lead sees and may not; others do not see', async () => {
    const malia = await withPassword('malia')
    const amara = await withPassword('amara')
    const linh = await withPassword('linh')
    const seen = await (await amara.get('/people')).text()
    expect(seen).toContain('Malia Example')
    expect(seen).not.toContain('/people/linh/invite')
    expect((await amara.post('/people/linh/end-sessions', {})).status).toBe(403)
    expect((await amara.post('/people/linh/start-anew', {})).status).toBe(403)
    expect((await linh.get('/people')).status).toBe(403)
    expect((await malia.post('/people/linh/end-sessions', {})).headers.get('location')).toBe('/people?did=ended')
    expect((await linh.get('/people')).status).toBe(303)
    expect((await malia.post('/people/nobody-here/invite', {})).status).toBe(404)
  })

  it('leaves a trail that is whole', async () => {
    const malia = await withPassword('malia')
    await malia.post('/people/linh/invite', {})
    await malia.post('/people/linh/withdraw', {})
    await malia.post('/sign-out', {})
    const { store } = team.accounts
    expect(auditFaults(await store.audit(), await store.auditHead())).toEqual([])
    expect((await audit()).slice(-3).map(line => line.split(' ').slice(0, 2).join(' '))).toEqual([
      'malia invited',
      'malia invitation-withdrawn',
      'malia signed-out',
    ])
  })
})

describe('a passkey', () => {
  const post = (path: string, fields: object, origin = ORIGIN) =>
    team.pages.fetch(
      new Request(ORIGIN + path, {
        method: 'POST',
        headers: { ...fromOwnPage(undefined, origin), 'content-type': 'application/json' },
        body: JSON.stringify(fields),
      }),
    )

  it.each([
    ['nothing', {}],
    ['no JSON', { key: 'x' }],
    ['null', { key: 'null' }],
    ['a list', { key: '[]' }],
    ['a key of nobody', { key: JSON.stringify({ id: 'AAAA', rawId: 'AAAA', type: 'public-key', response: {} }) }],
  ])('that is %s signs nobody in, and counts as a failed try', async (_, fields) => {
    const response = await post('/sign-in/passkey', fields)
    expect(response.status).toBe(401)
    expect(await response.json()).toEqual({
      note: 'This passkey is not known here. Sign in with another one or the password.',
    })
    expect(await audit()).toEqual(['nobody sign-in-failed unknown'])
  })

  it('is asked for from our own pages only', async () => {
    expect((await post('/sign-in/passkey/options', {}, 'https://evil.example')).status).toBe(403)
    const options = (await (await post('/sign-in/passkey/options', {})).json()) as Record<string, string>
    expect(options).toMatchObject({ rpId: 'localhost', userVerification: 'required' })
    // 16 bytes by chance at least (WebAuthn Level 2, section 13.4.3).
    expect(Buffer.from(options.challenge ?? '', 'base64url').length).toBeGreaterThanOrEqual(16)
    expect(options.allowCredentials ?? []).toEqual([])
  })
})

describe('where somebody goes after signing in', () => {
  it.each(['/people', '/now?a=b', '/flows/tube-out', '/account'])('%s is a page of ours', path =>
    expect(ownPath(path, '/x')).toBe(path),
  )
  it.each([
    '//evil.example',
    'https://evil.example',
    '/\\evil.example',
    '/\t/evil.example',
    'javascript:alert(1)',
    '',
    '/a\nb',
    '/..//evil.example',
    `/${'a'.repeat(400)}`,
  ])('%j is not followed', path => expect(ownPath(path, '/x')).toBe('/x'))
})
