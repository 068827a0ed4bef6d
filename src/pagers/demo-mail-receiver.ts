import { createServer, type Socket } from 'node:net'
import { type Listening, listenHere } from './listen-here.ts'
import type { Received } from './received.ts'

const lineBytesMost = 2_000
const mailBytesMost = 64_000

/**
 * A mail server small enough to read: takes mail for anybody over the commands of RFC 5321 section 4.5.1 and hands on who
 * it was for and what it said. For a demonstration on 127.0.0.1; it delivers nothing.
 */
export function demoMailReceiver(take: (received: Omit<Received, 'at'>) => void): Promise<Listening> {
  return listenHere(createServer(socket => converse(socket, take)))
}

interface Conversation {
  greeted: boolean
  from: string | undefined
  to: string[]
  /** Lines of the mail while it is being sent. */
  mail: string[] | undefined
}

function converse(socket: Socket, take: (received: Omit<Received, 'at'>) => void): void {
  const held: Conversation = { greeted: false, from: undefined, to: [], mail: undefined }
  let unread = ''
  let mailBytes = 0
  const say = (line: string) => socket.write(`${line}\r\n`)
  socket.setEncoding('latin1')
  socket.setTimeout(30_000, () => socket.destroy())
  socket.on('error', () => socket.destroy())
  say('220 demonstration mail receiver')
  socket.on('data', (more: string) => {
    const lines = (unread + more).split('\r\n')
    unread = lines.pop() ?? ''
    mailBytes = held.mail === undefined ? 0 : mailBytes + more.length
    if (unread.length > lineBytesMost || mailBytes > mailBytesMost) {
      say('552 too long')
      socket.destroy()
      return
    }
    for (const line of lines) {
      if (held.mail !== undefined) mailLine(held, line, say, take)
      else if (/^QUIT$/i.test(line)) socket.end('221 goodbye\r\n')
      else say(replyTo(held, line))
    }
  })
}

function mailLine(
  held: Conversation,
  line: string,
  say: (line: string) => void,
  take: (received: Omit<Received, 'at'>) => void,
): void {
  // A full stop alone ends the mail; one at the start of a line was doubled on the way (RFC 5321 section 4.5.2).
  if (line !== '.') {
    held.mail?.push(line.startsWith('.') ? line.slice(1) : line)
    return
  }
  const { text, id } = readMail(held.mail ?? [])
  for (const to of held.to) take({ how: 'mail', to, text, id })
  Object.assign(held, { from: undefined, to: [], mail: undefined })
  say('250 taken')
}

/** The reply to a command, moving the conversation on. */
function replyTo(held: Conversation, line: string): string {
  const [, command = '', rest = ''] = /^([a-z]+)\s*(.*)$/i.exec(line) ?? []
  switch (command.toUpperCase()) {
    case 'EHLO':
    case 'HELO':
      held.greeted = true
      return '250 demonstration'
    case 'NOOP':
      return '250 yes'
    case 'RSET':
      Object.assign(held, { from: undefined, to: [] })
      return '250 forgotten'
    case 'MAIL': {
      const [, from] = /^FROM:<([^<>\s]*)>/i.exec(rest) ?? []
      if (!held.greeted || from === undefined) return '503 say who you are, then MAIL FROM:<mailbox>'
      held.from = from
      return '250 yes'
    }
    case 'RCPT': {
      const [, to] = /^TO:<([^<>\s]+)>/i.exec(rest) ?? []
      if (held.from === undefined || to === undefined) return '503 MAIL first, then RCPT TO:<mailbox>'
      held.to.push(to)
      return '250 yes'
    }
    case 'DATA':
      if (held.to.length === 0) return '503 RCPT first'
      held.mail = []
      return '354 go on; end with a full stop alone'
    default:
      return '502 not known here'
  }
}

/** Message id and plain text of a mail of one part. Lines hold one character per octet. */
function readMail(lines: readonly string[]): { readonly text: string; readonly id: string } {
  const blank = lines.indexOf('')
  const headers = lines
    .slice(0, blank)
    .join('\r\n')
    .replace(/\r\n[ \t]+/g, ' ')
  const headerOf = (name: string) => new RegExp(`^${name}:[ \\t]*(.*)$`, 'im').exec(headers)?.[1]?.trim() ?? ''
  const body = lines.slice(blank + 1).join('\r\n')
  const octets = decoded(body, headerOf('Content-Transfer-Encoding').toLowerCase())
  return { id: headerOf('Message-ID'), text: octets.toString('utf8').replaceAll('\r\n', '\n').trim() }
}

/** RFC 2045 section 6: quoted-printable, base64, or as it stands. */
function decoded(body: string, encoding: string): Buffer {
  if (encoding === 'base64') return Buffer.from(body, 'base64')
  if (encoding !== 'quoted-printable') return Buffer.from(body, 'latin1')
  const joined = body.replace(/=[ \t]*\r\n/g, '')
  const plain = joined.replace(/=([0-9A-F]{2})/gi, (_, digits: string) =>
    String.fromCharCode(Number.parseInt(digits, 16)),
  )
  return Buffer.from(plain, 'latin1')
}
