import { html } from 'hono/html'
import { type FamilyFoot, page, type Wording } from './web-page.ts'

/** A short page that is neither log nor desk: an error or a refusal. */
export interface Notice {
  readonly heading: string
  readonly lines: readonly string[]
}

export interface NoticeFrame {
  readonly wording: Wording
  readonly foot: FamilyFoot
  readonly demonstration: boolean
  readonly language: string
  readonly nonce: string
}

/** Plain words, a way back, and the numbers. */
export function noticePage(notice: Notice, frame: NoticeFrame): Promise<string> {
  const body = html`<main id="main"><h1>${notice.heading}</h1>
${notice.lines.map(line => html`<p>${line}</p>`)}
<p><a class="button" href="/">${frame.wording('back')}</a></p></main>`
  return page({ ...frame, css: '', title: notice.heading, body })
}

/**
 * What families see when all else fails, worked out at the start so that nothing has to work later. Its nonce may be
 * fixed: the page holds no words of anyone.
 */
export async function fallbackPage(
  frame: Pick<NoticeFrame, 'foot' | 'demonstration'> & {
    /** Every language families use: which of them this family reads is not known then. */
    readonly spoken: readonly Pick<NoticeFrame, 'language' | 'wording'>[]
  },
): Promise<{ markup: string; nonce: string }> {
  const nonce = 'fallback'
  const [first] = frame.spoken
  if (first === undefined) throw new Error('fallbackPage: at least one language was expected')
  const body = html`<main id="main">${frame.spoken.map(
    ({ language, wording }, i) => html`<div lang="${language}">
${i === 0 ? html`<h1>${wording('broken-heading')}</h1>` : html`<h2>${wording('broken-heading')}</h2>`}
<p>${wording('broken-line')}</p>
<p><a class="button" href="/">${wording('back')}</a></p></div>`,
  )}</main>`
  const title = first.wording('broken-heading')
  return { markup: await page({ ...frame, ...first, nonce, css: '', title, body }), nonce }
}
