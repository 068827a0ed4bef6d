import { describe, expect, test } from 'vitest'
import type { Role } from '../../src/accounts/authority.ts'
import type { CaseView } from '../../src/case/view.ts'
import { byDue } from '../../src/http/board-page.ts'
import { clinicianPages } from '../../src/http/clinician-pages.ts'
import { numberText } from '../../src/oncall/number-text.ts'
import { instant } from '../../src/time/instant.ts'
import { caseView, clinicNow, webClinic } from '../support/web-clinic.ts'
import { nonceOn, ORIGIN, visitor } from '../support/web-visitor.ts'

function open(over: Parameters<typeof webClinic>[0] = {}, view?: CaseView) {
  const clinic = webClinic(over, view)
  const pages = clinicianPages(clinic.ports)
  return { clinic, pages, clinician: visitor(pages.fetch) }
}

const PATH = '/p/token-good'

describe('opening a link', () => {
  test('never takes the case: not by GET, not by HEAD, not by a preview', async () => {
    const { clinic, clinician, pages } = open()
    await clinician.get(PATH)
    await clinician.get(`${PATH}/ring?now`)
    await clinician.get(`${PATH}?do=ringing-now&did=take`)
    const head = await pages.fetch(new Request(ORIGIN + PATH, { method: 'HEAD' }))
    expect(head.status).toBe(200)
    await clinician.get(PATH, { 'user-agent': 'preview-robot', purpose: 'prefetch' })
    expect(clinic.acts).toEqual([])
  })

  test('shows urgency, marks, what decides, the number and four answers first, in at most 60 kB', async () => {
    const { clinician } = open()
    const markup = await (await clinician.get(PATH)).text()
    expect(Buffer.byteLength(markup)).toBeLessThanOrEqual(60 * 1024)
    const order = [
      'Go to hospital, told 2:13 am',
      'Driving: ring, do not write',
      'Tube out since 1:30 to 1:45 am',
      'href="tel:+12025550142"',
      'value="ringing-now"',
      'value="ringing-by"',
      'value="go-in"',
      'value="pass-on"',
      'What the family was told',
    ].map(text => markup.indexOf(text))
    expect(order.every(place => place > 0)).toBe(true)
    expect(order).toEqual(order.toSorted((a, b) => a - b))
  })

  test('shows word for word what was told and said, when, and what is not known to have arrived', async () => {
    const { clinician } = open()
    const markup = await (await clinician.get(PATH)).text()
    expect(markup).toContain('“his tube is out”')
    expect(markup).toContain('Cover the opening with a clean, dry cloth.')
    expect(markup).toContain('Bot · not known whether it reached them')
    expect(markup).toContain('Was a feed running')
    expect(markup).toMatch(/Danger signs: <strong>None of these<\/strong><\/span> <span class="soft">2:12.am, changed/)
    expect(markup).toContain('never replaces the clinic')
  })

  // SBAR: situation, background, assessment, recommendation (Institute for Healthcare Improvement), with read-back.
  test('has the headings clinicians hand over by, in their order', async () => {
    const { clinician } = open()
    const markup = await (await clinician.get(PATH)).text()
    const places = ['Situation', 'Background', 'Assessment', 'Recommendation', 'Read-back'].map(h =>
      markup.indexOf(`>${h}</h2>`),
    )
    expect(places.every(place => place > 0)).toBe(true)
    expect(places).toEqual(places.toSorted((a, b) => a - b))
  })

  test.each([
    ['an expired link', '/p/token-old', 410, 'newest page'],
    ['an unknown link', '/p/token-bad', 404, 'Open the link from the page once more'],
    ['a link with odd characters', '/p/..%2f..%2fetc', 404, 'Open the link'],
    ['a path of nothing', '/px', 404, 'Open the link'],
  ])('%s says what to do and whom to ring', async (_, path, status, words) => {
    const { clinician } = open()
    const response = await clinician.get(path)
    expect(response.status).toBe(status)
    const markup = await response.text()
    expect(markup).toContain(words)
    expect(markup).toContain('href="tel:+12025550166"')
  })

  test('a fault of our own shows whom to ring and nothing of the fault', async () => {
    const { clinician, clinic } = open()
    clinic.failWith(new Error('secret detail'))
    const response = await clinician.get(PATH)
    expect(response.status).toBe(500)
    const markup = await response.text()
    expect(markup).toContain('href="tel:+12025550166"')
    expect(markup).not.toContain('secret')
  })

  test('no page is kept, framed or sent on', async () => {
    const { clinician } = open()
    const { headers } = await clinician.get(PATH)
    expect(headers.get('cache-control')).toBe('no-store')
    expect(headers.get('content-security-policy')).toContain("frame-ancestors 'none'")
    expect(headers.get('x-robots-tag')).toContain('noindex')
  })
})

