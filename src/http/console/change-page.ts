import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import { type DayShown, daysOf } from './days-shown.ts'
import { type ConsoleFrame, form } from './frame.ts'
import { VALUE_FIELDS, type ValueField, valueField } from './value-field.ts'

/** What can be changed on a page: who is on call, and the clinic's other settings. */
export type ChangeKind =
  | 'cover'
  | 'swap'
  | 'leave'
  | 'number'
  | 'take-back'
  | 'weekly'
  | 'rung'
  | 'rung-new'
  | 'shift-new'
  | 'shift-out'
  | 'role-new'
  | 'calendar'
  | 'calendar-stop'
  | 'calendar-out'
  | 'setting'
  | 'families-number'
  | 'hospital'
  | 'hours'
  | 'date'
  | 'retention'

/** The form of one change, filled as it was left. */
export interface ChangeForm {
  readonly kind: ChangeKind
  /** Hash of the clinic's file as whoever changes it saw it. */
  readonly seen: string
  readonly people: readonly Choice[]
  readonly roles: readonly Choice[]
  /** Whom a rung may name: a role, a person or a desk. */
  readonly rungs?: readonly Choice[]
  /** Shifts to come that can be swapped. */
  readonly shifts: readonly Choice[]
  readonly values: Readonly<Record<string, string>>
  /** Days of the week and holidays, for a shift that comes back. */
  readonly days?: readonly Choice[]
  /** How the value is asked for; left out: as the file writes it. */
  readonly value?: ValueField
  /** What there is to know before it is changed. */
  readonly notes?: readonly string[]
}

export interface Choice {
  readonly value: string
  readonly label: string
}

/** A change before it is saved: one sentence, and what it means for open cases. */
export interface ChangePreview {
  readonly kind: ChangeKind
  readonly seen: string
  readonly values: Readonly<Record<string, string>>
  readonly sentence: string
  /** Holes and doubts it brings, each as a sentence. */
  readonly brings: readonly string[]
  /** Of a calendar: what it would bring. */
  readonly calendar?: CalendarPreview
  /** Open cases that page somebody now: each is asked about. */
  readonly cases: readonly { readonly caseId: string; readonly code: string; readonly says: string }[]
}

/** What a calendar would bring, before it is saved. Text is final. */
export interface CalendarPreview {
  readonly days: readonly DayShown[]
  /** What to know of how it was read. */
  readonly notes: readonly string[]
  /** Hours of the coming 90 days that would still be nobody's. */
  readonly gaps: readonly string[]
}

/** Changes without a form: a press leads to the sentence. */
export const WITHOUT_FORM: ReadonlySet<ChangeKind> = new Set([
  ...(['take-back', 'rung', 'shift-out', 'calendar', 'calendar-stop', 'calendar-out'] as const),
])

/** Names of the fields of a form, by what it changes. */
export const FIELDS: Readonly<Record<ChangeKind, readonly string[]>> = {
  cover: ['role', 'who', 'from', 'until', 'why'],
  swap: ['shift', 'to', 'in-return', 'why'],
  leave: ['who', 'from', 'until', 'why'],
  number: ['who', 'number'],
  'take-back': ['section', 'line'],
  weekly: ['role', 'day', 'index', 'who', 'starts', 'ends'],
  rung: ['rung', 'act'],
  'rung-new': ['names', 'when', 'when-from', 'when-until'],
  'shift-new': ['role', 'day', 'who', 'starts', 'ends'],
  'shift-out': ['role', 'day', 'index'],
  'role-new': ['name', 'who', 'starts', 'ends'],
  calendar: ['draft'],
  'calendar-stop': ['role'],
  'calendar-out': ['role'],
  setting: ['id', ...VALUE_FIELDS],
  'families-number': ['which', 'number'],
  hospital: ['id', 'number'],
  hours: ['day', ...VALUE_FIELDS],
  date: ['date', ...VALUE_FIELDS],
  retention: VALUE_FIELDS,
}

