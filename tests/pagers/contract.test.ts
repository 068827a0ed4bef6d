import { once } from 'node:events'
import { createServer, type ServerResponse } from 'node:http'
import { type AddressInfo, createServer as createSocketServer, type Socket } from 'node:net'
import type { Pdu } from 'smpp'
import { boardPager } from '../../src/pagers/board.ts'
import { smsPager } from '../../src/pagers/sms.ts'
import { smtpPager } from '../../src/pagers/smtp.ts'
import { telegramPager } from '../../src/pagers/telegram.ts'
import { webhookPager } from '../../src/pagers/webhook.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { shortMessageCentre } from '../../src/sms/centre.ts'
import { apiOf, connection } from '../../src/telegram/connection.ts'
import { instant } from '../../src/time/instant.ts'
import { botApi } from '../support/bot-api/bot-api.ts'
import { testCentre, textOf } from '../support/sms-centre.ts'
import { type PagerBench, pagerContract, type Trouble } from './pager-contract.ts'

/** A slow answer: late, and well within what each pager waits here. */
const SLOW_MS = 150
const WAITED_MS = 500
const NIGHT = instant(Date.UTC(2031, 2, 4, 2, 13, 20))

/** What the next page meets, taken once. */
function planned() {
  let next: Trouble | undefined
  return {
    plan: (what: Trouble) => {
      next = what
    },
    take: (): Trouble | undefined => {
      const now = next
      next = undefined
      return now
    },
  }
}

