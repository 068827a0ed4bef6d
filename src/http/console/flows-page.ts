import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import { type ConsoleFrame, form } from './frame.ts'

/** One part that clinicians approve: a flow, or the words and settings beside the flows. Text is final. */
export interface PartRow {
  readonly id: string
  readonly title: string
  /** Whether two clinicians have approved exactly this, and who, as one sentence. */
  readonly standing: string
  readonly isApproved: boolean
}

export interface PartView extends PartRow {
  /** 64 hexadecimal digits: what is approved is this and nothing else. */
  readonly hash: string
  readonly languages: readonly { readonly id: string; readonly name: string }[]
  /** Sheets of its picture; none where there is no picture. */
  readonly sheets: number
  /** What the checker says of it as it stands. */
  readonly checked: readonly string[]
  /** What is another than the last approval had; undefined where nothing of it was approved before. */
  readonly since?: { readonly who: string; readonly changes: readonly ContentChangeSaid[] }
  /** Conversations that would now go differently; undefined where nothing is held against anything. */
  readonly different?: DifferentSaid
  readonly mayApprove: boolean
  readonly mayWithdraw: boolean
}

export interface DifferentSaid {
  /** It is being worked out: looking again later shows more. */
  readonly isUnderWay?: boolean
  /** What was held against what, and what came of it, one sentence each. */
  readonly says: readonly string[]
  /** Lowered first. */
  readonly rows: readonly DifferentRow[]
}

/** One situation that goes differently, with what it came to, one line each. */
export interface DifferentRow {
  readonly id: string
  readonly title: string
  readonly isLowered: boolean
  readonly was: readonly string[]
  readonly is: readonly string[]
}

/** Both conversations of a situation, word for word. */
export interface ConversationSaid extends DifferentRow {
  readonly part: string
  readonly wasLines: readonly SaidLine[]
  readonly isLines: readonly SaidLine[]
}

export interface SaidLine {
  readonly text: string
  readonly isFamily: boolean
  /** Not a line of the other conversation. */
  readonly isOwn: boolean
}

/** The words of a part in one language, each with what it makes a family do and what it rests on: one page to print. */
export interface PartWords {
  readonly id: string
  readonly title: string
  readonly hash: string
  readonly words: WordsOf
  /** Its language, by name. */
  readonly called: string
  readonly sources: readonly { readonly id: string; readonly says: string }[]
}

export interface ContentChangeSaid {
  readonly path: string
  readonly before?: string
  readonly after?: string
}

export interface WordsOf {
  readonly language: string
  readonly advice: readonly {
    readonly id: string
    readonly text: string
    readonly does: string
    readonly basis?: string
  }[]
  readonly others: readonly { readonly id: string; readonly text: string }[]
}

