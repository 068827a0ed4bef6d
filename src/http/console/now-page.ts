import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import type { Instant } from '../../time/instant.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** What is going on now, and what the night left for the day. Text is final. */
export interface NowView {
  readonly at: Instant
  readonly isNight: boolean
  /** What keeps the line from being trusted, each as a sentence. */
  readonly doubts: readonly string[]
  /** Families are told that the line is closed or reduced. */
  readonly notice?: string
  /** Who is paged first now and until when, as one sentence. */
  readonly onCall: string
  readonly rows: readonly NowRow[]
  readonly day: DayView
}

export interface NowRow {
  readonly caseId: string
  readonly code: string
  /** How urgent, in words. */
  readonly headline: string
  readonly openedAt: Instant
  /** Who is paged, who took it and what they said they would do. */
  readonly callout: string
  /** What is due next, in words. */
  readonly next?: { readonly at: Instant; readonly says: string }
  readonly marks: readonly string[]
}

/** The night that is over, or still going on, and who takes what it left. */
export interface DayView {
  /** "Saturday 28 February, 6:00 pm until 8:00 am". */
  readonly night: string
  /** The night in one line: cases, pages, who answered them. */
  readonly line: string
  readonly items: readonly DayItem[]
  /** Whom a case or note can be given to. */
  readonly takers: readonly { readonly id: string; readonly name: string }[]
  readonly signedOver?: string
}

export interface DayItem {
  readonly caseId: string
  readonly code: string
  readonly headline: string
  readonly closed: boolean
  readonly notes: readonly string[]
  /** The night is not over for it until somebody has it. */
  readonly isUrgent: boolean
  readonly taker?: string
  /** Whether its page was worth waking for; `unjudged` where nobody has said; absent where nobody was paged. */
  readonly worth?: 'yes' | 'no' | 'unjudged'
}

