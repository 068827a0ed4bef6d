import { beforeEach, describe, expect, it } from 'vitest'
import { mayDo, ROLES } from '../../src/accounts/authority.ts'
import type { SignedIn } from '../../src/accounts/signed-in.ts'
import { type Console, consolePages } from '../../src/http/console/console.ts'
import type { LineNotice } from '../../src/http/console/notice-page.ts'
import { bySoonest, type NowRow, type NowView, untilText } from '../../src/http/console/now-page.ts'
import { after, instant, minutes } from '../../src/time/instant.ts'
import { consoleBeside, someone } from '../support/console-people.ts'
import { screenWording } from '../support/screen-words.ts'

const AT = instant(Date.parse('2026-03-01T07:10:00Z'))
const CASE = '0123456789abcdef0123456789abcdef'
const row: NowRow = {
  caseId: CASE,
  code: 'Sun 4719',
  headline: 'Go to hospital, told 2:10 am',
  openedAt: AT,
  callout: 'Paging Amara Osei, no answer yet',
  next: { at: after(AT, minutes(3)), says: 'Paged again at 2:13 am if nobody answers' },
  marks: ['No number to ring'],
}
const view: NowView = {
  ...{
    at: AT,
    isNight: true,
    doubts: ['A way of paging takes nothing since 2:00 am'],
    onCall: 'Amara Osei is paged first.',
  },
  rows: [row],
  day: {
    night: 'Closed from Friday until Monday',
    line: 'One case.',
    items: [
      {
        caseId: CASE,
        code: 'Sun 4719',
        headline: row.headline,
        closed: false,
        notes: ['Ask how feeding goes.'],
        isUrgent: true,
        worth: 'unjudged',
      },
    ],
    takers: [{ id: 'malia', name: 'Malia Kealoha' }],
  },
}

