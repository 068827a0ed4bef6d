import { describe, expect, it } from 'vitest'
import { smsPager } from '../../src/pagers/sms.ts'
import { septetsOf } from '../../src/sms/alphabet.ts'
import type { Centre, Sent } from '../../src/sms/centre.ts'
import { aPage } from './a-page.ts'

function aPager(outcome: Sent = { kind: 'accepted' }) {
  const sent: [to: string, text: string][] = []
  let isStarted = false
  const centre: Centre = {
    start: () => {
      isStarted = true
    },
    send: async (to, text) => {
      sent.push([to, text])
      return outcome
    },
    doubt: () => undefined,
    stop: async () => undefined,
  }
  const pager = smsPager({
    centre,
    howToAnswer: ({ code }) => `Or text back ${code.slice(-4)} and 1 to 4.`,
    repeatLabel: () => 'May be a repeat',
  })
  return { pager, sent, isStarted: () => isStarted }
}
const TO = { address: '+12125550142' }

describe('a page by text message', () => {
  it('is the page’s own words, then how to answer, in the basic alphabet', async () => {
    const { pager, sent, isStarted } = aPager()
    expect(await pager.page(aPage(TO))).toEqual({ kind: 'accepted' })
    expect(isStarted()).toBe(true)
    expect(sent).toEqual([['+12125550142', `${aPage().text} Or text back 4719 and 1 to 4.`]])
    expect(septetsOf(sent[0]?.[1] ?? '')).toBeGreaterThan(100)
  })

  it('says that it may be a repeat; and a page that only tells asks for no answer', async () => {
    const { pager, sent } = aPager()
    await pager.page(aPage({ ...TO, repeated: true }))
    await pager.page(aPage({ ...TO, kind: 'taken' }))
    expect(sent[0]?.[1]).toMatch(/^May be a repeat: GO TO HOSPITAL/)
    expect(sent[1]?.[1]).not.toContain('text back')
  })

  it('to what is no telephone number is refused', async () => {
    const { pager, sent } = aPager()
    for (const address of ['', '555', '+1212 555', 'amara@clinic.example', '+1212555014212345'])
      expect(await pager.page(aPage({ address }))).toMatchObject({ kind: 'refused' })
    expect(sent).toEqual([])
  })

  it('tells what the centre said', async () => {
    const outcome = {
      kind: 'failed',
      reason: 'the centre says: its queue is full (0x14)',
      retryAfterMs: 5_000,
    } as const
    expect(await aPager(outcome).pager.page(aPage(TO))).toEqual(outcome)
  })
})
