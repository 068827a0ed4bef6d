/** A told conversation in plain lines of 80 columns: what the family sees on the left, what clinicians are paged on the right. */
import type { Line } from '../../case/line.ts'
import type { Part } from '../../case/message.ts'
import { clockOf } from '../../case/values.ts'
import type { NightEntry } from './night.ts'
import { type Act, actText, wantedText } from './script.ts'
import type { Told } from './tell.ts'

const CLOCK = 9
const LEFT = 40
const RIGHT = 28

/** Turns before the last are shortened to what was asked and answered, unless `isWhole`. */
export function toldLines(told: Told, line: Line, isWhole = false): readonly string[] {
  const rows = rowsOf(told, isWhole)
  let last = ''
  return [
    columns('', 'THE FAMILY AND THE BOT', 'WHAT CLINICIANS SEE'),
    ...rows.flatMap(({ at, left, right }) => {
      const clock = at === undefined ? '' : clockOf(line, at as never)
      const shown = clock === last ? '' : clock
      if (clock !== '') last = clock
      const a = left.flatMap(text => wrapped(text, LEFT))
      const b = right.flatMap(text => wrapped(text, RIGHT))
      return Array.from({ length: Math.max(a.length, b.length) }, (_, i) =>
        columns(i === 0 ? shown : '', a[i] ?? '', b[i] ?? ''),
      )
    }),
  ]
}

function columns(clock: string, left: string, right: string): string {
  return `${clock.padEnd(CLOCK)}${left.padEnd(LEFT)} | ${right}`.trimEnd()
}

/** What stands side by side: pages beside what the bot said in the same step. */
export interface ToldRow {
  /** Undefined for time that passes. */
  readonly at: number | undefined
  readonly kind: NightEntry['kind']
  readonly left: readonly string[]
  readonly right: readonly string[]
}

export function rowsOf({ entries, turn }: Told, isWhole: boolean): readonly ToldRow[] {
  const rows: ToldRow[] = []
  entries.forEach((entry, index) => {
    const isShort = !isWhole && index < turn
    const before = rows.at(-1)
    if (entry.kind === 'page' && before !== undefined && before.at === entry.at && before.kind !== 'family') {
      rows[rows.length - 1] = { ...before, right: [...before.right, pageText(entry, isShort)] }
      return
    }
    rows.push(rowOf(entry, isShort, entries.slice(0, index), entries[index + 1]))
  })
  return rows
}

function rowOf(
  entry: NightEntry,
  isShort: boolean,
  before: readonly NightEntry[],
  next: NightEntry | undefined,
): ToldRow {
  const row = (left: readonly string[], right: readonly string[] = []): ToldRow => ({
    at: entry.kind === 'quiet' ? undefined : entry.at,
    kind: entry.kind,
    left,
    right,
  })
  switch (entry.kind) {
    case 'family':
      return row([`FAMILY ${entry.how === 'tap' ? 'taps' : 'writes'}: ${entry.text}`])
    case 'bot':
      return row(partsText(entry.parts, !isShort))
    case 'page':
      return row([], [pageText(entry, isShort)])
    case 'quiet':
      return row([quietWords(entry, before, next)])
  }
}

/** Shortened: to whom, and the head of it. */
function pageText({ to, why, text }: NightEntry & { kind: 'page' }, isShort: boolean): string {
  if (!isShort) return `${to}: ${text}`
  return why === 'repeat' ? `${to}: paged again.` : `${to}: ${text.split('. ')[0]}.`
}

/** "10 minutes later. The family has said nothing." Between two pages only the time is told. */
export function quietWords(
  { from, at }: NightEntry & { kind: 'quiet' },
  before: readonly NightEntry[],
  next: NightEntry | undefined,
): string {
  const passed = passedText(at - from)
  if (next?.kind === 'page') return `… ${passed} later.`
  const isPaged = before.some(({ kind }) => kind === 'page')
  return `… ${passed} later. The family has said nothing${isPaged ? ', and no clinician has answered' : ''}.`
}

function passedText(ms: number): string {
  const minutes = Math.round(ms / 60_000)
  if (minutes < 120) return minutes === 1 ? '1 minute' : `${minutes} minutes`
  const hours = Math.floor(minutes / 60)
  return minutes % 60 === 0 ? `${hours} hours` : `${hours} hours ${minutes % 60} minutes`
}

function partsText(parts: readonly Part[], isWhole: boolean): readonly string[] {
  const question = parts.find(part => part.kind === 'question')
  if (!isWhole && question !== undefined) return [`? ${question.text}`]
  return parts.flatMap(part => partText(part))
}

function partText(part: Part): readonly string[] {
  switch (part.kind) {
    case 'advice':
      return [`- ${part.text}`]
    case 'notice':
      return [part.text]
    case 'withdrawn':
      return [`! ${part.text}`]
    case 'person':
      return [`"${part.text}"`]
    case 'question':
      return [`? ${part.text}`]
  }
}

/** The conversation as a script. `says` is what breaks, `reason` why it matters; each becomes a comment. */
export function toldScript(told: Told, says: string, reason?: string): string {
  const comments = [
    says,
    reason,
    `The checker found this in the flow "${told.concern}". "smallhours talk --script" plays it.`,
  ]
  const lines = [
    ...comments.flatMap(text => (text === undefined ? [] : wrapped(text, 100).map(line => `# ${line}`))),
    `at ${told.startsAt}`,
    ...Object.entries(told.policies).map(([id, value]) => `policy ${id} ${value}`),
    ...joined(told.acts.slice(0, told.from)).map(actText),
    ...told.wanted.map(wantedText),
    ...joined(told.acts.slice(told.from)).map(actText),
  ]
  return `${lines.join('\n')}\n`
}

/** Waits that follow one another are one. */
function joined(acts: readonly Act[]): readonly Act[] {
  const all: Act[] = []
  for (const act of acts) {
    const last = all.at(-1)
    if (act.kind === 'wait' && last?.kind === 'wait')
      all[all.length - 1] = { kind: 'wait', minutes: last.minutes + act.minutes }
    else all.push(act)
  }
  return all
}

/** Words in lines of at most `width` characters; a longer word stands alone. */
export function wrapped(text: string, width: number): readonly string[] {
  const lines: string[] = []
  for (const paragraph of text.split('\n')) {
    let now = ''
    for (const word of paragraph.split(' ')) {
      if (now !== '' && now.length + 1 + word.length > width) {
        lines.push(now)
        now = word
      } else now = now === '' ? word : `${now} ${word}`
    }
    lines.push(now)
  }
  return lines
}
