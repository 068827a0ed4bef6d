import { once } from 'node:events'
import { connect } from 'node:net'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { type DemoReceivers, openDemoReceivers } from '../../src/pagers/demo-receivers.ts'
import type { Received } from '../../src/pagers/received.ts'
import { smtpPager } from '../../src/pagers/smtp.ts'
import { webhookPager } from '../../src/pagers/webhook.ts'
import { instant } from '../../src/time/instant.ts'
import { aPage } from './a-page.ts'

const secret = `whsec_${Buffer.alloc(24, 'demonstration').toString('base64')}`
const now = instant(Date.UTC(2031, 2, 4, 2, 0))
const clock = () => now
let receivers: DemoReceivers
beforeEach(async () => {
  receivers = await openDemoReceivers({ clock, webhookSecret: secret })
})
afterEach(() => receivers.stop())

const mailPager = () => smtpPager({ ...receivers.smtp, security: 'none', from: 'pages@clinic.example' })
const hookPager = (by = secret, at = now) => webhookPager({ secrets: [by], clock: () => at, loopbackHttp: true })

describe('the demonstration’s receivers', () => {
  test('say who would have been reached and how, by mail', async () => {
    const heard: Received[] = []
    receivers.onReceived(one => heard.push(one))
    const page = aPage({ text: `.GO TO HOSPITAL = now, á ü €\n.. ${'long words '.repeat(25)}` })
    expect(await mailPager().page(page)).toEqual({ kind: 'accepted' })
    expect(receivers.recent()).toEqual([
      {
        at: now,
        how: 'mail',
        to: 'on-call@clinic.example',
        text: page.text.trim(),
        id: expect.stringMatching(/^<.*@clinic\.example>$/),
      },
    ])
    expect(heard).toEqual(receivers.recent())
  })

  test('say who would have been reached and how, by webhook', async () => {
    expect(await hookPager().page(aPage({ address: receivers.webhookUrl }))).toEqual({ kind: 'accepted' })
    expect(receivers.recent()).toMatchObject([{ how: 'webhook', to: 'first', text: aPage().text }])
  })

  test('take nothing that is not signed with the secret, or signed at another time', async () => {
    const other = `whsec_${Buffer.alloc(24, 'other').toString('base64')}`
    const address = receivers.webhookUrl
    expect(await hookPager(other).page(aPage({ address }))).toMatchObject({ reason: expect.stringContaining('401') })
    expect(await hookPager(secret, instant(now - 301_000)).page(aPage({ address }))).toMatchObject({ kind: 'refused' })
    const unsigned = await fetch(address, { method: 'POST', body: '{}' })
    expect([unsigned.status, (await fetch(address)).status]).toEqual([401, 405])
    expect((await fetch(address, { method: 'POST', body: 'x'.repeat(30_000) })).status).toBe(413)
    expect(receivers.recent()).toEqual([])
  })

  test('keep the last 50', async () => {
    const pager = hookPager()
    for (let n = 0; n < 53; n += 1) await pager.page(aPage({ address: receivers.webhookUrl, text: `page ${n}` }))
    expect(receivers.recent()).toHaveLength(50)
    expect(receivers.recent()[0]?.text).toBe('page 52')
  })

  test('answer a mail conversation out of order with what to do first, and stop with it still open', async () => {
    const socket = connect(receivers.smtp.port, receivers.smtp.host)
    socket.on('error', () => undefined)
    let said = ''
    socket.setEncoding('utf8').on('data', more => {
      said += more
    })
    socket.write(
      'RCPT TO:<a@b.example>\r\nDATA\r\nEHLO me\r\nMAIL FROM:<a@b.example>\r\nWHAT\r\nNOOP\r\nRSET\r\nDATA\r\n',
    )
    while (said.split('\r\n').length < 10) await once(socket, 'data')
    expect(said.split('\r\n').map(line => line.slice(0, 3))).toEqual([
      '220',
      '503',
      '503',
      '250',
      '250',
      '502',
      '250',
      '250',
      '503',
      '',
    ])
    const closed = once(socket, 'close')
    await receivers.stop()
    await closed
    receivers = await openDemoReceivers({ clock, webhookSecret: secret })
  })

  test('end a conversation that sends too much', async () => {
    const socket = connect(receivers.smtp.port, receivers.smtp.host)
    socket.on('error', () => undefined)
    socket.resume()
    socket.write('x'.repeat(5_000))
    await once(socket, 'close')
    expect(receivers.recent()).toEqual([])
  })
})
