import { html } from 'hono/html'
import type { Html } from '../../channels/web-page.ts'
import { type Choice, daysList } from './change-page.ts'
import type { DayShown } from './days-shown.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** Calendars of the rota: which role follows which, how it goes with them, and taking in another. Text is final. */
export interface CalendarsView {
  readonly calendars: readonly CalendarRow[]
  /** Roles a calendar can fill. */
  readonly roles: readonly Choice[]
  readonly mayChange: boolean
}

export interface CalendarRow {
  readonly role: string
  readonly name: string
  /** Where it comes from, when it was read, until when its shifts go. */
  readonly says: readonly string[]
  /** Why it is not taken as it is now, since when, and what to do. */
  readonly trouble?: string
  /** Looked at again and again. */
  readonly isLive: boolean
}

/** A calendar that cannot be saved yet: events that are nobody's shift. */
export interface CalendarTrouble {
  readonly draft: string
  readonly days: readonly DayShown[]
  readonly events: readonly {
    readonly says: string
    readonly why: string
    /** The title by which events like it can be passed over. */
    readonly title?: string
  }[]
  /** Events that are not listed. */
  readonly more: number
}

/** Events told one by one, at most. */
export const EVENTS_MOST = 30

export function calendarsScreen(
  view: CalendarsView,
  given: Readonly<Record<string, string>>,
  frame: ConsoleFrame,
): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording('on-call-calendar-heading')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<p>${wording('on-call-calendar-means')}</p>
${view.calendars.length === 0 ? html`<p>${wording('on-call-calendar-none')}</p>` : html`<ul class="board plain">${view.calendars.map(one => row(one, view.mayChange, frame))}</ul>`}
${view.mayChange ? giveForm(view, given, frame) : ''}
<p><a class="button" href="/on-call">${wording('pattern-back')}</a></p></main>`
}

function row({ role, name, says, trouble, isLive }: CalendarRow, mayChange: boolean, frame: ConsoleFrame): Html {
  const { wording } = frame
  const way = (kind: 'stop' | 'out') =>
    html`<a href="/on-call/change/calendar-${kind}?role=${role}" aria-label="${wording(`on-call-calendar-${kind}-said`, { role: name })}">${wording(`on-call-calendar-${kind}-short`)}</a>`
  const press = (act: 'refresh' | 'again') =>
    html`<button class="small-button" name="act" value="${act}" aria-label="${wording(`on-call-calendar-${act}-said`, { role: name })}">${wording(`on-call-calendar-${act}`)}</button>`
  return html`<li><p><strong>${name}</strong></p>${says.map(line => html`<p>${line}</p>`)}${trouble === undefined ? '' : html`<p role="status">${trouble}</p>`}
${mayChange && isLive ? form(frame, '/on-call/calendar/live', html`<input type="hidden" name="role" value="${role}">${press('refresh')}${trouble === undefined ? '' : press('again')}`) : ''}
${mayChange ? html`<p class="ways">${isLive ? way('stop') : ''} ${way('out')}</p>` : ''}</li>`
}

function giveForm(
  { roles }: CalendarsView,
  given: Readonly<Record<string, string>>,
  { wording, formNonce }: ConsoleFrame,
): Html {
  const chosen = given.role ?? (roles.length === 1 ? roles[0]?.value : '')
  return html`<section aria-labelledby="give"><h2 id="give">${wording('on-call-calendar-give')}</h2>
<form method="post" action="/on-call/calendar" enctype="multipart/form-data"><input type="hidden" name="nonce" value="${formNonce}">
<label for="role">${wording('on-call-calendar-role')}</label><select id="role" name="role" required><option value="">${wording('clinic-choose-one')}</option>${roles.map(({ value, label }) => html`<option value="${value}"${value === chosen ? html` selected` : ''}>${label}</option>`)}</select>
<p>${wording('on-call-calendar-one-of')}</p>
<label for="address">${wording('on-call-calendar-address')}</label><input id="address" name="address" type="text" inputmode="url" maxlength="2000" autocomplete="off" spellcheck="false" value="${given.address ?? ''}">
<label for="file">${wording('on-call-calendar-file')}</label><input id="file" name="file" type="file" accept=".ics,text/calendar">
<label for="text">${wording('on-call-calendar-text')}</label><textarea id="text" name="text" rows="4" spellcheck="false">${given.text ?? ''}</textarea>
<button class="main-button">${wording('on-call-calendar-look')}</button></form></section>`
}

export function calendarTroubleScreen(trouble: CalendarTrouble, frame: ConsoleFrame): Html {
  const { wording } = frame
  const { events, more, days, draft } = trouble
  const isAnyTitled = events.some(({ title }) => title !== undefined)
  return html`<main id="main"><h1>${wording('on-call-calendar-trouble')}</h1>
<p role="alert">${wording('on-call-calendar-trouble-means')}</p>
${form(
  frame,
  '/on-call/calendar/ignore',
  html`<input type="hidden" name="draft" value="${draft}"><ul class="board plain">${events.map(
    ({ says, why, title }) =>
      html`<li><p><strong>${says}</strong></p><p>${why}</p>${title === undefined ? '' : html`<label class="tick"><input type="checkbox" name="ignore" value="${title}"><span>${wording('on-call-calendar-no-shift', { label: title })}</span></label>`}</li>`,
  )}</ul>${more === 0 ? '' : html`<p>${wording('on-call-calendar-more', { count: more })}</p>`}
${isAnyTitled ? html`<button class="main-button">${wording('on-call-calendar-ignore')}</button>` : ''}`,
)}
<p><a class="button" href="/on-call/calendar">${wording('on-call-calendar-another')}</a></p>
${daysList(days, wording)}</main>`
}