pagerContract('signed web call', async () => {
  const { plan, take } = planned()
  const got: string[] = []
  const server = createServer(async (request, response: ServerResponse) => {
    const trouble = take()
    if (trouble === 'silent') return
    let body = ''
    for await (const piece of request) body += piece
    if (trouble === 'refused') return response.writeHead(410).end()
    if (trouble === 'busy') return response.writeHead(503, { 'retry-after': '3' }).end()
    got.push(`webhook-id: ${String(request.headers['webhook-id'])}\n${body}`)
    if (trouble === 'lost-answer') return request.socket.destroy()
    if (trouble === 'slow') await new Promise(resolve => setTimeout(resolve, SLOW_MS))
    return response.writeHead(204).end()
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  const close = () => {
    server.closeAllConnections()
    server.close()
  }
  const secret = `whsec_${Buffer.alloc(32, 'a secret of an invented clinic').toString('base64')}`
  return {
    pager: webhookPager({ secrets: [secret], clock: () => NIGHT, loopbackHttp: true, timeoutMs: WAITED_MS }),
    address: `http://127.0.0.1:${(server.address() as AddressInfo).port}/pages`,
    arrived: () => got,
    // The receiver's machine has to know for whom it is.
    mayCarry: ['their id'],
    troubles: ['refused', 'busy', 'lost-answer', 'silent', 'slow', 'down'],
    trouble: what => (what === 'down' ? close() : plan(what)),
    stop: async () => close(),
  } satisfies PagerBench
})

/** A mail server of bare sockets (RFC 5321), which keeps what it took. */
async function mailServer(take: () => Trouble | undefined, got: string[]) {
  const open = new Set<Socket>()
  const server = createSocketServer(socket => {
    open.add(socket)
    socket.on('error', () => undefined)
    const trouble = take()
    let mail = ''
    let isMail = false
    const say = (reply: string) => socket.write(`${reply}\r\n`)
    say('220 here')
    socket.on('data', async octets => {
      const text = octets.toString()
      if (isMail) {
        mail += text
        if (!mail.endsWith('\r\n.\r\n')) return
        isMail = false
        got.push(readable(mail))
        if (trouble === 'silent') return
        if (trouble === 'lost-answer') return void socket.resetAndDestroy()
        if (trouble === 'slow') await new Promise(resolve => setTimeout(resolve, SLOW_MS))
        return void say('250 taken')
      }
      const command = text.slice(0, 4).toUpperCase()
      if (command === 'RCPT' && trouble === 'refused') return void say('550 no such mailbox')
      if (command === 'RCPT' && trouble === 'busy') return void say('450 come back later')
      isMail = command === 'DATA'
      say(isMail ? '354 go on' : '250 yes')
    })
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  return {
    port: (server.address() as AddressInfo).port,
    close() {
      for (const socket of open) socket.destroy()
      server.close()
    },
  }
}

/** Headers unfolded, quoted-printable undone (RFC 2045 section 6.7), lines joined: as a person reads it. */
const readable = (mail: string): string =>
  mail
    .replace(/\r\n[ \t]+/g, ' ')
    .replace(/=\r\n/g, '')
    .replace(/=([0-9A-F]{2})/g, (_, code: string) => String.fromCharCode(Number.parseInt(code, 16)))

pagerContract('mail', async () => {
  const { plan, take } = planned()
  const got: string[] = []
  const server = await mailServer(take, got)
  const pager = smtpPager({
    ...{ host: '127.0.0.1', port: server.port, security: 'none', from: 'pages@clinic.example' },
    timeouts: { connectMs: WAITED_MS, silenceMs: WAITED_MS, wholeMs: 2_000 },
  })
  return {
    ...{ pager, address: 'on-call@clinic.example' },
    arrived: () => got,
    mayCarry: [],
    troubles: ['refused', 'busy', 'lost-answer', 'silent', 'slow', 'down'],
    trouble: what => (what === 'down' ? server.close() : plan(what)),
    async stop() {
      await pager.stop()
      server.close()
    },
  } satisfies PagerBench
})

pagerContract('text message', async () => {
  const { plan, take } = planned()
  const parts: Pdu[] = []
  const centre = await testCentre((pdu, session) => {
    const trouble = take()
    const yes = () => session.send(pdu.response())
    // SMPP 3.4 section 5.1.3: 0x0b is an address it does not take, 0x14 a full queue.
    if (trouble === 'refused') return void session.send(pdu.response({ command_status: 0x0b }))
    if (trouble === 'busy') return void session.send(pdu.response({ command_status: 0x14 }))
    parts.push(pdu)
    if (trouble === 'silent') return
    if (trouble === 'lost-answer') session.destroy()
    else if (trouble === 'slow') setTimeout(yes, SLOW_MS)
    else yes()
  })
  const pager = smsPager({
    centre: shortMessageCentre({
      ...{ host: '127.0.0.1', port: centre.port, security: 'none', systemId: 'clinic', password: 'x', from: 'CLINIC' },
      timeouts: { answerMs: WAITED_MS },
    }),
    howToAnswer: () => 'Or text back 4719 and 1 to 4.',
    repeatLabel: () => 'May be a repeat',
  })
  return {
    ...{ pager, address: '+12125550142' },
    // Parts of one text have the same reference; a text in one part has none (3GPP TS 23.040 section 9.2.3.24.1).
    arrived: () => textsOf(parts),
    mayCarry: [],
    troubles: ['refused', 'silent', 'slow', 'lost-answer', 'busy'],
    trouble: plan,
    async stop() {
      await pager.stop()
      await centre.stop()
    },
  } satisfies PagerBench
})

function textsOf(parts: readonly Pdu[]): readonly string[] {
  const texts = new Map<string, Pdu[]>()
  for (const [place, part] of parts.entries()) {
    const udh = part.short_message?.udh?.[0]
    const reference = udh === undefined ? `alone ${place}` : String(udh.readUInt8(2))
    texts.set(reference, [...(texts.get(reference) ?? []), part])
  }
  return [...texts.values()].map(textOf)
}

pagerContract('Telegram', async () => {
  const clock = handClock(NIGHT)
  const api = await botApi({ clock })
  const phone = api.user(80_001)
  const faults = {
    refused: { code: 403, description: 'Forbidden: bot was blocked by the user' },
    busy: { code: 429, description: 'Too Many Requests: retry after 3', parameters: { retry_after: 3 } },
    'lost-answer': 'lost-reply',
  } as const
  const pager = telegramPager({
    connection: connection({ api: apiOf(api.token, api.root), monotonicMs: () => clock.monotonicMs() }),
    chatsOf: () => ['80001'],
    buttonsOf: () => [[{ text: 'Ringing now', data: 'p.1' }]],
    howToAnswer: () => 'Press what you do.',
    repeatLabel: () => 'May be a repeat',
  })
  return {
    ...{ pager, address: '' },
    arrived: () => phone.shown.map(({ text, buttons }) => `${text}\n${JSON.stringify(buttons)}`),
    mayCarry: [],
    // That the server says nothing at all is waited for 25 seconds: tests/telegram shows it.
    troubles: ['refused', 'lost-answer', 'busy'],
    trouble: what =>
      what === 'refused' || what === 'busy' || what === 'lost-answer'
        ? api.fail(({ method }) => method === 'sendMessage', faults[what])
        : undefined,
    async stop() {
      await pager.stop()
      await api.stop()
    },
  } satisfies PagerBench
})

pagerContract('board', async () => {
  const pager = boardPager()
  return {
    ...{ pager, address: '' },
    // The clinicians' own screen, inside the clinic's machine: it draws text and link, and opens the case by its id.
    arrived: () => pager.recent().map(page => JSON.stringify({ ...page, text: page.text })),
    mayCarry: ['who is paged', 'their id', 'the id of the case', 'the key'],
    troubles: [],
    stop: () => pager.stop(),
  } satisfies PagerBench
})
