import { CALENDAR_BYTES_MOST } from '../calendar/lines.ts'
import { isFeedAddress } from '../config/clinic-shapes.ts'

/** A calendar could not be fetched: the message says why, without what the address holds. */
export class CalendarUnreachable extends Error {
  override readonly name = 'CalendarUnreachable'
}

const REDIRECTS_MOST = 3

/**
 * The text at an address: https only (plain http from this machine itself), at most 10 MB, within the time of `signal`.
 * Throws `CalendarUnreachable`.
 */
export async function fetchCalendar(address: string, signal: AbortSignal): Promise<string> {
  let here = address
  for (let redirects = 0; redirects <= REDIRECTS_MOST; redirects++) {
    if (!isFeedAddress(here)) {
      const what = here === address ? 'the address is' : 'it leads to an address that is'
      throw new CalendarUnreachable(`${what} not https, or holds a user name`)
    }
    const response = await asked(here, signal)
    const next = response.headers.get('location')
    if (response.status >= 300 && response.status < 400 && next !== null) {
      await response.body?.cancel()
      if (!URL.canParse(next, here)) throw new CalendarUnreachable('it leads to no address')
      const target = new URL(next, here)
      // From outside nothing may lead back to this machine.
      if (target.hostname === '127.0.0.1' && new URL(here).hostname !== '127.0.0.1')
        throw new CalendarUnreachable('it leads to this machine itself')
      here = target.href
      continue
    }
    if (response.status !== 200) {
      await response.body?.cancel()
      throw new CalendarUnreachable(`the server answers ${response.status}`)
    }
    return await bodyOf(response)
  }
  throw new CalendarUnreachable(`it leads on more than ${REDIRECTS_MOST} times`)
}

async function asked(address: string, signal: AbortSignal): Promise<Response> {
  try {
    return await fetch(address, { redirect: 'manual', signal, headers: { accept: 'text/calendar' } })
  } catch {
    throw new CalendarUnreachable(
      signal.aborted ? 'the server does not answer in time' : 'the server cannot be reached',
    )
  }
}

/** Reads no further than the bound, whatever length was promised. */
async function bodyOf(response: Response): Promise<string> {
  const bytes = await bytesOf(response)
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch {
    throw new CalendarUnreachable('it is not UTF-8')
  }
}

async function bytesOf(response: Response): Promise<Uint8Array> {
  const pieces: Uint8Array[] = []
  let bytes = 0
  try {
    for await (const piece of response.body ?? []) {
      bytes += piece.length
      if (bytes > CALENDAR_BYTES_MOST)
        throw new CalendarUnreachable(`it sends more than ${CALENDAR_BYTES_MOST / 1_000_000} MB`)
      pieces.push(piece)
    }
    return Buffer.concat(pieces)
  } catch (cause) {
    if (cause instanceof CalendarUnreachable) throw cause
    throw new CalendarUnreachable('the answer breaks off')
  }
}
