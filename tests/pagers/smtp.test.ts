import { once } from 'node:events'
import { type AddressInfo, createServer, type Server, type Socket } from 'node:net'
import { SMTPServer, type SMTPServerOptions } from 'smtp-server'
import { afterEach, describe, expect, test } from 'vitest'
import { isPlainMailbox } from '../../src/pagers/mailbox.ts'
import { type SmtpPagerOptions, smtpPager } from '../../src/pagers/smtp.ts'
import { aPage } from './a-page.ts'
import { selfSignedCertificate } from './certificate.ts'

interface Mail {
  readonly from: string
  readonly to: readonly string[]
  readonly raw: string
}

const closing: (() => Promise<unknown> | unknown)[] = []
afterEach(async () => {
  for (const close of closing.splice(0).reverse()) await close()
})

/** The independent receiver: the `smtp-server` package. */
async function mailServer(options: SMTPServerOptions = {}): Promise<{ port: number; mails: Mail[] }> {
  const mails: Mail[] = []
  const server = new SMTPServer({
    authOptional: true,
    disabledCommands: options.secure || options.key ? [] : ['STARTTLS', 'AUTH'],
    onData(stream, session, done) {
      let raw = ''
      stream.setEncoding('utf8')
      stream.on('data', (more: string) => {
        raw += more
      })
      stream.on('end', () => {
        const { mailFrom, rcptTo } = session.envelope
        mails.push({ from: mailFrom ? mailFrom.address : '', to: rcptTo.map(one => one.address), raw })
        done()
      })
    },
    ...options,
  })
  // A client that gives up on a refused certificate is no fault of the test.
  server.on('error', () => undefined)
  server.listen(0, '127.0.0.1')
  await once(server.server, 'listening')
  closing.push(() => new Promise<void>(closed => server.close(() => closed())))
  return { port: (server.server.address() as AddressInfo).port, mails }
}

