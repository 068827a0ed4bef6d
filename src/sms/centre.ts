import smpp, { type Pdu, type Session } from 'smpp'
import { joining, OK } from './joining.ts'
import { isReceipt, type Receipt, receiptBook, receiptIn, type WaitedTexts } from './receipts.ts'
import { type Segment, segmentsOf } from './segments.ts'

/** One connection to the short message centre of a telephone company, after SMPP 3.4. */
export interface Centre {
  /** Connects, and goes on connecting until `stop`. */
  start(): void
  /**
   * Never throws: every outcome is a value. Waits shortly for a connection that is being made. With `about` the telephone
   * company is asked for a receipt, and `onReceipt` told of it under that name.
   */
  send(to: string, text: string, about?: string): Promise<Sent>
  /** Why nothing can be sent now; undefined while it can. */
  doubt(): string | undefined
  /** Ends what is under way, says goodbye, and connects no more. */
  stop(): Promise<void>
}

export type Sent =
  | { readonly kind: 'accepted' }
  /** Nothing was sent. */
  | { readonly kind: 'failed'; readonly reason: string; readonly retryAfterMs?: number }
  /** Some of it may arrive. */
  | { readonly kind: 'unknown'; readonly reason: string }
  /** The centre takes no message to this number. */
  | { readonly kind: 'refused'; readonly reason: string }

export interface CentreOptions {
  readonly host: string
  readonly port: number
  /** `none`: on this machine, or inside a tunnel of the clinic's own. */
  readonly security: 'tls' | 'none'
  readonly systemId: string
  readonly password: string
  /** Number or name (at most 11 letters and digits) that messages come from. */
  readonly from: string
  /** Certificate of the clinic's own authority, in PEM. */
  readonly ca?: string
  /**
   * A message that came in, from a number in E.164. It is answered to the centre once this resolves, so that one that was
   * not kept is delivered again; rejected, the centre is asked to come back.
   */
  readonly onMessage?: (from: string, text: string) => Promise<void>
  /**
   * What became of a text at the telephone, minutes or days after it was accepted, or never: no receipt says nothing. Rejected,
   * the centre is asked to come back with it.
   */
  readonly onReceipt?: (about: string, outcome: Receipt) => Promise<void>
  /** Where the texts are kept whose receipts are waited for. Left out: in memory, until this process ends. */
  readonly waited?: WaitedTexts
  /** Milliseconds: for one answer of the centre (default 10,000), between signs of life (30,000), for the parts of one text (60,000). */
  readonly timeouts?: { readonly answerMs?: number; readonly quietMs?: number; readonly partsMs?: number }
}

/** SMPP 3.4 section 5.1.3: what the centre may say, and what it means here. */
const PASSING = new Map([
  [0x08, 'a fault of its own'],
  [0x14, 'its queue is full'],
  [0x58, 'too many messages at once'],
])
/** Classes of what comes in that are neither a person's words nor a receipt (SMPP 3.4 section 5.2.12). */
const OTHER_TYPES = 0x38
/** SMPP 3.4 section 5.1.3, a fault of our own: what was delivered comes again. */
const NOT_KEPT = 0x08
const BACK_SOON_MS = 5_000
const RECONNECT_MS = [1_000, 2_000, 5_000, 10_000, 30_000] as const

