import { html } from 'hono/html'
import type { Html } from '../../channels/web-page.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** Who did what at the clinic's side, latest first. Text is final. */
export interface TrailView {
  /** Whether every line is as it was written, and what is wrong with it where not. */
  readonly verified: { readonly isWhole: boolean; readonly says: readonly string[] }
  /** The end of the trail, to be noted elsewhere: `LINE:HASH`. */
  readonly head?: string
  readonly people: readonly Choice[]
  readonly deeds: readonly Choice[]
  readonly asked: TrailAsked
  readonly rows: readonly TrailRow[]
  /** Address of the lines before these; absent where there are none. */
  readonly earlier?: string
}

export interface TrailAsked {
  readonly who: string
  readonly did: string
}

interface Choice {
  readonly value: string
  readonly label: string
}

export interface TrailRow {
  readonly line: number
  readonly when: string
  readonly who: string
  readonly did: string
  readonly on: string
  /** What it was before and is after; absent where there is nothing to say. */
  readonly change?: string
}

export function trailScreen(view: TrailView, frame: ConsoleFrame): Html {
  const { wording } = frame
  const { verified, asked } = view
  return html`<main id="main" class="wide"><h1>${wording('trail-heading')}</h1>
<p class="soft">${wording('trail-means')}</p>
<div${verified.isWhole ? '' : html` role="alert"`} class="state">${verified.says.map(line => html`<p>${verified.isWhole ? line : html`<strong>${line}</strong>`}</p>`)}
${view.head === undefined ? '' : html`<p class="soft">${wording('trail-end')} <code>${view.head}</code></p>`}</div>
<form method="get" action="/trail">${choose('who', view.people, asked.who, frame)}${choose('did', view.deeds, asked.did, frame)}<button>${wording('trail-show')}</button></form>
${view.rows.length === 0 ? html`<p>${wording('trail-none')}</p>` : html`<ol class="board plain">${view.rows.map(one => row(one))}</ol>`}
${view.earlier === undefined ? '' : html`<p><a class="button" href="${view.earlier}">${wording('trail-earlier')}</a></p>`}
<section aria-labelledby="export" class="screen-only"><h2 id="export">${wording('trail-export')}</h2><p>${wording('trail-export-means')}</p>
${form(frame, '/trail/export', html`<button>${wording('trail-export-do')}</button>`)}</section></main>`
}

function choose(name: 'who' | 'did', choices: readonly Choice[], chosen: string, { wording }: ConsoleFrame): Html {
  return html`<label for="${name}">${wording(`trail-${name}`)}</label><select id="${name}" name="${name}"><option value="">${wording('trail-all')}</option>${choices.map(({ value, label }) => html`<option value="${value}"${value === chosen ? html` selected` : ''}>${label}</option>`)}</select>`
}

const row = ({ line, when, who, did, on, change }: TrailRow): Html =>
  html`<li><p><span class="soft">${line} · ${when}</span><br><strong>${who}</strong> ${did} ${on}${change === undefined ? '' : html`<br><span class="soft">${change}</span>`}</p></li>`