export function flowsScreen(rows: readonly PartRow[], frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${wording('flows-heading')}</h1>
<p>${wording('flows-caution')}</p>
<ul class="board plain">${rows.map(
    row =>
      html`<li><p><a class="button long" href="/flows/${row.id}"><strong>${row.title}</strong></a></p><p>${row.isApproved ? '' : html`<strong>${wording('flows-not-approved')}</strong> `}${row.standing}</p></li>`,
  )}</ul></main>`
}

export function partScreen(view: PartView, frame: ConsoleFrame): Html {
  const { wording } = frame
  return html`<main id="main"><h1>${view.title}</h1>
<p class="soft">${view.id}</p>
${frame.note === undefined ? '' : html`<p class="note" role="alert">${frame.note}</p>`}
<p class="state">${view.isApproved ? '' : html`<strong>${wording('flows-not-approved')}</strong> `}${view.standing}</p>
<p class="soft">${wording('flows-hash', { code: view.hash.slice(0, 12) })}</p>
<p class="ways"><a href="#since">${wording('flows-since')}</a> ${view.different === undefined ? '' : html`<a href="#different">${wording('flows-different')}</a> `}<a href="#checked">${wording('flows-checked')}</a> ${view.mayApprove ? html`<a href="#approve">${wording('flows-approve')}</a>` : ''}</p>
<section aria-labelledby="words"><h2 id="words">${wording('flows-words')}</h2>${
    view.languages.length === 0
      ? html`<p><a class="button" href="/flows/${view.id}/words/en">${wording('flows-values')}</a></p>`
      : view.languages.map(
          ({ id, name }) =>
            html`<p><a class="button" href="/flows/${view.id}/words/${id}">${wording('flows-advice-in', { label: name })}</a></p>`,
        )
  }</section>
${pictures(view, frame)}
<section aria-labelledby="checked"><h2 id="checked">${wording('flows-checked')}</h2><ul class="lines">${view.checked.map(line => html`<li>${line}</li>`)}</ul></section>
${different(view, frame)}
${since(view, frame)}
${approving(view, frame)}
</main>`
}

function pictures({ id, sheets }: PartView, { wording }: ConsoleFrame): Html | string {
  if (sheets === 0) return ''
  const all = Array.from({ length: sheets }, (_one, index) => index + 1)
  return html`<section aria-labelledby="pictures" class="screen-only"><h2 id="pictures">${wording('flows-picture')}</h2>
<p class="soft">${wording('flows-picture-how')}</p>
${all.map(number => html`<p><a href="/flows/${id}/picture/${number}"><img class="sheet" loading="lazy" src="/flows/${id}/picture/${number}" alt="${wording('flows-sheet', { count: number })}"></a></p>`)}</section>`
}

function since({ since: last }: PartView, { wording }: ConsoleFrame): Html {
  const heading = html`<h2 id="since">${wording('flows-since')}</h2>`
  if (last === undefined)
    return html`<section aria-labelledby="since">${heading}<p>${wording('flows-never')}</p></section>`
  return html`<section aria-labelledby="since">${heading}<p>${wording('flows-since-who', { name: last.who, count: last.changes.length })}</p>
<ul class="board plain">${last.changes.map(
    ({ path, before, after }) =>
      html`<li><p><strong>${path}</strong></p>${before === undefined ? '' : html`<p>${wording('flows-was')} <del>${before}</del></p>`}${after === undefined ? html`<p>${wording('flows-gone')}</p>` : html`<p>${wording('flows-is')} <ins>${after}</ins></p>`}</li>`,
  )}</ul></section>`
}

function different({ id, different: found }: PartView, { wording }: ConsoleFrame): Html | string {
  if (found === undefined) return ''
  return html`<section aria-labelledby="different"><h2 id="different">${wording('flows-different')}</h2>
${found.says.map(line => html`<p>${line}</p>`)}${found.isUnderWay === true ? html`<p><a class="button" href="/flows/${id}?look=again#different">${wording('flows-different-look')}</a></p>` : ''}
<ul class="board plain">${found.rows.map(
    row =>
      html`<li><p>${row.isLowered ? html`<strong>${wording('flows-different-lowered')}</strong> ` : ''}<a href="/flows/${id}/conversations/${row.id}">${row.title}</a></p>${beside(row, wording)}</li>`,
  )}</ul></section>`
}

const beside = ({ was, is }: DifferentRow, wording: Wording): Html =>
  html`<div class="beside"><div><p class="soft">${wording('flows-was')}</p><ul class="lines">${was.map(line => html`<li>${line}</li>`)}</ul></div><div><p class="soft">${wording('flows-is')}</p><ul class="lines">${is.map(line => html`<li>${line}</li>`)}</ul></div></div>`

/** Both conversations, word for word; what only one of them says is marked. */
export function conversationScreen(
  { part, title, isLowered, wasLines, isLines, ...row }: ConversationSaid,
  { wording }: Pick<ConsoleFrame, 'wording'>,
): Html {
  const lines = (all: readonly SaidLine[]) =>
    all.map(
      ({ text, isFamily, isOwn }) =>
        html`<div class="said"><p class="who">${wording(isFamily ? 'flows-family' : 'speaker-bot')}</p><p${isOwn ? html` class="own"` : ''}>${isOwn ? html`<mark>${text}</mark>` : text}</p></div>`,
    )
  return html`<main id="main" class="wide"><h1>${title}</h1>
<p>${isLowered ? html`<strong>${wording('flows-different-lowered')}</strong> ` : ''}<span class="soft">${row.id}</span></p>
<p class="screen-only"><a class="button" href="/flows/${part}#different">${wording('flows-back')}</a></p>
${beside({ title, isLowered, ...row }, wording)}
<div class="beside"><section aria-labelledby="was"><h2 id="was">${wording('flows-different-was')}</h2>${lines(wasLines)}</section>
<section aria-labelledby="is"><h2 id="is">${wording('flows-different-is')}</h2>${lines(isLines)}</section></div></main>`
}

function approving(view: PartView, frame: ConsoleFrame): Html | string {
  const { wording } = frame
  if (!view.mayApprove && !view.mayWithdraw) return ''
  return html`<section aria-labelledby="approve" class="screen-only"><h2 id="approve">${wording('flows-approve')}</h2>
${
  view.mayApprove
    ? form(
        frame,
        `/flows/${view.id}/approve`,
        html`<p>${wording('flows-approve-means')}</p><input type="hidden" name="hash" value="${view.hash}">
${view.languages.length === 0 ? '' : html`<fieldset><legend>${wording('flows-read-in')}</legend>${view.languages.map(({ id, name }) => html`<label class="tick"><input type="checkbox" name="language" value="${id}"><span>${name}</span></label>`)}</fieldset>`}
<button class="main-button">${wording('flows-approve-do')}</button>`,
      )
    : ''
}
${
  view.mayWithdraw
    ? html`<details><summary>${wording('flows-withdraw')}</summary>${form(frame, `/flows/${view.id}/withdraw`, html`<label for="why">${wording('flows-withdraw-why')}</label><textarea id="why" name="why" rows="2" required></textarea><button>${wording('flows-withdraw-do')}</button>`)}</details>`
    : ''
}</section>`
}

export function wordsScreen(
  { id, title, hash, words, called, sources }: PartWords,
  { wording }: Pick<ConsoleFrame, 'wording'>,
): Html {
  const { language, advice, others } = words
  return html`<main id="main"><h1>${title}: ${wording('flows-words')}</h1>
<p class="soft">${id}</p>
<p class="soft">${wording('flows-hash', { code: hash.slice(0, 12) })}</p>
<p class="screen-only"><a class="button" href="/flows/${id}">${wording('flows-back')}</a></p>
<p class="soft screen-only">${wording('flows-print')}</p>
${
  advice.length === 0
    ? ''
    : html`<h2>${wording('flows-advice-in', { label: called })}</h2>
<ul class="board plain">${advice.map(one => html`<li><p lang="${language}">${one.text}</p><p class="soft">${one.id} · ${one.does}${one.basis === undefined ? '' : html` · ${one.basis}`}</p></li>`)}</ul>`
}
<h2>${wording('flows-others-in', { label: called })}</h2><ul class="lines" lang="${language}">${others.map(one => html`<li>${one.text} <span class="soft">${one.id}</span></li>`)}</ul>
${sources.length === 0 ? '' : html`<h2>${wording('flows-sources')}</h2><ul class="lines">${sources.map(one => html`<li>${one.id}: ${one.says}</li>`)}</ul>`}
</main>`
}
