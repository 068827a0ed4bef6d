import { type LookupAddress, lookup } from 'node:dns'
import { request as httpRequest, type IncomingMessage } from 'node:http'
import { request as httpsRequest } from 'node:https'
import type { LookupFunction } from 'node:net'
import { CALENDAR_BYTES_MOST } from '../calendar/lines.ts'
import { isFeedAddress } from '../config/clinic-shapes.ts'
import { hostOf, mayConnect, targetOf } from '../pagers/webhook-target.ts'

/** A calendar could not be fetched: the message says why, without what the address holds. */
export class CalendarUnreachable extends Error {
  override readonly name = 'CalendarUnreachable'
  readonly how: UnreachableHow
  /** What the server answered, where that is how. */
  readonly status: number | undefined

  constructor(how: UnreachableHow, message: string, status?: number) {
    super(message)
    this.how = how
    this.status = status
  }
}

/** In how many ways a calendar may not come; each has words of its own on the pages. */
export const UNREACHABLE = [
  'address',
  'inside',
  'leads-on',
  'answers',
  'late',
  'unreached',
  'too-large',
  'broken-off',
  'not-utf8',
] as const
export type UnreachableHow = (typeof UNREACHABLE)[number]

const REDIRECTS_MOST = 3

/** Where a calendar may be asked for. */
export interface FetchRules {
  /** Only on the public internet: for an address that somebody typed on a page. Each name is looked at as it is resolved. */
  readonly onlyPublic?: boolean
  /** With `onlyPublic`: this machine itself too, for a demonstration. */
  readonly loopback?: boolean
  /** In place of the system's resolver: for tests. */
  readonly resolve?: (host: string, found: (error: Error | null, addresses: LookupAddress[]) => void) => void
}

/**
 * The text at an address: https only (plain http from this machine itself), at most 10 MB, within the time of `signal`.
 * Throws `CalendarUnreachable`.
 */
export async function fetchCalendar(address: string, signal: AbortSignal, rules: FetchRules = {}): Promise<string> {
  let here = address
  for (let redirects = 0; redirects <= REDIRECTS_MOST; redirects++) {
    if (!isFeedAddress(here)) {
      const what = here === address ? 'the address is' : 'it leads to an address that is'
      throw new CalendarUnreachable('address', `${what} not https, or holds a user name`)
    }
    const response = await answerOf(new URL(here), signal, rules)
    const { statusCode: status = 0, headers } = response
    if (status >= 300 && status < 400 && headers.location !== undefined) {
      response.destroy()
      here = onwards(here, headers.location)
      continue
    }
    if (status !== 200) {
      response.destroy()
      throw new CalendarUnreachable('answers', `the server answers ${status}`, status)
    }
    return await bodyOf(response)
  }
  throw new CalendarUnreachable('leads-on', `it leads on more than ${REDIRECTS_MOST} times`)
}

/** From outside nothing may lead back to this machine. */
function onwards(here: string, location: string): string {
  if (!URL.canParse(location, here)) throw new CalendarUnreachable('leads-on', 'it leads to no address')
  const target = new URL(location, here)
  if (target.hostname === '127.0.0.1' && new URL(here).hostname !== '127.0.0.1')
    throw new CalendarUnreachable('inside', 'it leads to this machine itself')
  return target.href
}

const inside = () => new CalendarUnreachable('inside', 'the address is not on the public internet')

function answerOf(url: URL, signal: AbortSignal, rules: FetchRules): Promise<IncomingMessage> {
  const isHere = url.protocol === 'http:'
  if (rules.onlyPublic === true) {
    const allowed = targetOf(url.href, { loopbackHttp: rules.loopback === true })
    if ('refused' in allowed) return Promise.reject(inside())
  }
  return new Promise<IncomingMessage>((resolve, reject) => {
    const asked = (isHere ? httpRequest : httpsRequest)(url, {
      ...{ signal, agent: false, headers: { accept: 'text/calendar', 'user-agent': 'smallhours' } },
      ...(rules.onlyPublic === true ? { lookup: publicLookup(url, rules) } : {}),
    })
    asked.on('response', resolve)
    asked.on('error', cause =>
      reject(
        cause instanceof CalendarUnreachable
          ? cause
          : signal.aborted
            ? new CalendarUnreachable('late', 'the server does not answer in time')
            : new CalendarUnreachable('unreached', 'the server cannot be reached'),
      ),
    )
    asked.end()
  })
}

/** Resolves the name once and hands over only what may be connected to: a name may lead anywhere, and elsewhere each time. */
function publicLookup(url: URL, rules: FetchRules): LookupFunction {
  const resolve = rules.resolve ?? ((host, found) => lookup(host, { all: true }, found))
  return (_host, { all }, done) =>
    resolve(hostOf(url), (error, addresses) => {
      const [first] = addresses ?? []
      if (error !== null) return done(error, '')
      if (first === undefined || !mayConnect(url, addresses, { loopbackHttp: rules.loopback === true }))
        return done(inside(), '')
      if (all === true) done(null, addresses)
      else done(null, first.address, first.family)
    })
}

/** Reads no further than the bound, whatever length was promised. */
async function bodyOf(response: IncomingMessage): Promise<string> {
  const bytes = await bytesOf(response)
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch {
    throw new CalendarUnreachable('not-utf8', 'it is not UTF-8')
  }
}

async function bytesOf(response: IncomingMessage): Promise<Uint8Array> {
  const pieces: Uint8Array[] = []
  let bytes = 0
  try {
    for await (const piece of response as AsyncIterable<Uint8Array>) {
      bytes += piece.length
      if (bytes > CALENDAR_BYTES_MOST)
        throw new CalendarUnreachable('too-large', `it sends more than ${CALENDAR_BYTES_MOST / 1_000_000} MB`)
      pieces.push(piece)
    }
    return Buffer.concat(pieces)
  } catch (cause) {
    if (cause instanceof CalendarUnreachable) throw cause
    throw new CalendarUnreachable('broken-off', 'the answer breaks off')
  }
}
