import { subscribe, unsubscribe } from 'node:diagnostics_channel'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { openDemoReceivers } from '../../src/pagers/demo-receivers.ts'
import { smtpPager } from '../../src/pagers/smtp.ts'
import { webhookPager } from '../../src/pagers/webhook.ts'
import { POINT_CHANNEL, passed } from '../../src/points/points.ts'
import { minutes } from '../../src/time/instant.ts'
import { aPage } from '../pagers/a-page.ts'
import { NIGHT, world } from '../support/world.ts'

let seen: string[] = []
const listen = (point: unknown): void => {
  seen.push(String(point))
}
beforeEach(() => {
  seen = []
  subscribe(POINT_CHANNEL, listen)
})
afterEach(() => {
  unsubscribe(POINT_CHANNEL, listen)
})
const of = (start: string): string[] => seen.filter(point => point.startsWith(start))

describe('named points', () => {
  it('reach whoever listens at once, and nobody else', () => {
    passed('worker.received')
    expect(seen).toEqual(['worker.received'])
    unsubscribe(POINT_CHANNEL, listen)
    passed('worker.received')
    expect(seen).toHaveLength(1)
  })

  it('lie before and after everything a row waits for, in this order', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    expect(of('outbox.family')).toEqual(
      ['claimed', 'rendered', 'kept', 'sent', 'settled'].map(point => `outbox.family.${point}`),
    )
    expect(of('worker')).toEqual(['worker.received', 'worker.stepped', 'worker.committed'])
    seen = []
    night.page = async page => (page.address === 'amara-1' ? { kind: 'accepted' } : { kind: 'failed', reason: 'busy' })
    await night.say('danger')
    const rows = of('outbox.page')
    expect(rows.filter(point => point.endsWith('claimed'))).toHaveLength(2)
    expect(rows.filter(point => point.endsWith('settled'))).toHaveLength(2)
  })

  it('lie around an alarm that fires', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    seen = []
    await night.advance(minutes(10))
    expect(of('alarms')).toEqual(['alarms.found', 'alarms.firing', 'alarms.fired'])
    expect(seen.indexOf('alarms.firing')).toBeLessThan(seen.indexOf('worker.committed'))
    expect(seen.indexOf('worker.committed')).toBeLessThan(seen.indexOf('alarms.fired'))
  })

  it("lie around a pager's talk with the other side", async () => {
    const secret = `whsec_${Buffer.alloc(24, 'points').toString('base64')}`
    const receivers = await openDemoReceivers({ clock: () => NIGHT, webhookSecret: secret })
    try {
      const mail = smtpPager({ ...receivers.smtp, security: 'none', from: 'pages@clinic.example' })
      await mail.page(aPage())
      await mail.stop()
      expect(of('pager')).toEqual(['pager.smtp.connecting', 'pager.smtp.handing-over', 'pager.smtp.answered'])
      seen = []
      const hook = webhookPager({ secrets: [secret], clock: () => NIGHT, loopbackHttp: true })
      await hook.page(aPage({ address: receivers.webhookUrl }))
      expect(of('pager')).toEqual(['pager.webhook.posting', 'pager.webhook.connected', 'pager.webhook.answered'])
      seen = []
      await hook.page(aPage({ address: 'ftp://receiver.example/' }))
      expect(of('pager')).toEqual([])
    } finally {
      await receivers.stop()
    }
  })
})