export function shortMessageCentre(options: CentreOptions): Centre {
  const { answerMs = 10_000, quietMs = 30_000, partsMs = 60_000 } = options.timeouts ?? {}
  let session: Session | undefined
  let why: string | undefined = 'no connection yet'
  let isStopped = false
  let failures = 0
  let again: NodeJS.Timeout | undefined
  let alive: NodeJS.Timeout | undefined
  const waiting = new Set<() => void>()
  const going = new Set<Promise<unknown>>()
  const book = receiptBook(options.onReceipt ?? (async () => undefined), options.waited)
  const incoming = joining(partsMs, options.onMessage ?? (async () => undefined))

  function connect(): void {
    const made = smpp.connect({
      host: options.host,
      port: options.port,
      tls: options.security === 'tls',
      servername: options.host,
      ...(options.ca === undefined ? {} : { ca: options.ca }),
    })
    // One listener a message under way, and a night may have many.
    made.setMaxListeners(0)
    const lateness = setTimeout(() => made.destroy(), answerMs)
    made.on('error', () => made.destroy())
    made.on('close', () => {
      clearTimeout(lateness)
      lost(made)
    })
    made.on(options.security === 'tls' ? 'secureConnect' : 'connect', () => {
      const { systemId: system_id, password } = options
      made.bind_transceiver({ system_id, password, interface_version: 0x34 }, ({ command_status: status }) => {
        clearTimeout(lateness)
        if (status === OK) bound(made)
        else {
          why = `the centre does not let us in (${hex(status)})`
          made.destroy()
        }
      })
    })
    made.on('enquire_link', (pdu: Pdu) => made.send(pdu.response()))
    made.on('unbind', (pdu: Pdu) => {
      made.send(pdu.response())
      made.close()
    })
    made.on('deliver_sm', (pdu: Pdu) => {
      if (isReceipt(pdu)) {
        const receipt = receiptIn(pdu)
        const taken = receipt === undefined ? Promise.resolve() : book.take(receipt.id, receipt.outcome)
        taken.then(
          () => made.send(pdu.response()),
          () => made.send(pdu.response({ command_status: NOT_KEPT })),
        )
      } else if (((pdu.esm_class ?? 0) & OTHER_TYPES) !== 0) made.send(pdu.response())
      else incoming.take(pdu, status => made.send(pdu.response({ command_status: status })))
    })
  }

  function bound(made: Session): void {
    session = made
    why = undefined
    failures = 0
    for (const go of waiting) go()
    alive = setInterval(() => {
      const lateness = setTimeout(() => made.destroy(), answerMs)
      const asked = made.enquire_link(() => clearTimeout(lateness))
      if (!asked) made.destroy()
      made.once('close', () => clearTimeout(lateness))
    }, quietMs)
  }

  function lost(made: Session): void {
    if (session === made) {
      session = undefined
      why = 'the connection was lost'
      clearInterval(alive)
    }
    if (isStopped) return
    why ??= 'no connection'
    again = setTimeout(connect, RECONNECT_MS[Math.min(failures, RECONNECT_MS.length - 1)])
    failures += 1
  }

  /** The connection, once there is one; undefined when there is none in time. */
  function connection(): Promise<Session | undefined> {
    if (session !== undefined || isStopped) return Promise.resolve(session)
    return new Promise(resolve => {
      const end = () => {
        clearTimeout(lateness)
        waiting.delete(end)
        resolve(session)
      }
      const lateness = setTimeout(end, answerMs)
      waiting.add(end)
    })
  }

  async function sendParts(to: string, text: string, about: string | undefined): Promise<Sent> {
    const ids: string[] = []
    const { coding, parts } = segmentsOf(text)
    const through = await connection()
    if (through === undefined) return { kind: 'failed', reason: `text message centre: ${why ?? 'it is stopped'}` }
    for (const [index, part] of parts.entries()) {
      const wanted = { registered_delivery: about === undefined ? 0 : 1 }
      const addressed = { ...source(options.from), ...destination(to), ...wanted, coding }
      const { id, outcome } = await submit(through, addressed, part, answerMs)
      if (id !== undefined) ids.push(id)
      if (outcome.kind === 'accepted') continue
      if (index === 0) return outcome
      return { kind: 'unknown', reason: `part ${index + 1} of ${parts.length}: ${outcome.reason}` }
    }
    if (about !== undefined && ids.length === parts.length) await book.expect(ids, about).catch(() => undefined)
    return { kind: 'accepted' }
  }

  return {
    start: connect,
    doubt: () => why,
    async send(to, text, about) {
      if (isStopped) return { kind: 'failed', reason: 'text message centre: it is stopped' }
      const sending = sendParts(to, text, about).catch(
        (error: unknown): Sent => ({
          kind: 'failed',
          reason: `the text message could not be made (${error instanceof Error ? error.name : typeof error})`,
        }),
      )
      going.add(sending)
      try {
        return await sending
      } finally {
        going.delete(sending)
      }
    },
    async stop() {
      isStopped = true
      clearTimeout(again)
      clearInterval(alive)
      for (const go of waiting) go()
      await Promise.all([...going, incoming.settled()])
      const last = session
      if (last === undefined) return
      await new Promise<void>(resolve => {
        const end = setTimeout(() => last.destroy(), 1_000)
        last.once('close', () => {
          clearTimeout(end)
          resolve()
        })
        if (!last.unbind(() => last.close())) last.destroy()
      })
    },
  }
}

type Addressed = { readonly coding: 0 | 8 } & Readonly<Record<string, unknown>>

function submit(
  session: Session,
  { coding, ...addresses }: Addressed,
  { header, octets }: Segment,
  answerMs: number,
): Promise<{ readonly id?: string; readonly outcome: Sent }> {
  return new Promise(resolve => {
    const end = (outcome: Sent, id?: string) => {
      clearTimeout(lateness)
      session.off('close', gone)
      resolve({ outcome, ...(id === undefined || id === '' ? {} : { id }) })
    }
    const gone = () => end({ kind: 'unknown', reason: 'the connection was lost before the centre answered' })
    const lateness = setTimeout(() => end({ kind: 'unknown', reason: 'the centre did not answer in time' }), answerMs)
    session.once('close', gone)
    const message = { message: octets, ...(header === undefined ? {} : { udh: header }) }
    const isWritten = session.submit_sm(
      { ...addresses, data_coding: coding, short_message: message },
      ({ command_status: status, message_id: id }) => end(outcomeOf(status), id),
    )
    if (!isWritten) end({ kind: 'failed', reason: 'the connection was lost' })
  })
}

function outcomeOf(status: number): Sent {
  if (status === OK) return { kind: 'accepted' }
  const passing = PASSING.get(status)
  if (passing === undefined) return { kind: 'refused', reason: `the centre answered ${hex(status)}` }
  return { kind: 'failed', reason: `the centre says: ${passing} (${hex(status)})`, retryAfterMs: BACK_SOON_MS }
}

/** Type and plan of a number, SMPP 3.4 section 5.2.5: 1 and 1 international, 5 and 0 a name, 0 and 0 what the centre knows it as. */
const destination = (to: string) => ({ dest_addr_ton: 1, dest_addr_npi: 1, destination_addr: to.replace(/^\+/, '') })
function source(from: string) {
  if (from.startsWith('+')) return { source_addr_ton: 1, source_addr_npi: 1, source_addr: from.slice(1) }
  const isShort = /^\d+$/.test(from)
  return { source_addr_ton: isShort ? 0 : 5, source_addr_npi: 0, source_addr: from }
}

const hex = (status: number): string => `0x${status.toString(16).padStart(2, '0')}`
