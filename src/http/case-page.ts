import { html } from 'hono/html'
import type { Part } from '../case/message.ts'
import type { CaseView, LogLine } from '../case/view.ts'
import { type Html, telephoneAddress, type Wording, wordsShown } from '../channels/web-page.ts'
import { numberText } from '../oncall/number-text.ts'
import { after, type Instant, minutes } from '../time/instant.ts'
import { milderThan } from './action.ts'
import { form as formTo } from './console/frame.ts'

/** What a case's page is drawn with. */
export interface CaseFrame {
  readonly view: CaseView
  readonly wording: Wording
  /** Clock time in the clinic's zone and form. */
  readonly clockText: (at: Instant) => string
  readonly now: Instant
  /** Path the forms post to. */
  readonly actPath: string
  /** Nonce of this page's forms. */
  readonly formNonce: string
  readonly quickLines: readonly { readonly id: string; readonly text: string }[]
  readonly outcomes: readonly { readonly id: string; readonly label: string }[]
  /** Photos the family sent, oldest first. */
  readonly photos?: readonly PhotoShown[]
  /** What the last press did, or why it did nothing. */
  readonly note?: string
}

/** A photo with its address; without one where whoever looks has to sign in. */
export interface PhotoShown {
  readonly at: Instant
  readonly path?: string
}

/** Minutes ahead that "Ringing by" offers, as clock times. */
const RINGING_BY_MINUTES = [5, 10, 15, 30] as const

/**
 * The case as the clinician meets it, half awake on a phone: how urgent in words, what stands in the way, the facts that
 * decide, the number, four answers. What the family was told and everything else comes below.
 */
export function caseScreen(frame: CaseFrame): Html {
  const { view, wording } = frame
  return html`<main id="main">
<h1>${view.headline}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<p class="state">${wording('clinic-case', { code: view.code })} · ${view.callout.sentence}</p>
${view.marks.length === 0 ? '' : html`<ul class="marks" aria-label="${wording('clinic-marks')}">${view.marks.map(mark => html`<li>${mark}</li>`)}</ul>`}
${section('clinic-situation', view.handover.situation, frame)}
${ringBack(frame)}
${fourAnswers(frame)}
${photos(frame)}
${told(frame)}
${answers(frame)}
${section('clinic-background', view.handover.background, frame)}
${section('clinic-assessment', view.handover.assessment, frame)}
${section('clinic-recommendation', view.handover.recommendation, frame)}
${section('clinic-read-back', view.handover.readBack, frame)}
${coming(frame)}
${writing(frame)}
${spoken(frame)}
${lowering(frame)}
${outcome(frame)}
${form(frame, html`<button name="do" value="flag">${wording('clinic-flag')}</button>`)}
</main>`
}

/** After "Ringing now": the number, very large. The script only presses it once. */
export function ringScreen(frame: Pick<CaseFrame, 'view' | 'wording'> & { readonly casePath: string }): Html {
  const { view, wording } = frame
  return html`<main id="main">
<h1>${wording('clinic-ring-heading')}</h1>
<p>${wording('clinic-ring-code', { code: view.code })}</p>
${
  view.ringBack === undefined
    ? html`<p class="note">${wording('clinic-no-number')}</p>`
    : html`<p><a id="ring" class="button main-button ring" href="${telephoneAddress(view.ringBack)}">${wording('clinic-ring', { number: numberText(view.ringBack) })}</a></p>`
}
<p>${wording('clinic-ring-after')}</p>
<p><a class="button" href="${frame.casePath}">${wording('clinic-back-to-case')}</a></p>
</main>`
}

function section(id: string, lines: readonly string[], { wording }: CaseFrame): Html | string {
  if (lines.length === 0) return ''
  return html`<section aria-labelledby="${id}"><h2 id="${id}">${wording(id)}</h2><ul class="lines">${lines.map(line => html`<li>${line}</li>`)}</ul></section>`
}

