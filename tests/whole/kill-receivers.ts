import { createHmac } from 'node:crypto'
import { once } from 'node:events'
import { createServer } from 'node:http'
import type { AddressInfo, Socket } from 'node:net'
import { SMTPServer } from 'smtp-server'

/** A page as it reached somebody, however often. */
export interface Arrival {
  readonly how: 'smtp' | 'webhook'
  /** The mailbox, or the id of the person or desk. */
  readonly to: string
  /** Message id or webhook id: the same for a repeat. */
  readonly id: string
  /** Whether it says that it may have come before. */
  readonly labelled: boolean
  readonly text: string
  /** Real time, ms. */
  readonly atMs: number
  /** Its answer never went back: the connection was cut. */
  readonly cut: boolean
}

/** Receivers of pages outside the process that pages: they live on when it is killed. */
export interface Receivers {
  readonly smtpPort: number
  readonly webhookUrl: string
  /** Signing secret the webhook's signatures are checked with. */
  readonly secret: string
  readonly arrivals: readonly Arrival[]
  stop(): Promise<void>
}

/**
 * A mail server (the package smtp-server) and a web server of node, on free ports of 127.0.0.1.
 *
 * @param cutFirst take the first arrival of each page, then cut the connection before the answer
 */
export async function openReceivers(cutFirst: boolean): Promise<Receivers> {
  const arrivals: Arrival[] = []
  const sockets = new Set<Socket>()
  const secret = `whsec_${Buffer.alloc(32, 'kept by the kill test').toString('base64')}`
  /** Notes a page; whether its connection is to be cut. */
  const take = (page: Omit<Arrival, 'atMs' | 'cut'>): boolean => {
    const cut = cutFirst && !arrivals.some(one => one.id === page.id)
    arrivals.push({ ...page, atMs: Date.now(), cut })
    return cut
  }

  const mail = new SMTPServer({
    authOptional: true,
    disabledCommands: ['STARTTLS', 'AUTH'],
    onData(stream, session, done) {
      let raw = ''
      stream.setEncoding('utf8').on('data', (more: string) => {
        raw += more
      })
      stream.on('end', () => {
        const id = /^Message-ID:\s*<([^@>]+)@/im.exec(raw)?.[1] ?? 'none'
        const to = session.envelope.rcptTo.map(one => one.address).join()
        if (!take({ how: 'smtp', to, id, labelled: /^Subject: May be a repeat: /m.test(raw), text: raw })) return done()
        for (const socket of sockets) if (socket.remotePort === session.remotePort) socket.resetAndDestroy()
      })
    },
  })
  // A sender that dies in the middle of a conversation is what this test is about.
  mail.on('error', () => undefined)
  mail.server.on('connection', (socket: Socket) => {
    sockets.add(socket)
    socket.on('close', () => sockets.delete(socket)).on('error', () => undefined)
  })
  mail.listen(0, '127.0.0.1')
  await once(mail.server, 'listening')

  const web = createServer((request, response) => {
    let body = ''
    request.setEncoding('utf8').on('data', (more: string) => {
      body += more
    })
    request.on('error', () => undefined)
    request.on('end', () => {
      if (!request.complete) return
      const id = String(request.headers['webhook-id'])
      if (!isSigned(secret, id, request.headers, body)) return response.writeHead(401).end()
      const { data } = JSON.parse(body) as { data: { to: string; text: string; repeated: boolean } }
      if (take({ how: 'webhook', to: data.to, id, labelled: data.repeated, text: data.text }))
        return request.socket.resetAndDestroy()
      return response.writeHead(204).end()
    })
  })
  web.listen(0, '127.0.0.1')
  await once(web, 'listening')

  return {
    smtpPort: (mail.server.address() as AddressInfo).port,
    webhookUrl: `http://127.0.0.1:${(web.address() as AddressInfo).port}/pages`,
    secret,
    arrivals,
    async stop() {
      web.closeAllConnections()
      await Promise.all([
        new Promise<void>(closed => web.close(() => closed())),
        new Promise<void>(closed => mail.close(() => closed())),
      ])
    },
  }
}

/** Standard Webhooks, "Signature scheme": HMAC-SHA256 over "id.timestamp.body" with the decoded secret, as base64. */
function isSigned(
  secret: string,
  id: string,
  headers: Readonly<Record<string, string | string[] | undefined>>,
  body: string,
): boolean {
  const key = Buffer.from(secret.replace(/^whsec_/, ''), 'base64')
  const expected = createHmac('sha256', key).update(`${id}.${headers['webhook-timestamp']}.${body}`).digest('base64')
  return String(headers['webhook-signature']).split(' ').includes(`v1,${expected}`)
}
