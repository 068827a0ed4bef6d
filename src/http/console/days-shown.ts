import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'

/** A day of the rota: each role, with who has it from when. Text is final. */
export interface DayShown {
  readonly title: string
  readonly isToday: boolean
  /** 1 Monday to 7 Sunday. */
  readonly weekday: number
  readonly holiday?: string
  readonly roles: readonly {
    readonly role: string
    readonly pieces: readonly {
      /** Empty: from the beginning of the day. */
      readonly from: string
      /** Left out: nobody. */
      readonly name?: string
      /** Stands there by something else than what is being looked at. */
      readonly isOther?: boolean
    }[]
  }[]
}

/** One list that is a calendar where there is room. */
export function daysOf(days: readonly DayShown[], wording: Wording): Html {
  return html`<ol class="month">${days.map(
    (day, index) =>
      html`<li${index === 0 ? html` class="start-${day.weekday}"` : ''}${day.isToday ? html` aria-current="date"` : ''}><h3>${day.title}${day.holiday === undefined ? '' : html` <span class="soft">${day.holiday}</span>`}</h3>
${day.roles.map(
  one =>
    html`<p><span class="soft">${one.role}</span> ${one.pieces.map(({ from, name, isOther = false }) => html`<span class="piece">${from === '' ? '' : html`<span class="at">${from}</span> `}${name === undefined ? html`<strong>${wording('now-nobody-short')}</strong>` : isOther ? html`<span class="soft">${wording('on-call-calendar-not-from', { name })}</span>` : name}</span> `)}</p>`,
)}</li>`,
  )}</ol>`
}
