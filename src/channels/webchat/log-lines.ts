import { html, raw } from 'hono/html'
import type { Drawing, Part } from '../../case/message.ts'
import type { LogLine } from '../../case/view.ts'
import { type FamilyFoot, type Html, type Wording, withNumbers, wordsShown } from '../web-page.ts'
import type { FamilyClock, FamilyLog } from './family-log.ts'

/** What lines are drawn with. */
export interface LineFrame {
  readonly wording: Wording
  readonly clock: Pick<FamilyClock, 'text' | 'day'>
  readonly foot: FamilyFoot
  /** The SVG of a drawing, where there is one. */
  readonly drawing?: (id: string) => string | undefined
  /** Nonce of this page's forms. */
  readonly tapNonce: string
}

/** The log: one column, times in the margin, the speaker in words, advice as numbered lines set apart. */
export function logLines(log: FamilyLog, frame: LineFrame): readonly Html[] {
  const changes = changesByLine(log)
  const shown: Html[] = []
  let day: string | undefined
  log.lines.forEach((line, i) => {
    const lineDay = frame.clock.day(line.at)
    if (day !== undefined && lineDay !== day) shown.push(html`<h2 class="day" data-key="day-${i}">${lineDay}</h2>`)
    day = lineDay
    const isLast = i === log.lines.length - 1
    shown.push(lineOf(line, { ...frame, key: `line-${i}`, isLast, open: log.question?.serial, change: changes.get(i) }))
  })
  return shown
}

type Changeable = FamilyLog['changeable'][number]

/** Which family line holds the answer on record to a question: the last line said while that question was open. */
function changesByLine(log: FamilyLog): ReadonlyMap<number, Changeable> {
  const lineByFact = new Map<string, number>()
  let asked: string | undefined
  log.lines.forEach((line, i) => {
    for (const part of line.parts) if (part.kind === 'question') asked = part.fact
    if (line.speaker.kind === 'family' && asked !== undefined) {
      lineByFact.set(asked, i)
      asked = undefined
    }
  })
  const found = new Map<number, Changeable>()
  for (const changeable of log.changeable) {
    const line = lineByFact.get(changeable.fact)
    if (line !== undefined) found.set(line, changeable)
  }
  return found
}

interface OneLine extends LineFrame {
  readonly key: string
  readonly isLast: boolean
  readonly open: number | undefined
  readonly change: Changeable | undefined
}

function lineOf(line: LogLine, frame: OneLine): Html {
  const { wording, clock } = frame
  const parts = line.parts.filter(part => part.kind !== 'question' || part.serial !== frame.open)
  const reached = reachedWords(line, wording)
  return html`<article class="line ${line.speaker.kind}" data-key="${frame.key}">
<time datetime="${new Date(line.at).toISOString()}">${clock.text(line.at)}</time>
<div class="said"><p class="who">${speakerOf(line, wording)}</p>
${line.said === undefined ? '' : html`<div class="answer"><p class="words" dir="auto">${wordsShown(line.said)}</p>${frame.change === undefined ? '' : changeForm(frame.change, frame)}</div>`}
${partsOf(parts, frame)}
${reached === undefined ? '' : html`<p class="soft">${reached}</p>`}
</div></article>`
}

/** The speaker in words: the bot, the family, or a person by name and role. */
export function speakerOf(line: LogLine, wording: Wording): string {
  switch (line.speaker.kind) {
    case 'bot':
      return wording('speaker-bot')
    case 'family':
      return wording('speaker-family')
    case 'clinician':
      return wording('speaker-clinician', { clinician: line.speaker.name, clinicianRole: line.speaker.role })
  }
}

function reachedWords(line: LogLine, wording: Wording): string | undefined {
  switch (line.reached) {
    case 'waiting':
      return wording('line-waiting')
    case 'not-delivered':
      return wording('line-not-delivered')
    case 'delivered':
    case 'received':
    case 'unknown':
      return undefined
  }
}

/** Parts in order; neighbouring advice lines form one numbered list. */
export function partsOf(parts: readonly Part[], frame: Pick<LineFrame, 'foot' | 'drawing'>): readonly Html[] {
  const shown: Html[] = []
  let advice: Part[] = []
  const flush = (): void => {
    if (advice.length > 0) shown.push(adviceList(advice, frame))
    advice = []
  }
  for (const part of parts) {
    if (part.kind === 'advice') {
      advice.push(part)
      continue
    }
    flush()
    shown.push(partOf(part, frame.foot))
  }
  flush()
  return shown
}

function adviceList(advice: readonly Part[], frame: Pick<LineFrame, 'foot' | 'drawing'>): Html {
  const list = html`<ol class="advice">${advice.map(part => html`<li${languageMark(part)}>${withNumbers(textOf(part), frame.foot)}${part.kind === 'advice' ? pictureOf(part.drawing, frame) : ''}</li>`)}</ol>`
  const isEmergency = advice.some(part => part.kind === 'advice' && part.tags.includes('call-emergency'))
  return isEmergency ? html`<div role="alert">${list}</div>` : list
}

/** A drawing that shows how; its words are its text alternative, and stand in its place where there is no drawing. */
export function pictureOf(drawing: Drawing | undefined, frame: Pick<LineFrame, 'drawing'>): Html | string {
  if (drawing === undefined) return ''
  const svg = frame.drawing?.(drawing.id)
  return svg === undefined
    ? html`<p class="soft">${drawing.text}</p>`
    : html`<span class="picture" role="img" aria-label="${drawing.text}">${raw(svg.replace('<svg ', '<svg aria-hidden="true" '))}</span>`
}

/** A line in another language than its page says which, and runs in its own direction. */
const languageMark = (part: Part): Html | string =>
  part.kind === 'advice' && part.language !== undefined ? html` lang="${part.language}" dir="auto"` : ''

function partOf(part: Part, foot: FamilyFoot): Html {
  switch (part.kind) {
    case 'withdrawn':
      return html`<p class="withdrawn">${withNumbers(part.text, foot)}</p>`
    case 'person':
      return html`<blockquote dir="auto">${wordsShown(part.text)}</blockquote>`
    case 'question':
    case 'notice':
    case 'advice':
      return html`<p>${withNumbers(part.text, foot)}</p>`
  }
}

function textOf(part: Part): string {
  return part.text
}

/** "Change" beside one answer; its accessible name says which. */
export function changeForm(change: Changeable, frame: Pick<LineFrame, 'wording' | 'tapNonce'>): Html {
  return html`<form method="post" action="/say" class="change"><input type="hidden" name="nonce" value="${frame.tapNonce}"><input type="hidden" name="subject" value="${change.fact}"><button class="small-button" name="control" value="change" aria-label="${frame.wording('change-said', { label: change.label })}">${frame.wording('change')}</button></form>`
}
