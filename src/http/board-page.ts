import { html } from 'hono/html'
import type { Html, Wording } from '../channels/web-page.ts'
import type { Instant } from '../time/instant.ts'

/** The clinic's cases and the pages that were sent, as the demonstration shows them. */
export interface BoardView {
  /** Whether it is night at the clinic: the list is then called *Tonight*. */
  readonly isNight: boolean
  /** What keeps the line from being trusted now, each as a sentence. */
  readonly doubts?: readonly string[]
  readonly rows: readonly BoardRow[]
  /** Latest first. */
  readonly pages: readonly BoardPage[]
}

export interface BoardRow {
  readonly code: string
  readonly headline: string
  /** The call-out as a sentence. */
  readonly callout: string
  /** What is due next, in words: "call promised by 2:25 am". */
  readonly next?: string
  readonly nextAt?: Instant
  readonly marks: readonly string[]
  readonly closed: boolean
  /** Path of the case's page, where there is a page that opened it. */
  readonly link?: string
}

/** One page: who would have been reached, how, with which words. */
export interface BoardPage {
  readonly at: Instant
  readonly to: string
  /** "e-mail", "signed web hook", "board". */
  readonly by: string
  readonly text: string
  readonly outcome: string
  readonly link?: string
}

export interface BoardFrame {
  readonly wording: Wording
  readonly clockText: (at: Instant) => string
  readonly demonstration: boolean
}

/** The list sorted by what is due next; closed cases last. */
export function boardScreen(board: BoardView, frame: BoardFrame): Html {
  const { wording } = frame
  return html`<main id="main">
<h1>${wording(board.isNight ? 'board-tonight' : 'board-now')}</h1>
<p class="soft">${wording(frame.demonstration ? 'board-demonstration' : 'board-clinic')}</p>
${(board.doubts ?? []).length === 0 ? '' : html`<div role="alert"><p><strong>${wording('doubt-heading')}</strong></p><ul class="marks">${(board.doubts ?? []).map(doubt => html`<li>${doubt}</li>`)}</ul></div>`}
${board.rows.length === 0 ? html`<p>${wording('board-no-cases')}</p>` : html`<ol class="board">${byDue(board.rows).map(row => boardRow(row, frame))}</ol>`}
<h2>${wording('board-pages')}</h2>
${board.pages.length === 0 ? html`<p>${wording('board-no-pages')}</p>` : html`<ol class="board">${board.pages.map(sent => boardPage(sent, frame))}</ol>`}
<form method="get" action="/board"><button>${wording('board-refresh')}</button></form>
</main>`
}

/** Open before closed, then the earliest due; what has nothing due comes after what has. */
export function byDue(rows: readonly BoardRow[]): readonly BoardRow[] {
  const dueOf = (row: BoardRow): number => row.nextAt ?? Number.POSITIVE_INFINITY
  return rows.toSorted(
    (a, b) => Number(a.closed) - Number(b.closed) || (dueOf(a) === dueOf(b) ? 0 : dueOf(a) - dueOf(b)),
  )
}

function boardRow(row: BoardRow, { wording }: BoardFrame): Html {
  const heading = html`<strong>${row.code}</strong> ${row.headline}`
  return html`<li><p>${row.link === undefined ? heading : html`<a class="button" href="${row.link}">${heading}</a>`}</p>
<p>${row.callout}${row.next === undefined ? '' : html` · ${row.next}`}${row.closed ? html` · ${wording('board-closed')}` : ''}</p>
${row.marks.length === 0 ? '' : html`<ul class="marks">${row.marks.map(mark => html`<li>${mark}</li>`)}</ul>`}</li>`
}

function boardPage(sent: BoardPage, { wording, clockText }: BoardFrame): Html {
  return html`<li><p class="soft">${clockText(sent.at)} · ${wording('board-page-to', { name: sent.to, way: sent.by })} · ${sent.outcome}</p>
<p class="page-text">${sent.text}</p>
${sent.link === undefined ? '' : html`<a class="button" href="${sent.link}">${wording('board-open-page')}</a>`}</li>`
}
