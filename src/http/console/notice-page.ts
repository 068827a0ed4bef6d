import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import type { Instant } from '../../time/instant.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** What families are told before anything else: nobody can be paged, or answers take longer. */
export interface LineNotice {
  readonly kind: 'closed' | 'reduced'
  /** Taken off by itself then; absent: until somebody takes it off. */
  readonly until?: Instant
}

export const NOTICE_HOURS = [1, 2, 4, 8, 12] as const

export function noticeScreen(notice: LineNotice | undefined, shown: readonly string[], frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording('notice-heading')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<p>${wording(notice === undefined ? 'notice-none' : `notice-is-${notice.kind}`)}</p>
${shown.map(line => html`<p class="page-text">${line}</p>`)}
${notice === undefined ? '' : form(frame, '/now/notice', html`<button class="main-button" name="kind" value="none">${wording('notice-off')}</button>`)}
<section aria-labelledby="set"><h2 id="set">${wording('notice-set')}</h2>
<p class="soft">${wording('notice-means')}</p>
${form(
  frame,
  '/now/notice',
  html`<fieldset><legend>${wording('notice-which')}</legend>
<label class="tick"><input type="radio" name="kind" value="reduced" required><span>${wording('notice-reduced')}</span></label>
<label class="tick"><input type="radio" name="kind" value="closed" required><span>${wording('notice-closed')}</span></label></fieldset>
<label for="hours">${wording('notice-until')}</label><select id="hours" name="hours"><option value="">${wording('notice-until-off')}</option>${NOTICE_HOURS.map(count => html`<option value="${count}">${wording('notice-hours', { count })}</option>`)}</select>
<button>${wording('notice-do')}</button>`,
)}</section>
<p><a class="button" href="/now">${wording('now-back')}</a></p></main>`
}

/** The notice as a family reads it. */
export function noticeWords(notice: LineNotice, wording: Wording, values: Record<string, string>): readonly string[] {
  return [wording(`family-notice-${notice.kind}`, values), wording('family-notice-ring', values)]
}