describe('the clinic pages about now', () => {
  let who: SignedIn | undefined
  let did: string[]
  let notice: LineNotice | undefined
  let untaken: string[]
  let pages: Console

  beforeEach(() => {
    who = someone()
    did = []
    notice = undefined
    untaken = []
    pages = consolePages({
      ...consoleBeside(text => void did.push(text)),
      signedIn: async () => who,
      now: () => AT,
      tonight: {
        view: async () => view,
        casePath: async (_who, caseId) => (caseId === CASE ? '/p/token' : undefined),
        async giveForDay(_who, caseId, taker, key) {
          did.push(`give ${caseId.slice(0, 4)} ${taker} ${key}`)
          return taker === 'malia' ? 'done' : 'nobody'
        },
        judge: (caseId, isWorth) => void did.push(`judge ${caseId.slice(0, 4)} ${isWorth}`),
        async signOver() {
          did.push('sign over')
          return untaken
        },
        sheet: async () => ({ heading: 'Tonight', printed: '', people: [], ladder: [], numbers: [], cases: [] }),
        notice: () => notice,
        async setNotice(_who, next) {
          notice = next
          did.push('notice')
        },
        noticeShown: () => ['No one can be paged.'],
      },
    })
  })

  const get = (path: string): Promise<Response> => pages.fetch(new Request(`http://localhost${path}`))
  const post = (path: string, fields: Record<string, string>, origin = 'http://localhost'): Promise<Response> =>
    pages.fetch(
      new Request(`http://localhost${path}`, {
        method: 'POST',
        body: new URLSearchParams(fields),
        headers: { origin, host: 'localhost' },
      }),
    )
  const textOf = async (response: Promise<Response>): Promise<string> => (await response).text()

  it('show what is due next, in words and as a running clock, and the ways into the case', async () => {
    const markup = await textOf(get('/now'))
    expect(markup).toContain('Paged again at 2:13 am if nobody answers')
    expect(markup).toContain(`data-due="${AT + 180_000}">in 3 min<`)
    for (const to of ['', '?to=told', '?to=write', '?to=outcome']) expect(markup).toContain(`/now/open/${CASE}${to}"`)
    expect(markup).toContain('A way of paging takes nothing since 2:00 am')
    expect(Buffer.byteLength(markup)).toBeLessThan(100_000)
  })

  it('lead into the case at the place that was asked for', async () => {
    const response = await get(`/now/open/${CASE}?to=write`)
    expect([response.status, response.headers.get('location')]).toEqual([303, '/p/token#clinic-write'])
    expect((await get('/now/open/ffffffffffffffffffffffffffffffff')).status).toBe(404)
  })

  it('give a case to somebody by name, once for one form', async () => {
    const response = await post(`/now/day/${CASE}`, { taker: 'malia', nonce: 'nonce-of-form' })
    expect(response.headers.get('location')).toBe('/now?did=day-given#day')
    expect(did).toEqual(['give 0123 malia nonce-of-form'])
    expect((await post(`/now/day/${CASE}`, { taker: '' })).status).toBe(422)
    expect((await post(`/now/day/${CASE}`, { taker: 'nobody-known' })).status).toBe(409)
  })

  it('take in one press whether a page was worth waking for, and nothing else', async () => {
    expect(await textOf(get('/now'))).toContain('Was it worth waking somebody for?')
    expect((await post(`/now/worth/${CASE}`, { worth: 'no' })).headers.get('location')).toBe('/now?did=day-judged#day')
    expect((await post(`/now/worth/${CASE}`, { worth: 'perhaps' })).status).toBe(422)
    expect(did).toEqual(['judge 0123 false'])
  })

  it("do not sign a night over while something urgent is nobody's, and name it", async () => {
    untaken = ['Sun 4719']
    const refused = await post('/now/sign-over', {})
    expect(refused.status).toBe(409)
    expect(await refused.text()).toContain('nobody has them yet: Sun 4719')
    untaken = []
    expect((await post('/now/sign-over', {})).headers.get('location')).toBe('/now?did=day-signed#day')
  })

  it('set and take off what families are told first, for some hours or until taken off', async () => {
    await post('/now/notice', { kind: 'reduced', hours: '2' })
    expect(notice).toEqual({ kind: 'reduced', until: AT + 7_200_000 })
    expect(await textOf(get('/now/notice'))).toContain('No one can be paged.')
    await post('/now/notice', { kind: 'none' })
    expect(notice).toBeUndefined()
    expect((await post('/now/notice', { kind: 'closed', hours: '99' })).status).toBe(422)
    expect((await post('/now/notice', {})).status).toBe(422)
  })

  it('take nothing from another site', async () => {
    expect((await post('/now/notice', { kind: 'closed' }, 'https://other.example')).status).toBe(403)
    expect(did).toEqual([])
  })

  it('open to nobody who is not signed in: a page leads to signing in and back, a press does nothing', async () => {
    who = undefined
    const led = await get('/now/print')
    expect([led.status, led.headers.get('location')]).toEqual([303, '/sign-in?onward=%2Fnow%2Fprint'])
    expect((await post('/now/sign-over', {})).status).toBe(401)
    expect(did).toEqual([])
  })

  it('hold to the table of who may do what, on every route, in each role, on call or not', async () => {
    for (const role of ROLES)
      for (const isOnCall of [true, false]) {
        who = someone([role], isOnCall)
        for (const { method, path, action } of pages.routes) {
          did = []
          const address = path
            .replace(':caseId', CASE)
            .replace(':kind', 'leave')
            .replace(':person', 'amara')
            .replace(':part', 'skin')
            .replace(':number', '1')
            .replace(':situation', 'sore-skin')
            .replace(':language', 'en')
          const response = await (method === 'GET' ? get(address) : post(address, { taker: 'malia', kind: 'none' }))
          const may = mayDo(who, action, { caseId: CASE, isClosed: false, personId: 'amara' })
          expect(`${role} ${isOnCall} ${method} ${path} ${response.status === 403}`).toBe(
            `${role} ${isOnCall} ${method} ${path} ${!may}`,
          )
          if (!may) expect(did).toEqual([`refused ${action}`])
        }
      }
  })

  it('approve a part only by the content that was read, in the languages ticked, and say what came of it', async () => {
    const markup = await textOf(get('/flows/skin'))
    expect(markup).toContain(`name="hash" value="${'a'.repeat(64)}"`)
    const approved = await post('/flows/skin/approve', { hash: 'a'.repeat(64), language: 'en' })
    expect(did).toEqual(['approve skin 64 en'])
    expect(await approved.text()).toContain('Approved.')
    expect((await post('/flows/skin/withdraw', { why: 'a wrong word' })).status).toBe(409)
    expect((await get('/flows/nothing')).status).toBe(404)
  })

  it('show approving to nobody who may not, and give pictures that can run nothing', async () => {
    who = someone(['reviewer'])
    expect(await textOf(get('/flows/skin'))).not.toContain('name="hash"')
    const picture = await get('/flows/skin/picture/1')
    expect(picture.headers.get('content-type')).toContain('image/svg+xml')
    expect(picture.headers.get('content-security-policy')).toBe("default-src 'none'; style-src 'unsafe-inline'")
    expect((await get('/flows/skin/picture/9')).status).toBe(404)
  })

  it('answer what is not there, and a fault, with whom to ring', async () => {
    expect((await get('/now/nothing')).status).toBe(404)
    expect(await textOf(get('/now/nothing'))).toContain('tel:+12025550166')
  })
})

describe('the list of what is due', () => {
  const due = (code: string, at: number | undefined, opened = 0): NowRow => {
    const { next: _none, ...rest } = row
    const said = at === undefined ? {} : { next: { at: instant(at), says: '' } }
    return { ...rest, code, openedAt: instant(AT + opened), ...said }
  }

  it('has the soonest first, what has nothing due last, the oldest of those first', () => {
    const rows = [due('late', AT + 9), due('none', undefined, 5), due('old', undefined, 1), due('soon', AT + 1)]
    expect(bySoonest(rows).map(({ code }) => code)).toEqual(['soon', 'late', 'old', 'none'])
  })

  it.each([
    [180, 'in 3 min'],
    [0, 'in 0 min'],
    [-120, '2 min over'],
    [5_400, 'in 90 min'],
    [10_800, 'in 3 h'],
    [-10_800, '3 h over'],
  ])('says %i seconds as "%s"', (seconds, said) => {
    expect(untilText(instant(AT + seconds * 1000), AT, screenWording)).toBe(said)
  })
})
