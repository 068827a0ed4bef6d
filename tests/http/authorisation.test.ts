import { Hono } from 'hono'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { ACTIONS, type Action, ROLES, type Role } from '../../src/accounts/authority.ts'
import { signedInReader } from '../../src/http/account-ports.ts'
import { clinicAnswers } from '../../src/http/clinic-page.ts'
import { gate } from '../../src/http/gate.ts'
import { aTeam, fromOwnPage, type Team } from '../support/a-clinic-team.ts'
import { screenWording } from '../support/screen-words.ts'
import { ORIGIN } from '../support/web-visitor.ts'

/**
 * Who may do what, written out by hand beside the code: y always, c only while on call, z only closed cases, o only about
 * oneself, - never. Order: on-call, lead, reviewer, administrator. OWASP ASVS 5.0.0, V8.2.1 to V8.3.1 ask for a check of each
 * action and each object on the server; the classes of attack are those of its V8 (another role, another's object).
 */
const BY_HAND: Readonly<Record<Action, string>> = {
  'see-board': 'y y - y',
  'see-case': 'c y z -',
  'answer-case': 'c y - -',
  'see-photos': 'c y - -',
  'hand-over': 'y y - -',
  'print-tonight': 'y y - y',
  'close-line': 'c y - y',
  'see-on-call': 'y y y y',
  'change-on-call': '- y - y',
  'confirm-own-phone': 'o o - -',
  'confirm-number': 'o y - y',
  'test-call-out': 'o y - y',
  'see-content': 'y y y y',
  'approve-content': '- y - -',
  'withdraw-approval': '- y - -',
  'roll-back': '- y - -',
  'see-settings': 'y y y y',
  'change-settings': '- y - -',
  'change-clinic': '- y - y',
  'review-cases': '- - y -',
  'see-figures': '- y y y',
  'see-people': '- y - y',
  'invite-people': '- - - y',
  'change-roles': '- - - y',
  'end-sessions': 'o o o y',
  'keep-own-account': 'o o o o',
  'see-audit': '- y - y',
}

/** Three cases: one open, another open, one closed. */
const CASES = { c1: false, c2: false, c3: true } as const
const METHODS = ['GET', 'POST'] as const

describe('role by action by case, each through HTTP', () => {
  let team: Team
  let fetch: (path: string, method: (typeof METHODS)[number], token?: string, origin?: string) => Promise<Response>
  const tokens = new Map<Role, string>()
  const nameOf: Record<Role, string> = { 'on-call': 'oc', lead: 'le', reviewer: 're', administrator: 'ad' }

  beforeAll(async () => {
    team = aTeam()
    const app = new Hono()
    const answers = clinicAnswers({
      wording: screenWording,
      desk: () => ({ label: 'Desk', number: '+12025550166' }),
      randomId: () => 'nonce-nonce-nonce-nonce',
      demonstration: false,
    })
    const gated = gate(app, {
      signedIn: signedInReader(team.accounts, answers.address),
      answers,
      async refused(who, action) {
        await team.accounts.store.change({ at: team.now(), who: who.personId, did: 'refused', on: action }, [])
      },
    })
    for (const action of ACTIONS) {
      const path = `/t/${action}/:case/:person`
      const done = async () => new Response('done')
      const about = (c: { req: { param(name: string): string | undefined } }) => {
        const caseId = c.req.param('case') ?? ''
        if (!(caseId in CASES)) return undefined
        const personId = c.req.param('person') ?? ''
        return { caseId, isClosed: CASES[caseId as keyof typeof CASES], personId }
      }
      gated.get(path, action, done, about)
      gated.post(path, action, done, about)
    }
    fetch = async (path, method, token, origin = ORIGIN) =>
      app.fetch(
        new Request(ORIGIN + path, {
          method,
          headers: fromOwnPage(token, origin),
          ...(method === 'POST' ? { body: 'a=b' } : {}),
        }),
      )
    for (const role of ROLES) {
      const id = nameOf[role]
      team.people.push({ ...(team.people[0] as Team['people'][number]), id, roles: [role] })
      tokens.set(role, await team.tokenOf(id))
    }
  })
  afterAll(() => team.close())

  const isLetThrough = async (action: Action, role: Role, caseId: string, person: string, method: 'GET' | 'POST') => {
    const response = await fetch(`/t/${action}/${caseId}/${person}`, method, tokens.get(role))
    const text = await response.text()
    expect([200, 403]).toContain(response.status)
    expect(text === 'done').toBe(response.status === 200)
    return response.status === 200
  }

  for (const action of ACTIONS) {
    it(`${action}: ${BY_HAND[action]}`, async () => {
      const letters = BY_HAND[action].split(' ')
      for (const [index, role] of ROLES.entries()) {
        for (const isOnCall of [false, true]) {
          if (isOnCall) team.onCall.add(nameOf[role])
          else team.onCall.delete(nameOf[role])
          for (const [caseId, isClosed] of Object.entries(CASES)) {
            for (const person of [nameOf[role], 'linh']) {
              const expected = { y: true, c: isOnCall, z: isClosed, o: person === nameOf[role], '-': false }[
                letters[index] ?? ''
              ]
              for (const method of METHODS) {
                const may = await isLetThrough(action, role, caseId, person, method)
                expect(may, `${role} ${action} ${caseId} ${person} ${method} on call ${isOnCall}`).toBe(expected)
              }
            }
          }
        }
      }
    })
  }

  it('nobody signed in, a token of nobody, and one of somebody without a role come nowhere', async () => {
    const noRole = await team.tokenOf('noor')
    const hasLeft = await team.tokenOf('otto')
    for (const action of ACTIONS) {
      for (const token of [undefined, 'A'.repeat(43), noRole, hasLeft]) {
        const asked = await fetch(`/t/${action}/c1/linh`, 'GET', token)
        expect(asked.status).toBe(303)
        expect(asked.headers.get('location')).toBe(`/sign-in?onward=${encodeURIComponent(`/t/${action}/c1/linh`)}`)
        const posted = await fetch(`/t/${action}/c1/linh`, 'POST', token)
        expect(posted.status).toBe(401)
        expect(await posted.text()).toContain('Nothing was changed')
      }
    }
  })

  it('a post from another site does nothing, whoever is signed in', async () => {
    for (const action of ACTIONS) {
      for (const origin of ['https://evil.example', 'null', 'http://localhost:8081'])
        expect((await fetch(`/t/${action}/c1/le`, 'POST', tokens.get('lead'), origin)).status).toBe(403)
    }
  })

  it('what is not there is told to those who may see it only', async () => {
    expect((await fetch('/t/see-case/c9/le', 'GET', tokens.get('lead'))).status).toBe(404)
    expect((await fetch('/t/see-case/c9/ad', 'GET', tokens.get('administrator'))).status).toBe(403)
  })

  it('a role taken away is gone with the next request, without signing in anew', async () => {
    const person = team.people.find(({ id }) => id === 'le') as unknown as { roles: Role[] }
    const before = await fetch('/t/approve-content/c1/le', 'POST', tokens.get('lead'))
    person.roles = ['reviewer']
    const after = await fetch('/t/approve-content/c1/le', 'POST', tokens.get('lead'))
    person.roles = ['lead']
    expect([before.status, after.status]).toEqual([200, 403])
  })

  it('each refusal has its line in the audit trail, with who and what', async () => {
    const before = (await team.accounts.store.audit()).length
    await fetch('/t/approve-content/c1/ad', 'POST', tokens.get('administrator'))
    const lines = (await team.accounts.store.audit()).slice(before)
    expect(lines.map(({ who, did, on }) => [who, did, on])).toEqual([['ad', 'refused', 'approve-content']])
  })
})

