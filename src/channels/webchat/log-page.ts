import { html, raw } from 'hono/html'
import type { Control, Option, Question } from '../../case/message.ts'
import type { Html } from '../web-page.ts'
import type { FamilyLog } from './family-log.ts'
import { changeForm, type LineFrame, logLines, partsOf, pictureOf } from './log-lines.ts'

/** What the chat's page is drawn with. */
export interface LogFrame extends LineFrame {
  readonly firstAdvice: LineParts
  readonly concerns: readonly { readonly id: string; readonly label: string }[]
  readonly drawing: (id: string) => string | undefined
  /** BCP 47 of the page. */
  readonly language: string
  /** Languages a family may go on in, each by its own name. */
  readonly languages: readonly { readonly tag: string; readonly name: string }[]
  /** What the clinic tells every family before anything else. */
  readonly lineNotice: readonly string[]
  /** A line above the question, e.g. "Tap at least one". */
  readonly note?: string
}
type LineParts = Parameters<typeof partsOf>[0]

/** Controls that belong to what was just said stand above the box to write in; the others below it. */
const CONTROLS_AT_HAND: readonly Control[] = ['cannot-travel', 'they-rang', 'wrong-tap']
/** Controls that have a place of their own. */
const CONTROLS_PLACED: readonly Control[] = ['change', 'start', 'show-handover']

/** The first screen: holding advice and numbers before anything is sent, one big button, a box to write in. */
export function firstScreen(frame: LogFrame): Html {
  const { wording } = frame
  const [big, ...others] = frame.concerns
  return html`<main id="main">
${languageLinks(frame)}
<h1>${wording('first-heading')}</h1>
${lineNotice(frame)}
<section aria-labelledby="first-advice"><h2 id="first-advice">${wording('first-advice-heading')}</h2>
${partsOf(frame.firstAdvice, frame)}</section>
<section aria-labelledby="first-ask"><h2 id="first-ask">${wording('first-ask')}</h2>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<form method="post" action="/say" data-say>
${nonceField(frame)}
${big === undefined ? '' : html`<button class="main-button" name="concern" value="${big.id}">${big.label}</button>`}
${others.map(({ id, label }) => html`<button name="concern" value="${id}">${label}</button>`)}
</form></section>
${writeBox(frame, undefined)}
<p>${wording('first-bot')}</p>
<p class="soft">${wording('privacy')}</p>
</main>`
}

/** The log with the open question lowest, then the box to write in and the other things one can do. */
export function logScreen(log: FamilyLog, frame: LogFrame): Html {
  return html`<main id="main">
${languageButtons(frame)}
<h1>${log.nickname === undefined ? frame.wording('log-heading') : frame.wording('log-heading-of', { nickname: log.nickname })}</h1>
${logFragment(log, frame)}
</main>`
}

/** The part of the page that changes; the script reads it alone. */
export function logFragment(log: FamilyLog, frame: LogFrame): Html {
  const { wording } = frame
  return html`<div id="log" role="log" aria-label="${wording('log-label')}">${logLines(log, frame)}</div>
<div id="unsent" role="status"></div>
<div id="now">
${lineNotice(frame)}
${log.callState === undefined ? '' : html`<div class="state"><p>${log.callState}</p>${log.code === undefined ? '' : html`<p>${wording('code-line', { code: log.code })}</p>`}</div>`}
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
${log.question === undefined ? '' : questionForm(log.question, frame)}
${controlForm(
  log.controls.filter(control => CONTROLS_AT_HAND.includes(control)),
  frame,
)}
${writeBox(frame, log.question)}
${photoBox(log, frame)}
<form method="get" action="/" class="check"><button>${wording('check')}</button><p class="soft">${wording('check-why')}</p></form>
${otherThings(log, frame)}
</div>`
}

function lineNotice({ lineNotice: lines }: LogFrame): Html | string {
  if (lines.length === 0) return ''
  return html`<div class="state" role="status">${lines.map(line => html`<p><strong>${line}</strong></p>`)}</div>`
}

function questionForm(question: Question, frame: LogFrame): Html {
  const { wording } = frame
  const apart = question.options.filter(option => option.apart === true)
  const others = question.options.filter(option => option.apart !== true)
  const more = question.more === undefined || question.more < 1 ? undefined : wording('more', { count: question.more })
  const [first = '', ...rest] = question.text.split('\n').filter(line => line.trim() !== '')
  return html`<section class="ask" aria-labelledby="question" data-serial="${question.serial}">
<div aria-live="polite"><h2 id="question" tabindex="-1">${first}</h2>${rest.map(line => html`<p>${line}</p>`)}
${question.why === undefined && more === undefined ? '' : html`<p class="soft">${[question.why, more].filter(Boolean).join(' · ')}</p>`}</div>
${pictureOf(question.drawing, frame)}
${
  question.options.length === 0
    ? ''
    : html`<form method="post" action="/say" data-say>
${nonceField(frame)}<input type="hidden" name="serial" value="${question.serial}">
${question.several ? checkboxes(others, frame) : html`<div class="options">${others.map(option => optionButton(option, frame))}</div>`}
${apart.length === 0 ? '' : html`<div class="apart">${apart.map(option => optionButton(option, frame))}</div>`}
</form>`
}
</section>`
}

