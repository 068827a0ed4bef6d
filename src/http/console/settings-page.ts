import { html } from 'hono/html'
import type { Html } from '../../channels/web-page.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** What the clinic has decided, each with the page that changes it. Text is final. */
export interface SettingsView {
  readonly undo?: { readonly sentence: string; readonly until: string }
  readonly numbers: readonly SettingRow[]
  readonly hospitals: readonly SettingRow[]
  readonly hours: readonly SettingRow[]
  readonly kept: SettingRow
  readonly groups: readonly { readonly title: string; readonly rows: readonly SettingRow[] }[]
}

export interface SettingRow {
  readonly label: string
  readonly value: string
  /** What it decides and rests on. */
  readonly means?: string
  /** The shipped value, where the clinic has another or none of its own. */
  readonly beside?: string
  /** Address of its form; absent where this person may not change it. */
  readonly change?: string
}

export function settingsScreen(view: SettingsView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording('settings-heading')}</h1>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
${view.undo === undefined ? '' : html`<div class="state"><p>${wording('on-call-changed')} ${view.undo.sentence}</p>${form(frame, '/settings/undo', html`<button>${wording('on-call-undo', { until: view.undo.until })}</button>`)}</div>`}
<p>${wording('settings-caution')}</p>
${part('numbers', wording('settings-numbers'), view.numbers, frame)}
${part('hospitals', wording('settings-hospitals'), view.hospitals, frame)}
${part('hours', wording('settings-hours'), view.hours, frame)}
${part('kept', wording('settings-kept'), [view.kept], frame)}
${view.groups.map(({ title, rows }, index) => part(`group-${index}`, title, rows, frame))}
</main>`
}

function part(id: string, title: string, rows: readonly SettingRow[], { wording }: ConsoleFrame): Html {
  return html`<section aria-labelledby="${id}"><h2 id="${id}">${title}</h2><ul class="board plain">${rows.map(
    row =>
      html`<li><p>${row.label}: <strong>${row.value}</strong>${row.beside === undefined ? '' : html` <span class="soft">${row.beside}</span>`}</p>
${row.means === undefined ? '' : html`<p class="soft">${row.means}</p>`}
${row.change === undefined ? '' : html`<p><a href="${row.change}" aria-label="${wording('change-said', { label: row.label })}">${wording('change')}</a></p>`}</li>`,
  )}</ul></section>`
}
