import { html } from 'hono/html'
import { type Html, telephoneAddress, type Wording } from '../../channels/web-page.ts'
import { numberText } from '../../oncall/number-text.ts'
import { type DayShown, daysOf } from './days-shown.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** Who is on call: now, in the month, and whom the clinic can name. Text is final. */
export interface OnCallView {
  /** For each role: who now, until when, why, and who comes next. */
  readonly now: readonly {
    readonly role: string
    readonly sentence: string
    /** Whether they have said that they have the telephone. */
    readonly phone?: string
    /** Id of whoever may say so here. */
    readonly say?: string
  }[]
  /** Holes, one person alone, overlaps of the coming 90 days, each as a sentence; a hole with the form that fills it. */
  readonly wrong: readonly { readonly says: string; readonly fill?: string }[]
  readonly month: MonthView
  readonly people: readonly OnCallPerson[]
  /** The order of paging at this moment. */
  readonly ladder: readonly string[]
  /** Dated lines of the file that can be taken back. */
  readonly lines: readonly {
    readonly section: 'changes' | 'swaps' | 'leave'
    readonly line: number
    readonly says: string
  }[]
  /** What was changed last, while it can be undone. */
  readonly undo?: { readonly sentence: string; readonly until: string }
  /** Hash of the clinic's file as this page shows it. */
  readonly seen: string
  readonly mayChange: boolean
}

export interface MonthView {
  /** `2026-03`. */
  readonly id: string
  readonly title: string
  readonly before: string
  readonly after: string
  readonly days: readonly DayShown[]
}

export interface OnCallPerson {
  readonly id: string
  readonly name: string
  readonly job: string
  readonly number?: string
  /** Whether somebody said lately that the number is right. */
  readonly numberSaid?: string
  /** Whether whoever looks may say that it is. */
  readonly maySayNumber?: boolean
  /** Ways of paging, in words. */
  readonly ways: readonly string[]
  /** When a test call-out was answered last, or that none was. */
  readonly confirmed: string
  readonly mayTest: boolean
}

export function onCallScreen(view: OnCallView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording('on-call-heading')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
${view.undo === undefined ? '' : html`<div class="state"><p>${wording('on-call-changed')} ${view.undo.sentence}</p>${form(frame, '/on-call/undo', html`<button>${wording('on-call-undo', { until: view.undo.until })}</button>`)}</div>`}
<ul class="board plain">${view.now.map(one => html`<li><p><strong>${one.role}</strong><br>${one.sentence}</p>${one.phone === undefined ? '' : html`<p>${one.phone}</p>`}${one.say === undefined ? '' : form(frame, `/on-call/phone/${one.say}`, html`<button>${wording('on-call-test-have')}</button>`)}</li>`)}</ul>
${view.mayChange ? ways(wording) : ''}
<section aria-labelledby="wrong"><h2 id="wrong">${wording('on-call-wrong')}</h2>
${view.wrong.length === 0 ? html`<p>${wording('on-call-nothing-wrong')}</p>` : html`<ul class="lines">${view.wrong.map(({ says, fill }) => html`<li>${says}${fill === undefined || !view.mayChange ? '' : html` <a href="${fill}">${wording('on-call-fill')}</a>`}</li>`)}</ul>`}</section>
${month(view.month, wording)}
<section aria-labelledby="ladder"><h2 id="ladder">${wording('on-call-ladder')}</h2><ol class="lines">${view.ladder.map(name => html`<li>${name}</li>`)}</ol><p><a class="button" href="/on-call/pattern">${wording('pattern-heading')}</a></p></section>
${people(view, frame)}
${lines(view, frame)}
</main>`
}

function ways(wording: Wording): Html {
  return html`<p><a class="button main-button" href="/on-call/change/cover">${wording('on-call-cover')}</a></p>
<p><a class="button" href="/on-call/change/swap">${wording('on-call-swap')}</a></p>
<p><a class="button" href="/on-call/change/leave">${wording('on-call-leave')}</a></p>
<p><a class="button" href="/on-call/change/number">${wording('on-call-number')}</a></p>
<p><a class="button" href="/on-call/calendar">${wording('on-call-calendar')}</a></p>`
}

/** One list that is a calendar where there is room. */
function month(view: MonthView, wording: Wording): Html {
  return html`<section aria-labelledby="month"><h2 id="month">${view.title}</h2>
<p class="ways"><a href="/on-call?month=${view.before}#month">${wording('on-call-month-before')}</a> <a href="/on-call?month=${view.after}#month">${wording('on-call-month-after')}</a></p>
${daysOf(view.days, wording)}</section>`
}

function people(view: OnCallView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<section aria-labelledby="people"><h2 id="people">${wording('on-call-people')}</h2>
<p class="soft">${wording('on-call-people-why')}</p>
<ul class="board plain">${view.people.map(
    one =>
      html`<li><p><strong>${one.name}</strong> ${one.job}</p>
<p>${one.number === undefined ? wording('print-no-number') : html`<a class="tel" href="${telephoneAddress(one.number)}">${numberText(one.number)}</a>`}${one.ways.length === 0 ? '' : html` · ${one.ways.join(' · ')}`}</p>
${one.numberSaid === undefined ? '' : html`<p>${one.numberSaid}</p>`}
<p>${one.confirmed}</p>
${one.maySayNumber === true && one.number !== undefined ? form(frame, `/on-call/number/${one.id}`, html`<input type="hidden" name="number" value="${one.number}"><button class="small-button" aria-label="${wording('on-call-number-right-said', { name: one.name })}">${wording('on-call-number-right')}</button>`) : ''}
${one.mayTest ? form(frame, `/on-call/test/${one.id}`, html`<button class="small-button" aria-label="${wording('on-call-test-said', { name: one.name })}">${wording('on-call-test')}</button>`) : ''}</li>`,
  )}</ul></section>`
}

function lines(view: OnCallView, frame: ConsoleFrame): Html | string {
  if (view.lines.length === 0) return ''
  const { wording } = frame
  return html`<section aria-labelledby="lines"><h2 id="lines">${wording('on-call-lines')}</h2>
<ul class="board plain">${view.lines.map(
    ({ section, line, says }) =>
      html`<li><p>${says}</p>${view.mayChange ? html`<p><a href="/on-call/change/take-back?section=${section}&amp;line=${line}" aria-label="${wording('on-call-take-back-said', { label: says })}">${wording('on-call-take-back')}</a></p>` : ''}</li>`,
  )}</ul></section>`
}