/** A server of bare sockets, for what a well-behaved one never does. */
async function rudeServer(talk: (socket: Socket) => void): Promise<number> {
  const open = new Set<Socket>()
  const server: Server = createServer(socket => {
    open.add(socket)
    socket.on('error', () => undefined)
    talk(socket)
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  closing.push(() => {
    for (const socket of open) socket.destroy()
    return new Promise(closed => server.close(closed))
  })
  return (server.address() as AddressInfo).port
}

/** Answers each command as listed; `hang up` resets the connection, `silence` says nothing more. */
const talkOf = (replies: Readonly<Record<string, string>>) => (socket: Socket) => {
  let inMail = false
  const answer = (reply: string) => {
    if (reply === 'hang up') socket.resetAndDestroy()
    else if (reply !== 'silence') socket.write(`${reply}\r\n`)
  }
  answer(replies.GREETING ?? '220 here')
  socket.on('data', octets => {
    const text = octets.toString()
    if (inMail) {
      if (text.endsWith('\r\n.\r\n')) answer(replies.CONTENT ?? '250 taken')
      return
    }
    const command = text.slice(0, 4).toUpperCase()
    inMail = command === 'DATA' && (replies[command] ?? '354').startsWith('354')
    answer(replies[command] ?? (inMail ? '354 go on' : '250 yes'))
  })
}

function pagerTo(port: number, more: Partial<SmtpPagerOptions> = {}) {
  const pager = smtpPager({
    host: '127.0.0.1',
    port,
    security: 'none',
    from: 'pages@clinic.example',
    timeouts: { connectMs: 400, silenceMs: 400, wholeMs: 2_000 },
    ...more,
  })
  closing.push(() => pager.stop())
  return pager
}

const headerOf = (raw: string, name: string): string | undefined =>
  new RegExp(`^${name}: (.*)$`, 'im').exec(raw.replace(/\r\n[ \t]+/g, ' '))?.[1]?.trim()

/** Quoted-printable undone (RFC 2045 section 6.7), enough for ASCII text. */
const bodyOf = (raw: string): string =>
  raw
    .slice(raw.indexOf('\r\n\r\n') + 4)
    .replace(/=\r\n/g, '')
    .replace(/=([0-9A-F]{2})/g, (_, code) => String.fromCharCode(Number.parseInt(code, 16)))

describe('a page by mail', () => {
  test('is one plain mail in one envelope to the one address', async () => {
    const { port, mails } = await mailServer()
    const page = aPage()
    expect(await pagerTo(port).page(page)).toEqual({ kind: 'accepted' })
    expect(mails).toHaveLength(1)
    const [{ from, to, raw } = { from: '', to: [], raw: '' }] = mails
    expect(from).toBe('pages@clinic.example')
    expect(to).toEqual(['on-call@clinic.example'])
    expect(headerOf(raw, 'Subject')).toBe([...page.text].slice(0, 60).join('').trim())
    expect(headerOf(raw, 'Content-Type')).toMatch(/^text\/plain/)
    expect(headerOf(raw, 'Date')).toBe('Tue, 04 Mar 2031 02:13:20 +0000')
    expect(headerOf(raw, 'Auto-Submitted')).toBe('auto-generated')
    expect(bodyOf(raw).trim()).toBe(page.text)
  })

  test('sent again carries the same message id and says so in subject and text; another page another id', async () => {
    const { port, mails } = await mailServer()
    const pager = pagerTo(port, { repeatLabel: () => 'Enviado otra vez' })
    await pager.page(aPage())
    await pager.page(aPage({ repeated: true }))
    await pager.page(aPage({ key: 'case-1/5/0#0' }))
    const [first, again, other] = mails.map(({ raw }) => headerOf(raw, 'Message-ID'))
    expect(first).toMatch(/^<[0-9a-f]{64}@clinic\.example>$/)
    expect(again).toBe(first)
    expect(other).not.toBe(first)
    expect(headerOf(mails[0]?.raw ?? '', 'Subject')).not.toContain('Enviado')
    expect(headerOf(mails[1]?.raw ?? '', 'Subject')).toMatch(/^Enviado otra vez: GO TO HOSPITAL/)
    expect(bodyOf(mails[1]?.raw ?? '')).toMatch(/^Enviado otra vez:\r\nGO TO HOSPITAL/)
  })

  test('comes through STARTTLS with a login, the server’s certificate checked', async () => {
    const { key, cert } = selfSignedCertificate()
    let login = ''
    const { port, mails } = await mailServer({
      key,
      cert,
      authOptional: false,
      onAuth({ username, password }, session, done) {
        login = `${username} ${password} ${session.secure}`
        done(null, { user: username })
      },
    })
    const more = { security: 'starttls', auth: { user: 'clinic', pass: 'secret' } } as const
    expect(await pagerTo(port, { ...more, tls: { ca: cert } }).page(aPage())).toEqual({ kind: 'accepted' })
    expect(login).toBe('clinic secret true')
    login = ''
    expect(await pagerTo(port, more).page(aPage())).toMatchObject({ kind: 'failed' })
    expect(login).toBe('')
    expect(mails).toHaveLength(1)
  })

  test('comes through TLS from the first byte', async () => {
    const { key, cert } = selfSignedCertificate()
    const { port, mails } = await mailServer({ key, cert, secure: true })
    expect(await pagerTo(port, { security: 'tls', tls: { ca: cert } }).page(aPage())).toEqual({ kind: 'accepted' })
    expect(mails).toHaveLength(1)
  })

  test('never goes in clear when encryption is configured and the server has none', async () => {
    const { port, mails } = await mailServer()
    expect(await pagerTo(port, { security: 'starttls' }).page(aPage())).toMatchObject({
      kind: expect.stringMatching(/failed|refused/),
    })
    expect(mails).toHaveLength(0)
  })

  test('a wrong password is refused', async () => {
    const { key, cert } = selfSignedCertificate()
    const { port } = await mailServer({
      key,
      cert,
      authOptional: false,
      onAuth: (_login, _session, done) => done(new Error('no')),
    })
    const pager = pagerTo(port, { security: 'starttls', tls: { ca: cert }, auth: { user: 'a', pass: 'pass-word' } })
    const outcome = await pager.page(aPage())
    expect(outcome).toMatchObject({ kind: 'refused', reason: expect.stringContaining('535') })
    expect(JSON.stringify(outcome)).not.toContain('pass-word')
  })
})

describe('the mail server’s answer decides', () => {
  const refusal = (responseCode: number) => Object.assign(new Error('on-call@clinic.example unknown'), { responseCode })

  test.each([
    [550, 'refused'],
    [450, 'failed'],
  ] as const)('%i to the recipient is %s', async (code, kind) => {
    const { port } = await mailServer({ onRcptTo: (_address, _session, done) => done(refusal(code)) })
    const outcome = await pagerTo(port).page(aPage())
    expect(outcome).toEqual({ kind, reason: `the mail server answered ${code} at RCPT TO` })
  })

  test.each([
    [554, 'refused'],
    [451, 'failed'],
  ] as const)('%i to the whole mail is %s', async (code, kind) => {
    const { port } = await mailServer({
      onData: (stream, _session, done) => stream.resume().on('end', () => done(refusal(code))),
    })
    const outcome = await pagerTo(port).page(aPage())
    expect(outcome).toEqual({ kind, reason: `the mail server answered ${code} after the message was sent` })
  })

  test.each<[string, Readonly<Record<string, string>>, string]>([
    ['421 for a greeting', { GREETING: '421 busy' }, 'failed'],
    ['554 for a greeting', { GREETING: '554 go away' }, 'refused'],
    ['no greeting', { GREETING: 'silence' }, 'failed'],
    ['hanging up at once', { GREETING: 'hang up' }, 'failed'],
    ['hanging up at EHLO', { EHLO: 'hang up' }, 'failed'],
    ['silence at MAIL', { MAIL: 'silence' }, 'failed'],
    ['hanging up at RCPT', { RCPT: 'hang up' }, 'failed'],
    ['hanging up at DATA', { DATA: 'hang up' }, 'failed'],
    ['silence at DATA', { DATA: 'silence' }, 'failed'],
    ['hanging up after the mail', { CONTENT: 'hang up' }, 'unknown'],
    ['silence after the mail', { CONTENT: 'silence' }, 'unknown'],
    ['nonsense after the mail', { CONTENT: 'what?' }, 'unknown'],
  ])('%s', async (_, replies, kind) => {
    const port = await rudeServer(talkOf(replies))
    expect((await pagerTo(port).page(aPage())).kind).toBe(kind)
  })

  test('a server that keeps talking without an answer is given up at the deadline', async () => {
    const port = await rudeServer(socket => {
      socket.write('220 here\r\n')
      const drip = setInterval(() => socket.write('250-still\r\n'), 50)
      socket.on('close', () => clearInterval(drip))
    })
    const pager = pagerTo(port, { timeouts: { connectMs: 5_000, silenceMs: 5_000, wholeMs: 600 } })
    expect((await pager.page(aPage())).kind).toBe('failed')
  })

  test('nobody listening is failed', async () => {
    const port = await rudeServer(() => undefined)
    await closing.pop()?.()
    expect((await pagerTo(port).page(aPage())).kind).toBe('failed')
  })

  test('no reason carries the address or the server’s own words', async () => {
    const port = await rudeServer(talkOf({ RCPT: '550 <on-call@clinic.example> Baby Example' }))
    const outcome = JSON.stringify(await pagerTo(port).page(aPage()))
    expect(outcome).not.toMatch(/on-call|Baby/)
  })
})

describe('an address that is not one plain mailbox', () => {
  test.each([
    'x@e.example\r\nBcc: evil@e.example',
    'x@e.example\nRCPT TO:<evil@e.example>',
    'x@e.example, evil@e.example',
    'x@e.example;evil@e.example',
    'Somebody <x@e.example>',
    '<x@e.example>',
    '"x y"@e.example',
    'x@e.example@evil.example',
    'x@e.example ',
    ' x@e.example',
    'x@-e.example',
    'x@e..example',
    'x@[127.0.0.1]',
    'x',
    '@e.example',
    '',
    `${'x'.repeat(65)}@e.example`,
    `x@${'a.'.repeat(130)}example`,
    'x@e.example\u0000',
    'x@exämple.example',
  ])('%j is refused and nothing is sent', async address => {
    const { port, mails } = await mailServer()
    expect(await pagerTo(port).page(aPage({ address }))).toMatchObject({ kind: 'refused' })
    expect(mails).toEqual([])
  })

  test.each(['x@e.example', 'first.last+night@mail.clinic.example', "o'neil@clinic.example"])('%s is one', address => {
    expect(isPlainMailbox(address)).toBe(true)
  })

  test('a page text with line ends adds no header', async () => {
    const { port, mails } = await mailServer()
    await pagerTo(port).page(aPage({ text: 'GO\r\nBcc: evil@e.example\r\n\r\nhello' }))
    expect(mails[0]?.to).toEqual(['on-call@clinic.example'])
    expect(headerOf(mails[0]?.raw.split('\r\n\r\n')[0] ?? '', 'Bcc')).toBeUndefined()
    expect(headerOf(mails[0]?.raw ?? '', 'Subject')).toBe('GO Bcc: evil@e.example hello')
  })
})

describe('the mail pager', () => {
  test('will not send in clear over a network, nor from an address that is not plain', () => {
    const options = { host: 'mail.clinic.example', port: 25, security: 'none', from: 'pages@clinic.example' } as const
    expect(() => smtpPager(options)).toThrow(/in clear/)
    expect(() => smtpPager({ ...options, security: 'tls', from: 'Pages <pages@clinic.example>' })).toThrow(
      /plain mailbox/,
    )
  })

  test('once stopped has finished what it was sending and takes no more', async () => {
    const { port, mails } = await mailServer()
    const pager = pagerTo(port)
    const sending = pager.page(aPage())
    await pager.stop()
    expect(mails).toHaveLength(1)
    expect(await sending).toEqual({ kind: 'accepted' })
    expect(await pager.page(aPage())).toMatchObject({ kind: 'failed' })
  })

  test('twenty pages at once all arrive', async () => {
    const { port, mails } = await mailServer()
    const pager = pagerTo(port)
    const outcomes = await Promise.all(Array.from({ length: 20 }, (_, n) => pager.page(aPage({ key: `k${n}` }))))
    expect(outcomes).toEqual(Array(20).fill({ kind: 'accepted' }))
    expect(new Set(mails.map(({ raw }) => headerOf(raw, 'Message-ID'))).size).toBe(20)
  })
})