function ringBack({ view, wording }: CaseFrame): Html {
  if (view.ringBack === undefined) return html`<p class="state">${wording('clinic-no-number')}</p>`
  return html`<p><a class="button ring" href="${telephoneAddress(view.ringBack)}">${wording('clinic-ring', { number: numberText(view.ringBack) })}</a></p>`
}

/** Four large answers; each is a post, so that opening the link takes nothing. */
function fourAnswers(frame: CaseFrame): Html {
  const { wording, clockText, now } = frame
  const times = RINGING_BY_MINUTES.map(ahead => after(now, minutes(ahead)))
  return html`<section aria-labelledby="clinic-answer"><h2 id="clinic-answer">${wording('clinic-answer')}</h2>
${form(frame, html`<button class="main-button" name="do" value="ringing-now">${wording('clinic-ringing-now')}</button>`)}
${form(
  frame,
  html`<input type="hidden" name="do" value="ringing-by"><fieldset class="times"><legend>${wording('clinic-ringing-by')}</legend>${times.map(at => html`<button name="by" value="${at}">${clockText(at)}</button>`)}</fieldset>`,
)}
${form(frame, html`<button name="do" value="go-in">${wording('clinic-go-in')}</button>`)}
${form(frame, html`<button name="do" value="pass-on">${wording('clinic-pass-on')}</button>`)}
</section>`
}

/** Fetched only once the clinician opens them: the page itself stays small. */
function photos({ photos = [], wording, clockText, actPath }: CaseFrame): Html | string {
  if (photos.length === 0) return ''
  const mayLook = photos.every(({ path }) => path !== undefined)
  const heading = wording('clinic-photos', { count: photos.length })
  if (!mayLook)
    return html`<section aria-labelledby="clinic-photos"><h2 id="clinic-photos">${heading}</h2><p><a class="button" href="/sign-in?onward=${encodeURIComponent(actPath)}">${wording('clinic-photos-sign-in')}</a></p></section>`
  return html`<details><summary>${heading}</summary><p class="soft">${wording('clinic-photos-note')}</p>${photos.map(
    ({ at, path }) =>
      html`<p><a href="${path}"><img class="photo" src="${path}" loading="lazy" alt="${wording('clinic-photo-alt', { now: clockText(at) })}"></a></p>`,
  )}</details>`
}

function told(frame: CaseFrame): Html {
  const { view, wording } = frame
  return html`<section aria-labelledby="clinic-told"><h2 id="clinic-told">${wording('clinic-told')}</h2>
${view.told.length === 0 ? html`<p>${wording('clinic-nothing')}</p>` : ''}
${view.told.map(line => toldLine(line, frame))}</section>`
}

/** One line word for word, with its time, its speaker and whether it reached the family. */
function toldLine(line: LogLine, { wording, clockText }: CaseFrame): Html {
  return html`<div class="line ${line.speaker.kind}"><time datetime="${new Date(line.at).toISOString()}">${clockText(line.at)}</time>
<div><p class="who">${speaker(line, wording)} · ${wording(`clinic-reached-${line.reached}`)}</p>
${line.said === undefined ? '' : html`<p class="words" dir="auto">“${wordsShown(line.said)}”</p>`}
${line.parts.map(toldPart)}</div></div>`
}

function speaker(line: LogLine, wording: Wording): string {
  switch (line.speaker.kind) {
    case 'bot':
      return wording('clinic-speaker-bot')
    case 'family':
      return wording('clinic-speaker-family')
    case 'clinician':
      return wording('speaker-clinician', { clinician: line.speaker.name, clinicianRole: line.speaker.role })
  }
}

function toldPart(part: Part): Html {
  switch (part.kind) {
    case 'person':
      return html`<p class="words" dir="auto">“${wordsShown(part.text)}”</p>`
    case 'advice':
      return html`<p class="advice"${part.language === undefined ? '' : html` lang="${part.language}" dir="auto"`}>${part.text}</p>`
    case 'withdrawn':
      return html`<p class="advice"><strong>${part.text}</strong></p>`
    case 'notice':
    case 'question':
      return html`<p class="soft">${part.text}</p>`
  }
}