export function changeScreen(change: ChangeForm, page: string, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording(`on-call-${change.kind}`)}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
${WITHOUT_FORM.has(change.kind) ? '' : changeFields(change, page, frame)}
${change.kind === 'calendar' ? html`<p><a class="button" href="${page}/calendar">${wording('on-call-calendar-another')}</a></p>` : ''}
<p><a class="button" href="${page}">${wording('on-call-back')}</a></p></main>`
}

const changeFields = (change: ChangeForm, page: string, frame: ConsoleFrame): Html =>
  form(
    frame,
    `${page}/change/${change.kind}`,
    html`<input type="hidden" name="seen" value="${change.seen}">${(change.notes ?? []).map(note => html`<p>${note}</p>`)}${fieldsOf(change, frame.wording)}<button class="main-button">${frame.wording('on-call-look')}</button>`,
  )

function fieldsOf(change: ChangeForm, wording: Wording): Html {
  const { kind, people, roles, shifts, rungs = [], days = [], values } = change
  const asked = change.value === undefined ? text('value', values, wording, true) : valueField(change.value, wording)
  const who = choose('who', people, values, wording)
  const times = html`${time('from', values, wording)}${time('until', values, wording)}`
  switch (kind) {
    case 'cover':
      return html`${who}${times}${choose('role', roles, values, wording)}${text('why', values, wording)}`
    case 'swap':
      return html`${choose('shift', shifts, values, wording)}${choose('to', people, values, wording)}${choose('in-return', shifts, values, wording, false)}${text('why', values, wording)}`
    case 'leave':
      return html`${who}${times}${text('why', values, wording)}`
    case 'number':
      return html`${who}${telephone(values, wording)}`
    case 'setting':
      return html`${hidden('id', values)}${asked}`
    case 'families-number':
      return html`${hidden('which', values)}${telephone(values, wording)}`
    case 'hospital':
      return html`${hidden('id', values)}${telephone(values, wording)}`
    case 'hours':
      return html`${hidden('day', values)}${asked}`
    case 'date':
      return html`<label for="date">${wording('on-call-field-date')}</label><input id="date" name="date" type="date" required value="${values.date ?? ''}">${asked}`
    case 'retention':
      return asked
    case 'weekly':
      return html`${hidden('role', values)}${hidden('day', values)}${hidden('index', values)}${who}${clock('starts', values, wording)}${clock('ends', values, wording)}`
    case 'rung-new':
      return html`${choose('names', rungs, values, wording)}${choose('when', RUNG_TIMES(wording), values, wording)}<fieldset><legend>${wording('rung-when-hours')}</legend>${clock('when-from', values, wording, false)}${clock('when-until', values, wording, false)}</fieldset>`
    case 'shift-new':
      return html`${choose('role', roles, values, wording)}${choose('day', days, values, wording)}${who}${clock('starts', values, wording)}${clock('ends', values, wording)}`
    case 'role-new':
      return html`${text('name', values, wording, true)}${who}${clock('starts', values, wording)}${clock('ends', values, wording)}`
    case 'calendar':
    case 'calendar-stop':
    case 'calendar-out':
    case 'rung':
    case 'shift-out':
    case 'take-back':
      return html``
  }
}

function choose(
  name: string,
  choices: readonly Choice[],
  values: ChangeForm['values'],
  wording: Wording,
  isRequired = true,
): Html {
  return html`<label for="${name}">${wording(`on-call-field-${name}`)}</label><select id="${name}" name="${name}"${isRequired ? html` required` : ''}><option value="">${wording(isRequired ? 'clinic-choose-one' : 'on-call-nothing-in-return')}</option>${choices.map(({ value, label }) => html`<option value="${value}"${value === values[name] ? html` selected` : ''}>${label}</option>`)}</select>`
}

function time(name: string, values: ChangeForm['values'], wording: Wording): Html {
  return html`<label for="${name}">${wording(`on-call-field-${name}`)}</label><input id="${name}" name="${name}" type="datetime-local" required value="${values[name] ?? ''}">`
}

/** When a rung is used, as the clinic's file writes it; `between` takes the two times beside it. */
const RUNG_TIMES = (wording: Wording): readonly Choice[] =>
  ['always', 'open', 'closed', 'between'].map(value => ({ value, label: wording(`rung-when-${value}`) }))

function clock(name: string, values: ChangeForm['values'], wording: Wording, isRequired = true): Html {
  return html`<label for="${name}">${wording(`on-call-field-${name}`)}</label><input id="${name}" name="${name}" type="time"${isRequired ? html` required` : ''} value="${values[name] ?? ''}">`
}

const hidden = (name: string, values: ChangeForm['values']): Html =>
  html`<input type="hidden" name="${name}" value="${values[name] ?? ''}">`

function telephone(values: ChangeForm['values'], wording: Wording): Html {
  return html`<label for="number">${wording('on-call-field-number')}</label><input id="number" name="number" type="tel" autocomplete="off" required value="${values.number ?? ''}">`
}

function text(name: string, values: ChangeForm['values'], wording: Wording, isRequired = false): Html {
  return html`<label for="${name}">${wording(`on-call-field-${name}`)}</label><input id="${name}" name="${name}" type="text" maxlength="100" autocomplete="off"${isRequired ? html` required` : ''} value="${values[name] ?? ''}">`
}

export function previewScreen(preview: ChangePreview, page: string, frame: ConsoleFrame): Html {
  const { wording } = frame
  const kept = FIELDS[preview.kind].flatMap(name =>
    preview.values[name] === undefined ? [] : [hidden(name, preview.values)],
  )
  const back = new URLSearchParams(Object.entries(preview.values).filter(([, value]) => value !== ''))
  return html`<main id="main"><h1>${wording('on-call-preview')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<p class="state" id="sentence"><strong>${preview.sentence}</strong></p>
${preview.calendar === undefined ? '' : calendarPart(preview.calendar, wording)}
${preview.brings.length === 0 ? '' : html`<div role="alert"><p>${wording('on-call-brings')}</p><ul class="lines">${preview.brings.map(says => html`<li>${says}</li>`)}</ul></div>`}
${form(
  frame,
  `${page}/change/${preview.kind}`,
  html`<input type="hidden" name="seen" value="${preview.seen}">${kept}
${preview.cases.length === 0 ? html`<p>${wording('on-call-no-cases')}</p>` : html`<fieldset><legend>${wording('on-call-cases')}</legend>${preview.cases.map(({ caseId, code, says }) => html`<label class="tick"><input type="checkbox" name="case" value="${caseId}" checked><span><strong>${code}</strong> ${says}</span></label>`)}</fieldset>`}
<button class="main-button" name="save" value="yes">${wording('on-call-save')}</button>`,
)}
${WITHOUT_FORM.has(preview.kind) ? '' : html`<p><a class="button" href="${page}/change/${preview.kind}?${back.toString()}">${wording('on-call-not-so')}</a></p>`}
${preview.calendar === undefined ? '' : html`<p><a class="button" href="${page}/calendar">${wording('on-call-calendar-another')}</a></p>`}
<p><a class="button" href="${page}">${wording('on-call-back')}</a></p></main>`
}

function calendarPart({ days, notes, gaps }: CalendarPreview, wording: Wording): Html {
  return html`${daysList(days, wording)}
${notes.map(note => html`<p>${note}</p>`)}
<section aria-labelledby="gaps"><h2 id="gaps">${wording('on-call-calendar-gaps')}</h2>
${gaps.length === 0 ? html`<p>${wording('on-call-nothing-wrong')}</p>` : html`<ul class="lines">${gaps.map(says => html`<li>${says}</li>`)}</ul>`}</section>`
}

/** The coming days as a calendar would have them. */
export const daysList = (days: readonly DayShown[], wording: Wording): Html =>
  html`<section aria-labelledby="days"><h2 id="days">${wording('on-call-calendar-days')}</h2>${daysOf(days, wording)}</section>`
