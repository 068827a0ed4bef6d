import { html } from 'hono/html'
import { type FamilyFoot, type Html, page, type Wording } from '../web-page.ts'

/** A short page that is neither log nor desk: an error, a refusal, the offline page. */
export interface Notice {
  readonly heading: string
  readonly lines: readonly string[]
  /** Markup between the lines and the way back (holding advice on the offline page). */
  readonly more?: Html
  readonly back?: string
}

export interface NoticeFrame {
  readonly wording: Wording
  readonly foot: FamilyFoot
  readonly demonstration: boolean
  readonly language: string
  readonly nonce: string
  readonly css?: string
}

/** Plain words, a way back, and the numbers. */
export function noticePage(notice: Notice, frame: NoticeFrame): Promise<string> {
  const body = html`<main id="main"><h1>${notice.heading}</h1>
${notice.lines.map(line => html`<p>${line}</p>`)}
${notice.more ?? ''}
<p><a class="button" href="/">${notice.back ?? frame.wording('back')}</a></p></main>`
  return page({ ...frame, css: frame.css ?? '', title: notice.heading, body })
}
