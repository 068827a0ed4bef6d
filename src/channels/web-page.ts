import { html, raw } from 'hono/html'
import type { HtmlEscapedString } from 'hono/utils/html'
import { BASE_CSS } from './web-style.ts'

/** Markup that is already escaped. */
export type Html = HtmlEscapedString | Promise<HtmlEscapedString>

/** Visible text by id, filled with `values` (ICU MessageFormat behind it). Throws on an unknown id. */
export type Wording = (id: string, values?: Record<string, string | number>) => string

/** One number a family may ring. Never a private one. */
export interface FamilyNumber {
  /** "Emergency", "Feeding clinic, day and night". */
  readonly label: string
  /** E.164 (`+12025550123`) or a short number. */
  readonly number: string
  /** The number as people read it; absent: `number` itself. */
  readonly shown?: string
  /** What to say or when it answers: "ask for the feeding nurse". */
  readonly words?: string
}

/** The two numbers that stand at the foot of every screen. */
export interface FamilyFoot {
  readonly emergency: FamilyNumber
  readonly clinic: FamilyNumber
  /** Other numbers that a text may name (transport, hospitals): tappable there, not at the foot. */
  readonly namedInTexts?: readonly FamilyNumber[]
}

/** Everything around the body of a page. */
export interface PageFrame {
  /** BCP 47, for `<html lang>`. */
  readonly language: string
  readonly title: string
  readonly wording: Wording
  readonly demonstration: boolean
  readonly nonce: string
  /** Extra styles after the shared ones. */
  readonly css: string
  readonly body: Html
  /** On every screen of a family; absent on a clinician's. */
  readonly foot?: FamilyFoot
  /** Path of a script of our own; everything works without it. */
  readonly script?: string
  /** Attributes that the script reads its words from. */
  readonly scriptWords?: Record<string, string>
}

/** A small drop, so that no browser asks for a second file. */
const ICON =
  "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E%3Crect width='16' height='16' rx='4' fill='%2310161d'/%3E%3Ccircle cx='8' cy='8' r='4' fill='none' stroke='%23a9c7e2' stroke-width='2'/%3E%3C/svg%3E"

/** The whole document: banner, body, caution, numbers. */
export async function page(frame: PageFrame): Promise<string> {
  const { wording, nonce } = frame
  const words = Object.entries(frame.scriptWords ?? {}).map(([name, text]) => html` data-${raw(name)}="${text}"`)
  const document = await html`<!doctype html>
<html lang="${frame.language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<meta name="format-detection" content="telephone=no">
<title>${frame.title}</title>
<link rel="icon" href="${raw(ICON)}">
<style nonce="${nonce}">${raw(BASE_CSS + frame.css)}</style>
</head>
<body${words}>
${frame.demonstration ? html`<header class="banner">${wording('demonstration-banner')}</header>` : ''}
${frame.body}
<aside class="caution"><p>${wording('caution')}</p></aside>
${frame.foot === undefined ? '' : numbersFoot(frame.foot, wording)}
${frame.script === undefined ? '' : html`<script nonce="${nonce}" src="${frame.script}" defer></script>`}
</body>
</html>`
  return document.toString()
}

/** The emergency number and the clinic's, as tap-to-call links, in the same place on every screen. */
export function numbersFoot(foot: FamilyFoot, wording: Wording): Html {
  return html`<nav class="foot" aria-label="${wording('numbers-label')}"><ul>
<li>${numberLink(foot.emergency)}</li>
<li>${numberLink(foot.clinic)}</li>
</ul></nav>`
}

function numberLink(number: FamilyNumber): Html {
  return html`<a href="${telephoneAddress(number.number)}"><span class="label">${number.label}</span> <span class="number">${shownNumber(number)}</span>${number.words === undefined ? '' : html` <span class="words">${number.words}</span>`}</a>`
}

/** The number as people read it. */
export function shownNumber(number: FamilyNumber): string {
  return number.shown ?? number.number
}

/** `tel:` address (RFC 3966) of a number: digits, a leading plus, `*` and `#` only. */
export function telephoneAddress(number: string): string {
  return `tel:${number.replace(/[^+\d*#]/g, '').replace(/(?!^)\+/g, '')}`
}

/** Text with the numbers a family may ring made tappable where they stand alone in it. */
export function withNumbers(text: string, foot: FamilyFoot): Html | string {
  const numbers = [foot.emergency, foot.clinic, ...(foot.namedInTexts ?? [])]
  const forms = numbers
    .flatMap(n => [shownNumber(n), n.number])
    .filter(form => form.length > 1)
    .toSorted((a, b) => b.length - a.length)
  const pattern = new RegExp(`(?<![\\d+-])(${forms.map(escapedForPattern).join('|')})(?![\\d-])`, 'g')
  const pieces = text.split(pattern)
  if (pieces.length === 1) return text
  return html`${pieces.map((piece, i) => (i % 2 === 0 ? piece : telLink(piece, numbers)))}`
}

function telLink(piece: string, numbers: readonly FamilyNumber[]): Html {
  const number = numbers.find(n => shownNumber(n) === piece || n.number === piece)
  return html`<a class="tel" href="${telephoneAddress(number?.number ?? piece)}">${piece}</a>`
}

/** Longest of a person's words shown whole, in UTF-16 units; of what is longer, this much of its beginning and its end. */
const WORDS_SHOWN = { whole: 3_000, beginning: 2_000, end: 800 }
const STEERING = /(?![\n\t])\p{Cc}/gu

/**
 * A person's words as a page shows them: as written, but what steers a machine (control characters) as a replacement
 * sign, and very long ones without their middle. Show them in an element of their own with `dir="auto"`: marks that
 * turn the direction of text then end with it.
 */
export function wordsShown(words: string): string {
  const { whole, beginning, end } = WORDS_SHOWN
  const shown = words.length <= whole ? words : `${words.slice(0, beginning)}\n[…]\n${words.slice(-end)}`
  return shown.toWellFormed().replace(STEERING, '\ufffd')
}

function escapedForPattern(text: string): string {
  return text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')
}
