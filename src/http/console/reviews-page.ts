import { html, raw } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import { DISPOSITIONS } from '../../flow/document.ts'
import type { FigureTable } from '../../review/figure-table.ts'
import { tableSection } from '../../review/report-page.ts'
import { RUBRIC_GROUPS, type Rubric } from '../../review/rubric.ts'
import { ITEM_ANSWERS } from '../../review/score.ts'
import { type ConsoleFrame, form } from './frame.ts'
import { actionForm, type MayAct } from './review-actions-page.ts'

/** The cases of a month that are reviewed. Text is final. */
export interface QueueView {
  readonly months: readonly { readonly month: string; readonly says: string }[]
  /** The month that is shown; undefined where no case is on record. */
  readonly month: string | undefined
  /** How it was drawn, seed and all; undefined where it was not. */
  readonly drawn: string | undefined
  readonly mayDraw: boolean
  /** Those that wait for this person first. */
  readonly rows: readonly QueueRowView[]
  /** Cases that stand on further pages. */
  readonly further: number
}

export interface QueueRowView {
  readonly caseId: string
  /** Its place in the draw, from 1. */
  readonly number: number
  readonly why: string
  readonly standing: string
}

/** One case, stepped through. De-identified. */
export interface ReviewedView {
  readonly caseId: string
  readonly number: number
  readonly month: string
  /** Steps that are shown, of how many. */
  readonly step: number
  readonly of: number
  readonly moments: readonly Moment[]
  /** Sheets of the flow's picture; the way as far as it is shown is marked in them. */
  readonly sheets: number
  readonly rubric: Rubric
  /** Why this person does not score it now, in words; undefined where they do. */
  readonly notNow: string | undefined
  /** Scores that this person may see, in words. */
  readonly scores: readonly { readonly head: string; readonly lines: readonly string[] }[]
  readonly mayAct: MayAct | undefined
  /** What was filled in and not taken. */
  readonly filled?: ReadonlyMap<string, readonly string[]>
}

/** What happened at one step and what came of it. */
export interface Moment {
  readonly clock: string
  /** "3 min 20 s": since the first message. */
  readonly since: string
  readonly happened: string
  readonly decided: readonly string[]
}

export const stepId = (step: number): string => `step-${step}`

export function queueScreen(view: QueueView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const { month } = view
  return html`<main id="main"><h1>${wording('reviews-heading')}</h1>
${note(frame)}
<p class="ways"><a href="/reviews/report${month === undefined ? '' : `?month=${month}`}">${wording('reviews-report')}</a> <a href="/reviews/figures${month === undefined ? '' : `?month=${month}`}">${wording('reviews-figures')}</a> <a href="/reviews/actions">${wording('reviews-actions')}</a></p>
${month === undefined ? html`<p>${wording('reviews-none')}</p>` : monthPart(view, month, frame)}
${view.months.length < 2 ? '' : html`<section aria-labelledby="months"><h2 id="months">${wording('reviews-months')}</h2><ul class="lines">${view.months.map(one => html`<li><a href="/reviews?month=${one.month}"${one.month === month ? html` aria-current="page"` : ''}>${one.month}</a> ${one.says}</li>`)}</ul></section>`}
</main>`
}

function monthPart({ drawn, mayDraw, rows, further }: QueueView, month: string, frame: ConsoleFrame): Html {
  const { wording } = frame
  if (drawn === undefined)
    return html`<section aria-labelledby="month"><h2 id="month">${month}</h2><p>${wording('reviews-not-drawn')}</p>
${mayDraw ? form(frame, '/reviews/draw', html`<input type="hidden" name="month" value="${month}"><label class="tick"><input type="checkbox" name="sure" value="yes" required><span>${wording('reviews-draw-sure')}</span></label><button class="main-button">${wording('reviews-draw', { label: month })}</button>`) : html`<p>${wording('reviews-running')}</p>`}</section>`
  return html`<section aria-labelledby="month"><h2 id="month">${month}</h2><p class="soft">${drawn}</p>
<ol class="board plain">${rows.map(
    row =>
      html`<li><p><a class="button" href="/reviews/case/${row.caseId}"><strong>${wording('reviews-case', { count: row.number })}</strong> ${row.why}</a></p><p>${row.standing}</p></li>`,
  )}</ol>
${further === 0 ? '' : html`<p>${wording('reviews-further', { count: further })}</p>`}</section>`
}

const note = ({ note: text }: ConsoleFrame): Html | string =>
  text === undefined ? '' : html`<p class="note" role="alert">${text}</p>`

