import { createServer, type IncomingMessage } from 'node:http'
import type { AddressInfo } from 'node:net'
import { Webhook } from 'standardwebhooks'
import { demoMailReceiver } from '../../src/pagers/demo-mail-receiver.ts'

/** One page as it reached a receiver outside the bot's process. */
export interface PageReceived {
  /** Milliseconds since 1970. */
  readonly at: number
  readonly how: 'mail' | 'webhook'
  /** Id of the person or desk; for a mail the part of its address before the "@", which the clinic's file makes the same. */
  readonly to: string
  /** The same for a repeat of the same page to the same address. */
  readonly id: string
  readonly text: string
  /** Path of the page's link. */
  readonly path: string
  /** The case, as the link's token names it. */
  readonly caseId: string
  /** What only the web call says. */
  readonly said?: WebCallSaid
}

export interface WebCallSaid {
  readonly code: string
  readonly kind: string
  readonly urgency: string
  readonly repeated: boolean
}

export interface Receivers {
  readonly smtpPort: number
  readonly webhookUrl: string
  /** Web calls that were not signed as the standard says, and bodies that could not be read. */
  refused(): number
  stop(): Promise<void>
}

/** A mail server and a receiver of signed web calls on free ports of 127.0.0.1. Signatures are checked by the standard's own library. */
export async function openReceivers(secret: string, take: (page: PageReceived) => void): Promise<Receivers> {
  let refused = 0
  const webhook = new Webhook(secret)
  const mail = await demoMailReceiver(({ to, text, id }) => {
    const mailbox = to.split('@')[0] ?? to
    take({ at: Date.now(), how: 'mail', to: mailbox, id: `${id} ${to}`, text, ...linkIn(text) })
  })
  const calls = createServer((request, response) => {
    bodyOf(request).then(
      body => {
        const page = signedPage(webhook, request, body)
        if (page === undefined) refused += 1
        else take(page)
        response.writeHead(page === undefined ? 401 : 204).end()
      },
      () => response.destroy(),
    )
  })
  await new Promise<void>(resolve => calls.listen(0, '127.0.0.1', resolve))
  const { port } = calls.address() as AddressInfo
  return {
    smtpPort: mail.port,
    webhookUrl: `http://127.0.0.1:${port}/pages`,
    refused: () => refused,
    async stop() {
      calls.closeAllConnections()
      await Promise.all([mail.stop(), new Promise(resolve => calls.close(resolve))])
    },
  }
}

async function bodyOf(request: IncomingMessage): Promise<string> {
  const pieces: Buffer[] = []
  for await (const piece of request) pieces.push(Buffer.from(piece))
  return Buffer.concat(pieces).toString('utf8')
}

function signedPage(webhook: Webhook, request: IncomingMessage, body: string): PageReceived | undefined {
  const headers = Object.fromEntries(Object.entries(request.headers).map(([name, value]) => [name, String(value)]))
  try {
    const { data } = webhook.verify(body, headers) as { data: WebCallSaid & { to: string; text: string; link: string } }
    const { code, kind, urgency, repeated } = data
    const said = { code, kind, urgency, repeated }
    return {
      at: Date.now(),
      how: 'webhook',
      to: data.to,
      id: headers['webhook-id'] ?? '',
      text: data.text,
      said,
      ...linkIn(data.link),
    }
  } catch {
    return undefined
  }
}

/** The link at the end of a page's text; its token begins with the sixteen bytes of the case's id. */
function linkIn(text: string): { readonly path: string; readonly caseId: string } {
  const path = /https?:\/\/[^/\s]+(\/p\/[\w.-]+)\s*$/.exec(text)?.[1] ?? ''
  return { path, caseId: Buffer.from(path.slice(3), 'base64url').subarray(0, 16).toString('hex') }
}
