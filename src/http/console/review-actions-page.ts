import { html } from 'hono/html'
import type { Html } from '../../channels/web-page.ts'
import { ENDS, SAYS_LEAST, SAYS_MOST } from '../../review/review-action.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** What is to be done about what reviews found. Text is final. */
export interface ActionsView {
  /** The one due first on top. */
  readonly open: readonly ActionView[]
  /** The latest on top. */
  readonly ended: readonly ActionView[]
}

export interface ActionView {
  readonly number: number
  readonly caseId: string
  readonly says: string
  /** Who and until when, or how it ended. */
  readonly line: string
}

/** Whom an action of a case may be given to; undefined while not all of its scores are in. */
export interface MayAct {
  readonly people: readonly { readonly id: string; readonly name: string }[]
  /** The clinic's own day: the first that may be chosen. */
  readonly today: string
}

export function actionsScreen({ open, ended }: ActionsView, frame: ConsoleFrame): Html {
  const { wording, note } = frame
  const item = (one: ActionView, inside: Html | string = '') =>
    html`<li><p><a href="/reviews/case/${one.caseId}">${one.says}</a></p><p class="soft">${one.line}</p>${inside}</li>`
  return html`<main id="main"><h1>${wording('reviews-actions')}</h1>
${note === undefined ? '' : html`<p class="note" role="alert">${note}</p>`}
<p class="ways"><a href="/reviews">${wording('reviews-heading')}</a></p>
<p>${wording('reviews-actions-open', { count: open.length })}</p>
<ol class="board plain">${open.map(one => item(one, ending(one, frame)))}</ol>
${ended.length === 0 ? '' : html`<section aria-labelledby="ended"><h2 id="ended">${wording('reviews-actions-ended')}</h2><ol class="board plain">${ended.map(one => item(one))}</ol></section>`}
</main>`
}

function ending({ number }: ActionView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<details><summary>${wording('reviews-action-end')}</summary>${form(
    frame,
    `/reviews/actions/${number}`,
    html`<fieldset class="item"><legend>${wording('reviews-action-end')}</legend>${ENDS.map(how => html`<label class="tick"><input type="radio" name="how" value="${how}" required><span>${wording(`reviews-action-end-${how}`)}</span></label>`)}</fieldset>
<label for="end-${number}">${wording('reviews-action-end-says')}</label><textarea id="end-${number}" name="says" rows="2" minlength="${SAYS_LEAST}" maxlength="${SAYS_MOST}" required></textarea>
<button>${wording('reviews-action-end-do')}</button>`,
  )}</details>`
}

/** Below a case: what is to be done about it. */
export function actionForm(
  caseId: string,
  may: MayAct | undefined,
  filled: ReadonlyMap<string, readonly string[]> | undefined,
  frame: ConsoleFrame,
): Html {
  const { wording } = frame
  const was = (name: string) => filled?.get(name)?.[0] ?? ''
  const heading = html`<h2 id="action">${wording('reviews-action-new')}</h2>`
  if (may === undefined)
    return html`<section aria-labelledby="action">${heading}<p>${wording('reviews-action-later')}</p></section>`
  return html`<section aria-labelledby="action" class="screen-only">${heading}${form(
    frame,
    `/reviews/case/${caseId}/action`,
    html`<label for="says">${wording('reviews-action-says')}</label><textarea id="says" name="says" rows="2" minlength="${SAYS_LEAST}" maxlength="${SAYS_MOST}" required>${was('says')}</textarea>
<label for="owner">${wording('reviews-action-owner')}</label><select id="owner" name="owner" required><option value="">${wording('clinic-choose-one')}</option>${may.people.map(({ id, name }) => html`<option value="${id}"${was('owner') === id ? html` selected` : ''}>${name}</option>`)}</select>
<label for="due">${wording('reviews-action-due')}</label><input id="due" name="due" type="date" min="${may.today}" value="${was('due')}" required>
<button>${wording('reviews-action-do')}</button>`,
  )}</section>`
}