function optionButton(option: Option, frame: LogFrame): Html {
  const drawing = option.drawing === undefined ? undefined : frame.drawing(option.drawing)
  return html`<button name="value" value="${option.value}"${drawing === undefined ? '' : html` class="drawn"`}>${drawingBox(drawing)}<span>${option.label}</span></button>`
}

function checkboxes(options: readonly Option[], frame: LogFrame): Html {
  return html`<fieldset><legend class="soft">${frame.wording('several-hint')}</legend>
${options.map(option => html`<label class="tick"><input type="checkbox" name="value" value="${option.value}"><span>${option.label}</span></label>`)}
<button class="main-button">${frame.wording('done')}</button></fieldset>`
}

/** A drawing beside its label: the label says what it is, so the drawing itself is not read aloud. */
function drawingBox(svg: string | undefined): Html | string {
  return svg === undefined ? '' : html`<span class="drawing" aria-hidden="true">${raw(svg)}</span>`
}

/** The box to write in; always there. Its keyboard follows what the open question reads. */
function writeBox(frame: LogFrame, question: Question | undefined): Html {
  const { wording } = frame
  const label = question === undefined ? wording('write-label') : wording('write-answer-label')
  return html`<form method="post" action="/say" class="write" data-say data-write>
${nonceField(frame)}
<label for="text">${label}</label>
${writeField(question)}
<button>${wording('send')}</button></form>`
}

function writeField(question: Question | undefined): Html {
  switch (question?.accepts) {
    case 'phone':
      return html`<input id="text" name="text" type="tel" autocomplete="tel">`
    case 'number':
      return html`<input id="text" name="text" type="text" inputmode="decimal" autocomplete="off">`
    case 'words':
    case 'moment':
    case 'date':
    case 'duration':
    case undefined:
      return html`<textarea id="text" name="text" rows="2" autocomplete="off"></textarea>`
  }
}

/** A photo for the clinician, where the clinic lets families send one. */
function photoBox({ photosLeft = 0 }: FamilyLog, frame: LogFrame): Html | string {
  if (photosLeft === 0) return ''
  const { wording } = frame
  return html`<form method="post" action="/photo" enctype="multipart/form-data" class="write">
${nonceField(frame)}
<label for="photo">${wording('photo-label')}</label>
<p class="soft" id="photo-why">${wording('photo-why')}</p>
<input id="photo" name="photo" type="file" accept="image/jpeg,image/png,image/webp" aria-describedby="photo-why" required>
<button>${wording('photo-send')}</button></form>`
}

function controlForm(controls: readonly Control[], frame: LogFrame): Html | string {
  if (controls.length === 0) return ''
  return html`<form method="post" action="/say" data-say>${nonceField(frame)}${controls.map(
    control => html`<button name="control" value="${control}">${frame.wording(`control-${control}`)}</button>`,
  )}</form>`
}

function otherThings(log: FamilyLog, frame: LogFrame): Html {
  const { wording } = frame
  const controls = log.controls.filter(c => !CONTROLS_AT_HAND.includes(c) && !CONTROLS_PLACED.includes(c))
  return html`<section aria-labelledby="other"><h2 id="other">${wording('other-heading')}</h2>
${controlForm(controls, frame)}
${log.controls.includes('show-handover') ? html`<a class="button" href="/handover">${wording('control-show-handover')}</a>` : ''}
${log.changeable.length === 0 ? '' : answersList(log, frame)}
${log.code === undefined ? '' : html`<p class="soft">${wording('code-short', { code: log.code })}</p>`}
</section>`
}

function answersList(log: FamilyLog, frame: LogFrame): Html {
  return html`<details id="answers"><summary>${frame.wording('answers-heading', { count: log.changeable.length })}</summary>
<ul class="answers">${log.changeable.map(change => html`<li><span>${change.label}: <strong>${change.answer}</strong></span>${changeForm(change, frame)}</li>`)}</ul></details>`
}

function nonceField(frame: LogFrame): Html {
  return html`<input type="hidden" name="nonce" value="${frame.tapNonce}"><input type="hidden" name="lang" value="${frame.language}">`
}

const othersOf = ({ languages, language }: LogFrame) => languages.filter(({ tag }) => tag !== language)

/** Before anything is said: the same screen in another language, each by its own name. */
function languageLinks(frame: LogFrame): Html | string {
  const others = othersOf(frame)
  if (others.length === 0) return ''
  return html`<nav class="languages" aria-label="${frame.wording('languages-label')}">${others.map(({ tag, name }) => html`<a class="button small-button" href="/?lang=${tag}" lang="${tag}" hreflang="${tag}">${name}</a> `)}</nav>`
}

/** The conversation goes on in another language. */
function languageButtons(frame: LogFrame): Html | string {
  const others = othersOf(frame)
  if (others.length === 0) return ''
  return html`<div class="languages" role="group" aria-label="${frame.wording('languages-label')}">${others.map(
    ({ tag, name }) =>
      html`<form method="post" action="/say">${nonceField(frame)}<input type="hidden" name="subject" value="${tag}"><button class="small-button" name="control" value="language" lang="${tag}">${name}</button></form>`,
  )}</div>`
}
