import { createHash } from 'node:crypto'
import { parse } from 'yaml'
import { type CalendarCopy, copyText } from './calendar-copy.ts'
import type { Beside } from './holidays.ts'
import { oneLine, SpliceFailed, withItem, withoutItem, withValue } from './yaml-splice.ts'

/**
 * Edits of the calendars of a rota. The shifts stand in a file of their own, under a name that no other content has: the
 * clinic's file is what changes from one to the other, so that a calendar is taken, and taken back, like every other change.
 */
export type CalendarEdit =
  /** A role follows a calendar, in place of the one it had. */
  | {
      readonly kind: 'calendar'
      readonly role: string
      /** The file of the shifts, from the clinic's folder. */
      readonly file: string
      /** Address that is looked at from now on; left out for a calendar that is taken once. */
      readonly from?: string
      /** The address was given on a page: only the public internet is asked. */
      readonly onlyPublic?: boolean
      readonly ignores: readonly string[]
    }
  /** The address is not looked at any more; what was read of it goes on counting. */
  | { readonly kind: 'calendar-stop'; readonly role: string }
  /** The role has no calendar any more. */
  | { readonly kind: 'calendar-out'; readonly role: string }

/** The folder of the copies, in the clinic's. */
export const CALENDARS = 'calendars'

/** Where a copy is kept: its role, and eight digits of what it says. */
export function calendarFile(copy: CalendarCopy): string {
  const mark = createHash('sha256').update(copyText(copy)).digest('hex').slice(0, 8)
  return `${CALENDARS}/${copy.role}-${mark}.json`
}

/** Files as they lie there, and the copy as if it lay there too. */
export const besideWith =
  (beside: Beside, copy: CalendarCopy): Beside =>
  name =>
    name === calendarFile(copy) ? Buffer.from(copyText(copy)) : beside(name)

/** The text with the edit made. Throws `SpliceFailed` where it does not fit. */
export function calendarSpliced(text: string, edit: CalendarEdit): string {
  const { line, index } = lineOf(text, edit.role)
  switch (edit.kind) {
    case 'calendar': {
      const every = typeof line?.every === 'string' ? { every: line.every } : {}
      const written = oneLine(
        {
          ...{ 'on-call': edit.role, shifts: edit.file },
          ...(edit.from === undefined ? {} : { from: edit.from, ...every }),
          ...(edit.from !== undefined && edit.onlyPublic === true ? { 'only-public': true } : {}),
          ...(edit.ignores.length === 0 ? {} : { ignores: edit.ignores }),
        },
        ['from'],
      )
      return index < 0 ? withItem(text, 'calendars', written) : withValue(text, ['calendars', index], written)
    }
    case 'calendar-stop': {
      if (line?.from === undefined) throw new SpliceFailed(`no calendar of "${edit.role}" is looked at`)
      const { from: _from, every: _every, 'only-public': _public, ...rest } = line
      return withValue(text, ['calendars', index], oneLine(rest))
    }
    case 'calendar-out':
      if (index < 0) throw new SpliceFailed(`"${edit.role}" has no calendar`)
      return withoutItem(text, 'calendars', index)
  }
}

/** The line of a role under `calendars`, and its place; -1 where there is none. */
function lineOf(
  text: string,
  role: string,
): { readonly line: Readonly<Record<string, unknown>> | undefined; readonly index: number } {
  const listed: unknown = (parse(text) as { calendars?: unknown } | null)?.calendars
  const lines = (Array.isArray(listed) ? listed : []) as (Record<string, unknown> | null)[]
  const index = lines.findIndex(one => one?.['on-call'] === role)
  return { line: lines[index] ?? undefined, index }
}
