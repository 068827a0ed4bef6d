import { createHash } from 'node:crypto'
import { Readable } from 'node:stream'
import MailComposer from 'nodemailer/lib/mail-composer'
import SMTPConnection from 'nodemailer/lib/smtp-connection'
import { passed } from '../points/points.ts'
import { isPlainMailbox } from './mailbox.ts'
import type { Page, Paged, Pager } from './pager.ts'
import { underWay } from './under-way.ts'

export interface SmtpPagerOptions {
  readonly id?: string
  readonly host: string
  readonly port: number
  /** `tls`: encrypted from the first byte; `starttls`: upgraded or nothing is sent; `none`: on this machine only. */
  readonly security: 'tls' | 'starttls' | 'none'
  readonly auth?: { readonly user: string; readonly pass: string }
  /** The clinic's own mailbox, a plain one. */
  readonly from: string
  /** Certificate of the clinic's own authority, in PEM, and the name to expect when it is not `host`. */
  readonly tls?: { readonly ca?: string; readonly servername?: string }
  /** Stands before subject and text of a page that may have arrived before, in the clinic's language. Default "May be a repeat". */
  readonly repeatLabel?: () => string
  /** Milliseconds: to connect and be greeted (default 10,000), of silence (15,000), and for the whole page (45,000). */
  readonly timeouts?: { readonly connectMs?: number; readonly silenceMs?: number; readonly wholeMs?: number }
}

/** Subjects longer than this are cut short on a lock screen (common practice, no source). */
const subjectCharacters = 60

/**
 * Pages by e-mail, plain text, one recipient an envelope. Accepted by the mail server is not seen by a person: only an
 * acknowledgement stops a ladder.
 *
 * Outcomes: a reply of 5xx is `refused`; a reply of 4xx, or any failure before the server asked for the message, is
 * `failed`; a connection lost once the message was on its way is `unknown`. Reasons name the stage and the code, never
 * an address or the server's own words.
 *
 * @throws RangeError on options that would send pages in clear over a network, or from an address that is not plain
 */
export function smtpPager(options: SmtpPagerOptions): Pager {
  checkOptions(options)
  const sends = underWay('mail pager', error => `the mail could not be made (${nameOf(error)})`)
  return {
    id: options.id ?? 'smtp',
    page: async page =>
      isPlainMailbox(page.address)
        ? sends.carry(() => send(options, page))
        : { kind: 'refused', reason: 'the address is not a single plain mailbox' },
    stop: () => sends.stop(),
  }
}

function checkOptions({ host, security, from }: SmtpPagerOptions): void {
  if (security === 'none' && !/^(localhost|127(\.\d{1,3}){3}|::1)$/.test(host)) {
    throw new RangeError(
      `mail server ${host}: "none" sends pages in clear; expected "starttls" or "tls" but on this machine`,
    )
  }
  if (!isPlainMailbox(from))
    throw new RangeError('mail pager: "from" is not a plain mailbox such as pages@clinic.example')
}

async function send(options: SmtpPagerOptions, page: Page): Promise<Paged> {
  const message = await messageOf(options, page)
  const { connectMs = 10_000, silenceMs = 15_000, wholeMs = 45_000 } = options.timeouts ?? {}
  const connection = new SMTPConnection({
    host: options.host,
    port: options.port,
    secure: options.security === 'tls',
    requireTLS: options.security === 'starttls',
    ignoreTLS: options.security === 'none',
    tls: { minVersion: 'TLSv1.2', ...options.tls },
    connectionTimeout: connectMs,
    dnsTimeout: connectMs,
    greetingTimeout: connectMs,
    socketTimeout: silenceMs,
  })
  /** True from the moment the server has asked for the message: from then on it may have it. */
  let isOnItsWay = false
  const content = new Readable({
    read() {
      isOnItsWay = true
      passed('pager.smtp.handing-over')
      this.push(message)
      this.push(null)
    },
  })

  passed('pager.smtp.connecting')
  return new Promise<Paged>(resolve => {
    const end = (outcome: Paged) => {
      clearTimeout(deadline)
      passed('pager.smtp.answered')
      connection.close()
      resolve(outcome)
    }
    const fail = (error: SmtpError) => end(outcomeOf(error, isOnItsWay))
    const deadline = setTimeout(() => fail({ code: 'ETIMEDOUT' }), wholeMs)
    const deliver = () => {
      connection.send({ from: options.from, to: [page.address] }, content, (error: SmtpError | null) => {
        if (error) return fail(error)
        passed('pager.smtp.answered')
        connection.quit()
        clearTimeout(deadline)
        resolve({ kind: 'accepted' })
      })
    }
    connection.on('error', fail)
    connection.connect((error?: SmtpError | null) => {
      if (error) return fail(error)
      if (options.auth === undefined) return deliver()
      connection.login({ credentials: { ...options.auth } }, (refused: SmtpError | null) => {
        if (refused) fail(refused)
        else deliver()
      })
    })
  })
}

interface SmtpError {
  readonly code?: string | undefined
  readonly command?: string | undefined
  readonly responseCode?: number | undefined
}

function outcomeOf(error: SmtpError, isOnItsWay: boolean): Paged {
  const { responseCode } = error
  const stage = isOnItsWay ? 'after the message was sent' : `at ${error.command ?? 'connecting'}`
  if (responseCode !== undefined && responseCode >= 400 && responseCode <= 599) {
    const reason = `the mail server answered ${responseCode} ${stage}`
    return { kind: responseCode >= 500 ? 'refused' : 'failed', reason }
  }
  const reason = `no answer from the mail server ${stage} (${error.code ?? 'no code'})`
  return { kind: isOnItsWay ? 'unknown' : 'failed', reason }
}

/** The whole mail. The same page key gives the same message id, so that a repeat can be known for one. */
async function messageOf(options: SmtpPagerOptions, page: Page): Promise<Buffer> {
  const label = page.repeated ? (options.repeatLabel?.() ?? 'May be a repeat') : undefined
  const oneLine = page.text.replace(/[\s\p{Cc}]+/gu, ' ').trim()
  const subject = [...oneLine].slice(0, subjectCharacters).join('').trimEnd()
  const composer = new MailComposer({
    from: options.from,
    to: page.address,
    date: new Date(page.at),
    messageId: `<${createHash('sha256').update(page.key).digest('hex')}@${options.from.split('@')[1]}>`,
    subject: label === undefined ? subject : `${label}: ${subject}`,
    text: label === undefined ? `${page.text}\n` : `${label}:\n${page.text}\n`,
    priority: 'high',
    headers: { 'Auto-Submitted': 'auto-generated' }, // RFC 3834: no out-of-office reply, please
    disableFileAccess: true,
    disableUrlAccess: true,
  })
  return composer.compile().build()
}

const nameOf = (error: unknown): string => (error instanceof Error ? error.name : typeof error)
