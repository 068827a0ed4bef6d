import type { Context } from 'hono'
import { html } from 'hono/html'
import { isSecureRequest, type PublicAddress, secureHeaders } from '../channels/web-guard.ts'
import {
  type FamilyNumber,
  type Html,
  page,
  shownNumber,
  telephoneAddress,
  type Wording,
} from '../channels/web-page.ts'
import { CLINIC_CSS } from './clinic-style.ts'

/** What every page of the clinic's side is drawn with. */
export interface ClinicPagePorts {
  readonly wording: Wording
  /** Whom to ring when the page does not help (switchboard). */
  desk(): FamilyNumber
  /** At least 128 random bits, as letters, digits, `-` and `_`. */
  randomId(): string
  readonly demonstration: boolean
  readonly language?: string
  readonly origin?: string
}

export interface PageOptions {
  readonly status?: number
  /** Path of a script of our own. */
  readonly script?: string
  /** Attributes that the script reads its words from. */
  readonly scriptWords?: Record<string, string>
  readonly headers?: Readonly<Record<string, string>>
}

/** The answers of the clinic's side: whole pages, short notices, ways on. */
export interface ClinicAnswers {
  readonly address: PublicAddress
  respond(c: Context, title: string, body: Html, options?: PageOptions): Promise<Response>
  /** A short page that always says whom to ring instead; words `ID-heading` and `ID-line`. */
  notice(c: Context, status: number, id: string): Promise<Response>
  /** 303: what was posted is done, the browser asks for a page. */
  goTo(c: Context, path: string, headers?: Readonly<Record<string, string>>): Response
}

export function clinicAnswers(ports: ClinicPagePorts): ClinicAnswers {
  const { wording } = ports
  const address: PublicAddress = ports.origin === undefined ? {} : { origin: ports.origin }

  const respond: ClinicAnswers['respond'] = async (c, title, body, options = {}) => {
    const nonce = ports.randomId()
    const { status = 200, script, scriptWords, headers } = options
    const markup = await page({
      language: ports.language ?? 'en',
      title,
      wording,
      demonstration: ports.demonstration,
      nonce,
      css: CLINIC_CSS,
      body,
      ...(script === undefined ? {} : { script }),
      ...(scriptWords === undefined ? {} : { scriptWords }),
    })
    const secure = secureHeaders(nonce, isSecureRequest(c.req.raw, address))
    return new Response(markup, {
      status,
      headers: { ...secure, 'Content-Type': 'text/html; charset=utf-8', ...headers },
    })
  }

  return {
    address,
    respond,
    notice(c, status, id) {
      const desk = ports.desk()
      const body = html`<main id="main"><h1>${wording(`${id}-heading`)}</h1><p>${wording(`${id}-line`)}</p>
<p><a class="button ring" href="${telephoneAddress(desk.number)}">${desk.label}: ${shownNumber(desk)}</a></p></main>`
      return respond(c, wording(`${id}-heading`), body, { status })
    },
    goTo(c, path, headers = {}) {
      const secure = secureHeaders('none', isSecureRequest(c.req.raw, address))
      return new Response(null, { status: 303, headers: { ...secure, Location: path, ...headers } })
    },
  }
}
