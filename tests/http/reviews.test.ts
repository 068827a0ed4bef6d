import { beforeEach, describe, expect, it } from 'vitest'
import type { SignedIn } from '../../src/accounts/signed-in.ts'
import { type Console, consolePages } from '../../src/http/console/console.ts'
import { instant } from '../../src/time/instant.ts'
import { consoleBeside, oneReview, REVIEWED, someone } from '../support/console-people.ts'
import { shippedRubric } from '../support/review-parts.ts'

describe('the pages Reviews', () => {
  let who: SignedIn | undefined
  let did: string[]
  let pages: Console

  beforeEach(() => {
    who = someone(['reviewer'])
    did = []
    pages = consolePages({
      ...consoleBeside(text => void did.push(text)),
      signedIn: async () => who,
      now: () => instant(0),
      reviews: oneReview(text => void did.push(text)),
    })
  })
  const get = (path: string) => pages.fetch(new Request(`http://localhost${path}`))
  const post = (path: string, fields: Record<string, string>) =>
    pages.fetch(
      new Request(`http://localhost${path}`, {
        method: 'POST',
        body: new URLSearchParams(fields),
        headers: { origin: 'http://localhost', host: 'localhost' },
      }),
    )

  it('show the queue of a month with the seed it was drawn by', async () => {
    const markup = await (await get('/reviews?month=2026-03')).text()
    expect(markup).toContain('Seed: a1b2')
    expect(markup).toContain(`href="/reviews/case/${REVIEWED}"`)
    expect(did).toEqual(['queue 2026-03'])
    await get('/reviews?month=2026-99')
    expect(did.at(-1)).toBe('queue undefined')
  })

  it('step through a case with the clock, and back', async () => {
    const markup = await (await get(`/reviews/case/${REVIEWED}?step=1`)).text()
    expect(markup).toContain('02:10')
    expect(markup).toContain(`href="/reviews/case/${REVIEWED}?step=2#step-2"`)
    expect(markup).not.toContain('?step=0#')
    expect(markup).toContain(`src="/reviews/case/${REVIEWED}/picture/1?step=1"`)
    expect((await get('/reviews/case/ffffffffffffffffffffffffffffffff')).status).toBe(404)
    expect((await get('/reviews/case/..%2f..%2fetc')).status).toBe(404)
  })

  it('ask every item of the rubric, and keep what was filled in when something lacks', async () => {
    const markup = await (await get(`/reviews/case/${REVIEWED}`)).text()
    for (const { id } of shippedRubric.items) expect(markup).toContain(`name="item.${id}" value="yes" required`)
    const lacking = await post(`/reviews/case/${REVIEWED}/score`, { 'item.plain-words': 'no', note: 'a note' })
    expect(lacking.status).toBe(422)
    const again = await lacking.text()
    expect(again).toContain('name="item.plain-words" value="no" required checked')
    expect(again).toContain('>a note</textarea>')
    const handed = await post(`/reviews/case/${REVIEWED}/score`, { safe: 'safe' })
    expect([handed.status, handed.headers.get('location')]).toEqual([303, '/reviews?did=scored'])
  })

  it('draw a month only when it was said that this is done once', async () => {
    const asked = await post('/reviews/draw', { month: '2026-03' })
    expect([asked.status, await asked.text()]).toEqual([422, expect.stringContaining('Nothing was drawn.')])
    expect(did).not.toContain('draw 2026-03')
    await post('/reviews/draw', { month: '2026-03', sure: 'yes' })
    expect(did).toContain('draw 2026-03')
  })

  it('take in what is to be done, keep what was filled in when something lacks, and end it', async () => {
    const lacking = await post(`/reviews/case/${REVIEWED}/action`, { says: 'Ask first', due: '2026-05-01' })
    expect([lacking.status, await lacking.text()]).toEqual([422, expect.stringContaining('>Ask first</textarea>')])
    const taken = await post(`/reviews/case/${REVIEWED}/action`, {
      says: 'Ask first',
      owner: 'linh',
      due: '2026-05-01',
    })
    expect(taken.headers.get('location')).toBe('/reviews/actions?did=action')
    expect(await (await get('/reviews/actions')).text()).toContain('Linh Tran, by 2026-04-30')
    expect((await post('/reviews/actions/1', { says: 'because' })).status).toBe(422)
    expect((await post('/reviews/actions/1', { how: 'reason', says: 'because' })).status).toBe(303)
    expect(did.slice(-2)).toEqual(['end 1', 'end 1'])
  })

  it('are for those who review; figures for those who lead and keep accounts too', async () => {
    const roles = { reviewer: [200, 200], lead: [403, 200], administrator: [403, 200], 'on-call': [403, 403] } as const
    for (const [role, [queue, figures]] of Object.entries(roles)) {
      who = someone([role as 'lead'])
      expect([role, (await get('/reviews')).status, (await get('/reviews/figures')).status]).toEqual([
        role,
        queue,
        figures,
      ])
      expect((await get(`/reviews/case/${REVIEWED}`)).status).toBe(queue)
    }
    who = undefined
    expect((await get('/reviews')).headers.get('location')).toBe('/sign-in?onward=%2Freviews')
  })

  it('draw each figure beside its table, escaped', async () => {
    const markup = await (await get('/reviews/figures')).text()
    expect(markup).toContain('<title id="plot-hours-title">')
    expect(markup).toContain('&lt;b&gt;')
    expect(markup).not.toContain('<b>')
  })
})