export function reviewedScreen(view: ReviewedView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const { caseId, number, month, step, of } = view
  return html`<main id="main"><h1>${wording('reviews-case', { count: number })}</h1>
${note(frame)}
<p class="ways"><a href="/reviews?month=${month}">${wording('reviews-back')}</a> <a href="#score">${wording('reviews-score')}</a></p>
<p class="soft">${wording('reviews-masked')}</p>
<section aria-labelledby="said"><h2 id="said">${wording('reviews-said', { count: step, number: of })}</h2>
${steps(view, wording)}
<ol class="moments plain">${view.moments.map(
    (moment, index) =>
      html`<li id="${stepId(index + 1)}" class="line"><time>${moment.clock}<br><span class="soft">${moment.since}</span></time><div><p class="who">${moment.happened}</p>${moment.decided.map(text => html`<p class="words">${text}</p>`)}</div></li>`,
  )}</ol>
${steps(view, wording)}</section>
${
  view.sheets === 0
    ? ''
    : html`<section aria-labelledby="picture" class="screen-only"><h2 id="picture">${wording('reviews-picture')}</h2>${Array.from({ length: view.sheets }, (_one, index) => html`<p><a href="/reviews/case/${caseId}/picture/${index + 1}?step=${step}"><img class="sheet" loading="lazy" src="/reviews/case/${caseId}/picture/${index + 1}?step=${step}" alt="${wording('reviews-sheet', { count: index + 1 })}"></a></p>`)}</section>`
}
${scoring(view, frame)}
${view.scores.length === 0 ? '' : html`<section aria-labelledby="scores"><h2 id="scores">${wording('reviews-scores')}</h2>${view.scores.map(one => html`<h3>${one.head}</h3><ul class="lines">${one.lines.map(line => html`<li>${line}</li>`)}</ul>`)}</section>`}
${actionForm(caseId, view.mayAct, view.filled, frame)}
</main>`
}

/** Ways to the step before and after, and to all. */
function steps({ caseId, step, of }: ReviewedView, wording: Wording): Html {
  const to = (count: number, words: string) =>
    count < 1 || count > of || count === step
      ? ''
      : html`<a href="/reviews/case/${caseId}?step=${count}#${stepId(Math.min(count, of))}">${wording(words)}</a>`
  return html`<p class="ways">${to(step - 1, 'reviews-before')} ${to(step + 1, 'reviews-next')} ${to(of, 'reviews-all')}</p>`
}

function scoring(view: ReviewedView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const heading = html`<h2 id="score">${wording('reviews-score')}</h2>`
  if (view.notNow !== undefined) return html`<section aria-labelledby="score">${heading}<p>${view.notNow}</p></section>`
  const isFilled = (name: string, value: string) => (view.filled?.get(name)?.[0] === value ? html` checked` : '')
  const one = (name: string, value: string, words: string) =>
    html`<label class="tick"><input type="radio" name="${name}" value="${value}" required${isFilled(name, value)}><span>${words}</span></label>`
  return html`<section aria-labelledby="score" class="screen-only">${heading}<p>${wording('reviews-score-how')}</p>
${form(
  frame,
  `/reviews/case/${view.caseId}/score`,
  html`${RUBRIC_GROUPS.map(
    group =>
      html`<h3>${wording(`reviews-group-${group}`)}</h3>${view.rubric.items
        .filter(item => item.group === group)
        .map(
          item =>
            html`<fieldset class="item short"><legend>${item.asks} <span class="soft">${item.because}</span></legend>${ITEM_ANSWERS.filter(answer => answer !== 'not-applicable' || item['may-not-apply']).map(answer => one(`item.${item.id}`, answer, wording(`reviews-${answer}`)))}</fieldset>`,
        )}`,
  )}
<h3>${wording('reviews-verdict')}</h3>
<fieldset class="item short"><legend>${wording('reviews-safe-asked')}</legend>${one('safe', 'safe', wording('reviews-safe'))}${one('safe', 'unsafe', wording('reviews-unsafe'))}</fieldset>
<fieldset class="item"><legend>${wording('reviews-should')}</legend>${DISPOSITIONS.map(each => one('should', each, wording(`reviews-should-${each}`)))}</fieldset>
<label for="note">${wording('reviews-note')}</label><textarea id="note" name="note" rows="3" maxlength="1000">${view.filled?.get('note')?.[0] ?? ''}</textarea>
<button class="main-button">${wording('reviews-score-do')}</button>`,
)}</section>`
}

/** Tables and drawings that are worked out already; every text in them is escaped where they are made. */
export function figuresScreen(
  heading: string,
  says: string,
  tables: readonly FigureTable[],
  frame: ConsoleFrame,
  months: readonly string[],
  here: { readonly path: string; readonly month: string | undefined },
): Html {
  const { wording } = frame
  return html`<main id="main" class="wide"><h1>${heading}</h1>
<p>${says}</p>
<p class="ways"><a href="/reviews">${wording('reviews-heading')}</a> <a href="${here.path}"${here.month === undefined ? html` aria-current="page"` : ''}>${wording('reviews-all-months')}</a> ${months.map(month => html`<a href="${here.path}?month=${month}"${month === here.month ? html` aria-current="page"` : ''}>${month}</a> `)}</p>
<div class="figures">${raw(
    tables
      .filter(({ rows }) => rows.length > 0)
      .map(tableSection)
      .join('\n'),
  )}</div></main>`
}