describe('answering', () => {
  const press = async (fields: Record<string, string>, over = {}) => {
    const it = open(over)
    const nonce = nonceOn(await (await it.clinician.get(PATH)).text())
    return { ...it, nonce, response: await it.clinician.post(PATH, { nonce, ...fields }) }
  }

  test('"Ringing now" takes the case and leads to the number, very large: two taps from the page', async () => {
    const { clinic, clinician, response } = await press({ do: 'ringing-now' })
    expect(clinic.acts.map(a => a.action)).toEqual([{ kind: 'take', doing: { kind: 'ringing-now' } }])
    expect(clinic.acts[0]?.acted.by.name).toBe('R. Example')
    expect(response.status).toBe(303)
    const markup = await (await clinician.get(response.headers.get('location') ?? '')).text()
    expect(markup).toContain('id="ring"')
    expect(markup).toContain('href="tel:+12025550142"')
    expect(markup).toContain('Sun 4719')
  })

  test('"Ringing by" offers clock times and promises exactly the one pressed', async () => {
    const { clinic, clinician } = open()
    const markup = await (await clinician.get(PATH)).text()
    const times = [...markup.matchAll(/name="by" value="(\d+)">([^<]+)</g)].map(([, value, text]) => [
      Number(value),
      text?.replace(/\s/, ' '),
    ])
    expect(times).toEqual([
      [clinicNow + 5 * 60_000, '2:24 am'],
      [clinicNow + 10 * 60_000, '2:29 am'],
      [clinicNow + 15 * 60_000, '2:34 am'],
      [clinicNow + 30 * 60_000, '2:49 am'],
    ])
    await clinician.post(PATH, { do: 'ringing-by', by: String(times[1]?.[0]), nonce: nonceOn(markup) })
    expect(clinic.acts[0]?.action).toEqual({ kind: 'take', doing: { kind: 'ringing-by', by: clinicNow + 600_000 } })
  })

  test.each([
    ['a promised time that has passed', { do: 'ringing-by', by: String(clinicNow - 1000) }, 'That time has passed'],
    ['a promised time this minute', { do: 'ringing-by', by: String(clinicNow + 59_999) }, 'That time has passed'],
    [
      'a promise beyond six hours',
      { do: 'ringing-by', by: String(clinicNow + 6 * 3_600_000 + 1) },
      'could not be read',
    ],
    ['a promise that is no time', { do: 'ringing-by', by: 'soon' }, 'could not be read'],
    ['an empty message', { do: 'write', text: '   ' }, 'Nothing was written'],
    ['lowering without a reason', { do: 'lower', to: 'speak', reason: '' }, 'Write a reason'],
    ['lowering to nothing known', { do: 'lower', to: 'fine', reason: 'x' }, 'Choose one'],
    ['no outcome', { do: 'outcome', outcome: '' }, 'Choose one'],
    ['an unknown press', { do: 'launch' }, 'could not be read'],
  ])('%s changes nothing and says so', async (_, fields, words) => {
    const { clinic, response } = await press(fields)
    expect(response.status).toBe(422)
    expect(await response.text()).toContain(words)
    expect(clinic.acts).toEqual([])
  })

  test.each([
    [{ do: 'go-in' }, { kind: 'take', doing: { kind: 'go-in' } }],
    [{ do: 'pass-on' }, { kind: 'pass-on' }],
    [{ do: 'spoken' }, { kind: 'spoken' }],
    [
      { do: 'write', text: ' Hold on. ' },
      { kind: 'write', text: 'Hold on.' },
    ],
    [
      { do: 'quick-line', id: 'q-go' },
      { kind: 'quick-line', id: 'q-go' },
    ],
    [
      { do: 'stop-alarm', name: 'left-check' },
      { kind: 'stop-alarm', name: 'left-check' },
    ],
    [
      { do: 'lower', to: 'speak', reason: 'seen on video' },
      { kind: 'lower', to: 'speak', reason: 'seen on video' },
    ],
    [
      { do: 'outcome', outcome: 'admitted' },
      { kind: 'outcome', outcome: 'admitted', doNotWrite: false },
    ],
    [
      { do: 'outcome', outcome: 'admitted', note: 'bed 4', 'do-not-write': 'yes' },
      { kind: 'outcome', outcome: 'admitted', note: 'bed 4', doNotWrite: true },
    ],
  ])('%o is passed on as pressed', async (fields, action) => {
    const { clinic, clinician, response } = await press(fields)
    expect(clinic.acts.map(a => a.action)).toEqual([action])
    expect(response.status).toBe(303)
    const markup = await (await clinician.get(response.headers.get('location') ?? '')).text()
    expect(markup).toContain('class="note" role="alert"')
  })

  test('a second press of the same button is the same action, another button is another', async () => {
    const { clinic, clinician, nonce } = await press({ do: 'stop-alarm', name: 'left-check' })
    await clinician.post(PATH, { nonce, do: 'stop-alarm', name: 'left-check' })
    await clinician.post(PATH, { nonce, do: 'stop-alarm', name: 'arrival-check' })
    const ids = clinic.acts.map(a => a.acted.deliveryId)
    expect(ids[1]).toBe(ids[0])
    expect(ids[2]).not.toBe(ids[0])
  })

  test('a late answer says who has the case since when, and that this one did not take it', async () => {
    const { clinic, clinician } = open()
    clinic.answerWith({ kind: 'taken-by', name: 'C. Other', at: instant(Date.parse('2026-03-01T02:17:00Z')) })
    const response = await clinician.post(PATH, { do: 'ringing-now' })
    expect(response.status).toBe(409)
    expect((await response.text()).replace(/\s/g, ' ')).toContain(
      'C. Other has this case since 2:17 am. You did not take it.',
    )
  })

  test('a press from another site, too large, or on an expired link changes nothing', async () => {
    const { clinic, clinician } = open()
    expect((await clinician.post(PATH, { do: 'ringing-now' }, { origin: 'https://evil.example' })).status).toBe(403)
    expect((await clinician.post(PATH, { do: 'write', text: 'x'.repeat(64 * 1024) })).status).toBe(413)
    expect((await clinician.post('/p/token-old', { do: 'ringing-now' })).status).toBe(410)
    expect(clinic.acts).toEqual([])
  })

  test('only milder urgencies can be chosen when lowering', async () => {
    const { clinician } = open()
    const markup = await (await clinician.get(PATH)).text()
    expect([...markup.matchAll(/<option value="([^"]+)"/g)].map(m => m[1])).toEqual(['speak', 'tell-clinic', 'at-home'])
    const lowest = open({}, { ...caseView, disposition: 'at-home' })
    expect(await (await lowest.clinician.get(PATH)).text()).not.toContain('Lower the urgency')
  })

  test('a family that gave no number is written to, not rung', async () => {
    const { ringBack: _, ...view } = caseView
    const { clinician } = open({}, view)
    for (const path of [PATH, `${PATH}/ring`]) {
      const markup = await (await clinician.get(path)).text()
      expect(markup).toContain('gave no number to ring')
      expect(markup).not.toContain('href="tel:+12025550142"')
    }
  })

  test('hostile words of a family are shown as words', async () => {
    const words = '</p><script>alert(1)</script><img src=x onerror=alert(1)>'
    const { clinician } = open(
      {},
      {
        ...caseView,
        headline: words,
        marks: [words],
        told: [{ at: clinicNow, speaker: { kind: 'family' }, parts: [], said: words, reached: 'received' }],
        answers: [{ fact: words, label: words, answer: words, at: clinicNow, changed: false }],
        coming: [{ name: words, due: clinicNow, says: words }],
      },
    )
    const markup = await (await clinician.get(PATH)).text()
    expect(markup).not.toMatch(/<script>|<img/)
    expect(markup).toContain('&lt;img src=x onerror=alert(1)&gt;')
  })
})

describe('the board', () => {
  test('lists open cases by what is due next and closed ones last, and who would have been reached how', async () => {
    const { clinician } = open()
    const markup = await (await clinician.get('/board')).text()
    expect([...markup.matchAll(/<strong>(Sun \d{4})<\/strong>/g)].map(m => m[1])).toEqual([
      'Sun 4719',
      'Sun 3301',
      'Sun 5502',
      'Sun 2200',
    ])
    expect(markup).toContain('<h1>Tonight</h1>')
    expect(markup).toContain('to R. Example by e-mail')
    expect(markup).toContain('href="/p/token-good"')
  })

  test('outside a demonstration is for who is signed in and may see it; others are led to sign in, or told', async () => {
    const board = async (roles?: readonly Role[]) => {
      const who = { personId: 'x', name: 'X', isOnCall: false, sessionId: 's', how: 'passkey' } as const
      const { clinician } = open({
        demonstration: false,
        signedIn: async () => (roles === undefined ? undefined : { ...who, roles }),
      })
      const response = await clinician.get('/board')
      return [response.status, response.headers.get('location')]
    }
    expect(await board()).toEqual([303, '/sign-in?onward=%2Fboard'])
    expect(await board(['reviewer'])).toEqual([403, null])
    for (const role of ['on-call', 'lead', 'administrator'] as const) expect(await board([role])).toEqual([200, null])
  })

  test('sorting keeps every row', () => {
    expect(byDue([])).toEqual([])
    const row = { code: 'a', headline: '', callout: '', marks: [], closed: false }
    expect(byDue([row, { ...row, code: 'b' }]).map(r => r.code)).toEqual(['a', 'b'])
  })
})

test('a number is read in groups', () => {
  expect(numberText('+12025550142')).toBe('+1 202 555 0142')
  expect(numberText('112')).toBe('112')
})

describe('photos of the family', () => {
  const photos = {
    of: async () => [{ id: '1-aaaaaaaaaaaaaaaa', at: clinicNow }],
    open: async (_caseId: string, id: string) =>
      id === '1-aaaaaaaaaaaaaaaa' ? { type: 'image/png', bytes: Buffer.from('picture') } : undefined,
  }
  const someone = (roles: readonly Role[], isOnCall = false) => ({
    demonstration: false,
    photos,
    signedIn: async () => ({ personId: 'p', name: 'P', roles, isOnCall }) as never,
  })
  const photo = `${PATH}/photo/1-aaaaaaaaaaaaaaaa`

  test.each([
    ['nobody who is signed in', { demonstration: false, photos }, 403],
    ['an administrator', someone(['administrator']), 403],
    ['a reviewer', someone(['reviewer']), 403],
    ['a clinician who is not on call', someone(['on-call']), 403],
    ['a clinician on call', someone(['on-call'], true), 200],
    ['the lead', someone(['lead']), 200],
  ])('%s with the link of the page', async (_who, over, status) => {
    const { clinician } = open(over)
    expect((await clinician.get(photo)).status).toBe(status)
    const markup = await (await clinician.get(PATH)).text()
    expect(markup.includes(`src="${photo}"`)).toBe(status === 200)
    expect(markup.includes('/sign-in?onward=')).toBe(status !== 200)
  })

  test('leave as a picture and nothing else: no sniffing, nothing kept, nothing run', async () => {
    const { clinician } = open(someone(['lead']))
    const answer = await clinician.get(photo)
    const headers = Object.fromEntries(answer.headers)
    expect(headers).toMatchObject({
      'content-type': 'image/png',
      'x-content-type-options': 'nosniff',
      'cache-control': 'no-store',
      'content-security-policy': "default-src 'none'; sandbox; frame-ancestors 'none'",
      'cross-origin-resource-policy': 'same-origin',
    })
    expect(await answer.text()).toBe('picture')
  })

  test('are not there by another id, or by a link that is over', async () => {
    const { clinician } = open(someone(['lead']))
    expect((await clinician.get(`${PATH}/photo/2-bbbbbbbbbbbbbbbb`)).status).toBe(404)
    expect((await clinician.get('/p/token-old/photo/1-aaaaaaaaaaaaaaaa')).status).toBe(410)
    expect((await clinician.get('/p/token-none/photo/1-aaaaaaaaaaaaaaaa')).status).toBe(404)
  })

  test('stand nowhere on a page of a case without any', async () => {
    const { clinician } = open()
    expect(await (await clinician.get(PATH)).text()).not.toContain('<img')
  })
})