function answers(frame: CaseFrame): Html {
  const { view, wording, clockText } = frame
  const none = html`<p>${wording('clinic-nothing')}</p>`
  const rows = view.answers.map(
    a =>
      html`<li><span>${a.label}: <strong>${a.answer}</strong></span> <span class="soft">${clockText(a.at)}${a.changed ? `, ${wording('clinic-changed')}` : ''}</span></li>`,
  )
  return html`<section aria-labelledby="clinic-answers"><h2 id="clinic-answers">${wording('clinic-answers')}</h2>
${rows.length === 0 ? none : html`<ul class="lines">${rows}</ul>`}
<h3>${wording('clinic-not-asked')}</h3>
${view.notAsked.length === 0 ? none : html`<ul class="lines">${view.notAsked.map(label => html`<li>${label}</li>`)}</ul>`}</section>`
}

function coming(frame: CaseFrame): Html {
  const { view, wording, clockText } = frame
  return html`<section aria-labelledby="clinic-coming"><h2 id="clinic-coming">${wording('clinic-coming')}</h2>
${view.coming.length === 0 ? html`<p>${wording('clinic-nothing')}</p>` : ''}
${view.coming.map(message =>
  form(
    frame,
    html`<input type="hidden" name="do" value="stop-alarm"><p><strong>${clockText(message.due)}</strong> ${message.says}</p><button class="small-button" name="name" value="${message.name}" aria-label="${wording('clinic-stop-said', { label: message.says })}">${wording('clinic-stop')}</button>`,
  ),
)}</section>`
}

function writing(frame: CaseFrame): Html {
  const { wording } = frame
  return html`<section aria-labelledby="clinic-write"><h2 id="clinic-write">${wording('clinic-write')}</h2>
${frame.view.marks.length === 0 ? '' : html`<p class="note">${frame.view.marks.join(' · ')}</p>`}
${form(frame, html`<input type="hidden" name="do" value="quick-line">${frame.quickLines.map(({ id, text }) => html`<button name="id" value="${id}">${text}</button>`)}`)}
${form(frame, html`<label for="text">${wording('clinic-own-words')}</label><textarea id="text" name="text" rows="3" required></textarea><button name="do" value="write">${wording('clinic-send')}</button>`)}</section>`
}

function spoken(frame: CaseFrame): Html {
  return form(frame, html`<button name="do" value="spoken">${frame.wording('clinic-spoken')}</button>`)
}

function lowering(frame: CaseFrame): Html | string {
  const { wording } = frame
  const milder = milderThan(frame.view.disposition)
  if (milder.length === 0) return ''
  return html`<details><summary>${wording('clinic-lower')}</summary>
${form(
  frame,
  html`<label for="to">${wording('clinic-lower-to')}</label><select id="to" name="to" required><option value="">${wording('clinic-choose-one')}</option>${milder.map(d => html`<option value="${d}">${wording(`clinic-disposition-${d}`)}</option>`)}</select>
<label for="reason">${wording('clinic-lower-reason')}</label><textarea id="reason" name="reason" rows="2" required></textarea>
<button name="do" value="lower">${wording('clinic-lower-do')}</button>`,
)}</details>`
}

function outcome(frame: CaseFrame): Html {
  const { wording } = frame
  return html`<details id="clinic-end"><summary>${wording('clinic-outcome')}</summary>
${form(
  frame,
  html`<fieldset><legend>${wording('clinic-outcome-which')}</legend>${frame.outcomes.map(({ id, label }) => html`<label class="tick"><input type="radio" name="outcome" value="${id}" required><span>${label}</span></label>`)}</fieldset>
<label for="note">${wording('clinic-note')}</label><textarea id="note" name="note" rows="2"></textarea>
<label class="tick"><input type="checkbox" name="do-not-write" value="yes"><span>${wording('clinic-do-not-write')}</span></label>
<button name="do" value="outcome">${wording('clinic-outcome-do')}</button>`,
)}</details>`
}

function form(frame: CaseFrame, inside: Html): Html {
  return formTo(frame, frame.actPath, inside)
}
