/**
 * Reads an iCalendar text (RFC 5545) into components and properties. Nothing is understood here; every line keeps its place
 * in the text. Bounds on size come first: a calendar comes from outside and may be hostile.
 */
import { CalendarRefused } from '../config/calendar-refused.ts'

export interface CalendarProperty {
  readonly name: string
  /** Parameters by upper-case name; a list where one has several values. */
  readonly parameters: ReadonlyMap<string, readonly string[]>
  readonly value: string
  /** Line of the text on which it begins, from 1. */
  readonly line: number
}

export interface CalendarComponent {
  readonly name: string
  readonly line: number
  readonly properties: readonly CalendarProperty[]
  readonly components: readonly CalendarComponent[]
}

export const CALENDAR_BYTES_MOST = 10_000_000
export const CALENDAR_EVENTS_MOST = 20_000
const DEPTH_MOST = 4

/** The calendar component of a text. Throws `CalendarRefused`. */
export function readCalendar(text: string): CalendarComponent {
  if (text.length > CALENDAR_BYTES_MOST)
    throw new CalendarRefused('CALENDAR_TOO_LARGE', `more than ${CALENDAR_BYTES_MOST / 1_000_000} MB; expected a rota`)
  const stack: { name: string; line: number; properties: CalendarProperty[]; components: CalendarComponent[] }[] = []
  let events = 0
  let found: CalendarComponent | undefined
  for (const { content, line } of unfolded(text)) {
    if (content === '') continue
    const property = propertyOf(content, line)
    const kind = property.value.trim().toUpperCase()
    if (property.name === 'BEGIN') {
      if (stack.length === 0 && (found !== undefined || kind !== 'VCALENDAR')) {
        throw new CalendarRefused(
          'CALENDAR_UNREADABLE',
          `"${kind.slice(0, 40)}" where one VCALENDAR was expected`,
          line,
        )
      }
      if (stack.length >= DEPTH_MOST) throw new CalendarRefused('CALENDAR_UNREADABLE', 'parts nested too deep', line)
      if (kind === 'VEVENT' && ++events > CALENDAR_EVENTS_MOST) {
        const told = `more than ${CALENDAR_EVENTS_MOST} events; expected a rota, of one role, of a few years at most`
        throw new CalendarRefused('CALENDAR_TOO_LARGE', told, line)
      }
      stack.push({ name: kind, line, properties: [], components: [] })
    } else if (property.name === 'END') {
      const done = stack.pop()
      if (done === undefined || done.name !== kind)
        throw new CalendarRefused('CALENDAR_UNREADABLE', `END:${kind.slice(0, 40)} without its BEGIN`, line)
      const parent = stack.at(-1)
      if (parent === undefined) found = done
      else parent.components.push(done)
    } else {
      const open = stack.at(-1)
      if (open === undefined)
        throw new CalendarRefused('CALENDAR_UNREADABLE', 'a line outside of BEGIN:VCALENDAR', line)
      open.properties.push(property)
    }
  }
  const [unclosed] = stack
  if (unclosed !== undefined)
    throw new CalendarRefused(
      'CALENDAR_UNREADABLE',
      `${unclosed.name} is not ended: the calendar is cut off`,
      unclosed.line,
    )
  if (found === undefined) throw new CalendarRefused('CALENDAR_UNREADABLE', 'no BEGIN:VCALENDAR: this is no calendar')
  return found
}

/** Content lines, joined where they were folded (RFC 5545 section 3.1). */
function* unfolded(text: string): Generator<{ readonly content: string; readonly line: number }> {
  let pieces: string[] = []
  let start = 1
  let line = 0
  for (const raw of text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/)) {
    line += 1
    if ((raw.startsWith(' ') || raw.startsWith('\t')) && pieces.length > 0) {
      pieces.push(raw.slice(1))
      continue
    }
    if (pieces.length > 0) yield { content: pieces.join(''), line: start }
    pieces = [raw]
    start = line
  }
  yield { content: pieces.join(''), line: start }
}

/** One content line: name, parameters, value. Quoted parameter values may hold any of `:;,` (section 3.2). */
function propertyOf(content: string, line: number): CalendarProperty {
  const name = /^[A-Za-z0-9-]+/.exec(content)?.[0]
  const refused = () =>
    new CalendarRefused('CALENDAR_UNREADABLE', `"${content.slice(0, 60)}" is no line of a calendar`, line)
  if (name === undefined) throw refused()
  const parameters = new Map<string, string[]>()
  let at = name.length
  while (content[at] === ';') {
    const equals = content.indexOf('=', at)
    if (equals < 0) throw refused()
    const key = content.slice(at + 1, equals).toUpperCase()
    const values: string[] = []
    at = equals
    do {
      at += 1
      const isQuoted = content[at] === '"'
      const end = isQuoted ? content.indexOf('"', at + 1) : endOfPlain(content, at)
      if (end < 0) throw refused()
      values.push(content.slice(isQuoted ? at + 1 : at, end))
      at = isQuoted ? end + 1 : end
    } while (content[at] === ',')
    parameters.set(key, [...(parameters.get(key) ?? []), ...values])
  }
  if (content[at] !== ':') throw refused()
  return { name: name.toUpperCase(), parameters, value: content.slice(at + 1), line }
}

function endOfPlain(content: string, from: number): number {
  for (let at = from; at < content.length; at++) if (':;,'.includes(content[at] ?? '')) return at
  return -1
}

/** Text as it was meant: `\,` `\;` `\\` and `\n` stand for themselves (section 3.3.11). */
export const plainText = (value: string): string =>
  value.replace(/\\([\\;,nN])/g, (_all, sign: string) => (sign === 'n' || sign === 'N' ? '\n' : sign))

/** The first property of a name, if there is one. */
export const propertyNamed = (component: CalendarComponent, name: string): CalendarProperty | undefined =>
  component.properties.find(one => one.name === name)

/** Every property of a name. */
export const propertiesNamed = (component: CalendarComponent, name: string): readonly CalendarProperty[] =>
  component.properties.filter(one => one.name === name)