/**
 * Every gated path of these pages, who comes through (on-call, lead, reviewer, administrator), written out by hand. A path that is
 * added without a row here fails the test.
 */
const PATHS: Readonly<Record<string, string>> = {
  'GET /account': 'y y y y',
  'POST /account/password': 'y y y y',
  'POST /account/passkey/options': 'y y y y',
  'POST /account/passkey': 'y y y y',
  'POST /account/passkey/remove': 'y y y y',
  'POST /account/sessions/end': 'y y y y',
  'POST /account/sessions/end-others': 'y y y y',
  'GET /people': '- y - y',
  'POST /people/:id/invite': '- - - y',
  'POST /people/:id/start-anew': '- - - y',
  'POST /people/:id/withdraw': '- - - y',
  'POST /people/:id/end-sessions': '- - - y',
  'POST /people/:id/telegram': '- - - y',
  'POST /people/:id/telegram-unlink': '- - - y',
}

describe('every path of accounts and people', () => {
  let team: Team
  beforeAll(() => {
    const telegram = { isPaged: () => true, linked: () => 0, unlink: () => 0 }
    team = aTeam({ telegram: { ...telegram, newCode: () => ({ code: 'k_none', until: team.now() }) } })
    for (const role of ROLES)
      team.people.push({ ...(team.people[0] as Team['people'][number]), id: role, roles: [role] })
  })
  afterAll(() => team.close())
  const ask = (route: string, token?: string, origin = ORIGIN) => {
    const [method = '', path = ''] = route.split(' ')
    const init = { method, headers: fromOwnPage(token, origin), ...(method === 'POST' ? { body: 'password=x' } : {}) }
    return team.pages.fetch(new Request(ORIGIN + path.replace(':id', 'linh'), init))
  }

  it('has its row', () =>
    expect(team.pages.routes.map(({ method, path }) => `${method} ${path}`).toSorted()).toEqual(
      Object.keys(PATHS).toSorted(),
    ))

  for (const [route, row] of Object.entries(PATHS)) {
    it(`${route}: ${row}; nobody signed out; no post from another site`, async () => {
      for (const [index, role] of ROLES.entries()) {
        const { status } = await ask(route, await team.tokenOf(role))
        expect(status === 403, `${role} ${route}: ${status}`).toBe(row.split(' ')[index] === '-')
      }
      expect((await ask(route)).status).toBe(route.startsWith('GET') ? 303 : 401)
      if (route.startsWith('POST'))
        expect((await ask(route, await team.tokenOf('administrator'), 'https://evil.example')).status).toBe(403)
    })
  }
})