export function nowScreen(view: NowView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main">
<h1>${wording(view.isNight ? 'board-tonight' : 'board-now')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<div id="live">
${doubtsPart(view.doubts, frame)}
${view.notice === undefined ? '' : html`<p class="note">${view.notice} <a href="/now/notice">${wording('now-notice-change')}</a></p>`}
<p class="state"><strong>${view.onCall}</strong> <a href="/on-call">${wording('now-change-on-call')}</a></p>
<h2>${wording('now-open', { count: view.rows.length })}</h2>
${view.rows.length === 0 ? html`<p>${wording('board-no-cases')}</p>` : html`<ol class="board">${view.rows.map(row => openCase(row, view.at, frame))}</ol>`}
<p class="soft">${wording('now-as-of', { now: frame.clockText(view.at) })}</p>
</div>
<form method="get" action="/now"><button class="small-button">${wording('board-refresh')}</button></form>
<p id="sound" hidden><label class="tick"><input type="checkbox" id="chime"><span>${wording('now-chime')}</span></label></p>
${view.isNight ? html`<details><summary>${wording('day-heading')}</summary>${dayPart(view.day, frame)}</details>` : dayPart(view.day, frame)}
<section aria-labelledby="more"><h2 id="more">${wording('now-more')}</h2>
<p><a class="button" href="/now/print">${wording('now-print')}</a></p>
<p><a class="button" href="/now/notice">${wording('now-notice')}</a></p></section>
</main>`
}

/** Earliest due first; what has nothing due comes after what has, the oldest first. */
export function bySoonest(rows: readonly NowRow[]): readonly NowRow[] {
  const dueOf = ({ next }: NowRow): number => next?.at ?? Number.MAX_SAFE_INTEGER
  return rows.toSorted((a, b) => dueOf(a) - dueOf(b) || a.openedAt - b.openedAt)
}

export function doubtsPart(doubts: readonly string[], { wording }: Pick<ConsoleFrame, 'wording'>): Html | string {
  if (doubts.length === 0) return ''
  return html`<div role="alert"><p><strong>${wording('doubt-heading')}</strong></p><ul class="marks">${doubts.map(doubt => html`<li>${doubt}</li>`)}</ul></div>`
}

function openCase(row: NowRow, at: Instant, frame: ConsoleFrame): Html {
  const { wording, clockText } = frame
  const open = `/now/open/${row.caseId}`
  return html`<li data-code="${row.code}"><p><a class="button" href="${open}"><strong>${row.code}</strong> ${row.headline}</a></p>
${row.next === undefined ? '' : html`<p><strong>${row.next.says}</strong> · <span class="due" data-due="${row.next.at}">${untilText(row.next.at, at, wording)}</span></p>`}
<p>${row.callout}. <span class="soft">${wording('now-since', { now: clockText(row.openedAt) })}</span></p>
${row.marks.length === 0 ? '' : html`<ul class="marks" aria-label="${wording('clinic-marks')}">${row.marks.map(mark => html`<li>${mark}</li>`)}</ul>`}
<p class="ways"><a href="${open}?to=told" aria-label="${wording('now-talk-said', { code: row.code })}">${wording('now-talk')}</a> <a href="${open}?to=write" aria-label="${wording('now-write-said', { code: row.code })}">${wording('now-write')}</a> <a href="${open}?to=outcome" aria-label="${wording('now-outcome-said', { code: row.code })}">${wording('now-outcome')}</a></p></li>`
}

/** "in 3 min", "2 min over", as of an instant; whole minutes, up to 90. */
export function untilText(due: Instant, at: Instant, wording: Wording): string {
  const minutes = Math.round((due - at) / 60_000)
  const [count, unit] =
    Math.abs(minutes) <= 90 ? [Math.abs(minutes), 'minutes'] : [Math.round(Math.abs(minutes) / 60), 'hours']
  return wording(minutes >= 0 ? `now-in-${unit}` : `now-over-${unit}`, { count })
}

/** The morning: every case of the night and every note gets somebody's name. */
function dayPart(day: DayView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const left = day.items.filter(({ taker }) => taker === undefined)
  return html`<section aria-labelledby="day"><h2 id="day">${wording('day-heading')}</h2>
<p class="soft">${day.night}</p>
<p>${day.line}</p>
${day.items.length === 0 ? html`<p>${wording('day-nothing')}</p>` : html`<p><strong>${wording('day-left', { count: left.length })}</strong></p><ol class="board">${day.items.map(item => dayItem(item, day, frame))}</ol>`}
${day.signedOver === undefined ? '' : html`<p class="state">${day.signedOver}</p>`}
${form(frame, '/now/sign-over', html`<button>${wording('day-sign-over')}</button>`)}</section>`
}

function dayItem(item: DayItem, day: DayView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const field = `taker-${item.caseId}`
  return html`<li><p><a href="/now/open/${item.caseId}"><strong>${item.code}</strong> ${item.headline}</a>${item.closed ? html` · ${wording('board-closed')}` : ''}</p>
${item.notes.length === 0 ? '' : html`<ul class="lines">${item.notes.map(note => html`<li>${note}</li>`)}</ul>`}
<p>${item.taker === undefined ? html`<strong>${wording(item.isUrgent ? 'day-nobody-urgent' : 'day-nobody')}</strong>` : wording('day-taken-by', { name: item.taker })}</p>
${form(
  frame,
  `/now/day/${item.caseId}`,
  html`<label for="${field}">${wording('day-who', { code: item.code })}</label><select id="${field}" name="taker" required><option value="">${wording('clinic-choose-one')}</option>${day.takers.map(({ id, name }) => html`<option value="${id}">${name}</option>`)}</select><button class="small-button">${wording(item.taker === undefined ? 'day-give' : 'day-give-again')}</button>`,
)}
${worthPart(item, frame)}</li>`
}

/** Whether it was worth waking for: one press. */
function worthPart({ caseId, code, worth }: DayItem, frame: ConsoleFrame): Html | string {
  if (worth === undefined) return ''
  const { wording } = frame
  const press = (value: 'yes' | 'no') =>
    html`<button class="small-button" name="worth" value="${value}" aria-label="${wording(`day-worth-${value}-said`, { code })}">${wording(`day-worth-${value}`)}</button>`
  return html`<p>${wording(`day-worth-is-${worth}`)}</p>${form(frame, `/now/worth/${caseId}`, html`${worth === 'yes' ? '' : press('yes')}${worth === 'no' ? '' : press('no')}`)}`
}
