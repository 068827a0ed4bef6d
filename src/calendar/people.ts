import type { CalendarCopy } from '../config/calendar-copy.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { CalendarEventShift, CalendarEvents } from './shifts.ts'

/**
 * Whose a shift of a calendar is. Only what is written in the clinic's file counts: name, `known-as`, mail address. A name that
 * stands nowhere, or that two people have, is told and never guessed.
 */
export interface Matched {
  readonly shifts: CalendarCopy['shifts']
  /** Shifts that are nobody's, by the words of the calendar, each told once. */
  readonly strangers: readonly Stranger[]
}

export interface Stranger {
  readonly names: readonly string[]
  /** Ids that one and the same name stands for, or that the event names together; empty where nobody is meant. */
  readonly ids: readonly string[]
  /** Line of the first such event. */
  readonly line: number
  readonly count: number
}

const plain = (name: string): string =>
  name
    .normalize('NFC')
    .toLowerCase()
    .replace(/^mailto:/, '')
    .replaceAll(/\s+/g, ' ')
    .trim()

/** Whether an event of these names is a shift: none of them is one that is passed over. */
export function isShiftIn(ignores: readonly string[]): (names: readonly string[]) => boolean {
  const ignored = new Set(ignores.map(plain))
  return names => !names.some(name => ignored.has(plain(name)))
}

/** Whether the title names somebody of the clinic: an event of theirs is never passed over as no shift. */
export const isSomebody = (clinic: Clinic, title: string): boolean => namesOf(clinic).has(plain(title))

/** Ids by every name that counts. */
function namesOf(clinic: Clinic): ReadonlyMap<string, ReadonlySet<string>> {
  const table = new Map<string, Set<string>>()
  for (const one of [...clinic.people, ...clinic.desks]) {
    const mail = one.pageAt.filter(({ pager }) => pager === 'smtp').map(({ address }) => address)
    for (const name of [one.name, ...(one.knownAs ?? []), ...mail]) {
      const key = plain(name)
      table.set(key, (table.get(key) ?? new Set()).add(one.id))
    }
  }
  return table
}

export function matchedShifts({ shifts }: Pick<CalendarEvents, 'shifts'>, clinic: Clinic): Matched {
  const table = namesOf(clinic)
  const found: { from: CalendarEventShift['from']; until: CalendarEventShift['until']; who: string }[] = []
  const strangers = new Map<string, Stranger>()
  for (const { from, until, names, line } of shifts) {
    const words = names.map(plain)
    const ids = new Set(words.flatMap(word => [...(table.get(word) ?? [])]))
    const [who] = ids
    if (ids.size === 1 && who !== undefined) {
      found.push({ from, until, who })
      continue
    }
    const key = words.join('\n')
    const known = strangers.get(key)
    strangers.set(
      key,
      known === undefined ? { names, ids: [...ids], line, count: 1 } : { ...known, count: known.count + 1 },
    )
  }
  return { shifts: found, strangers: [...strangers.values()] }
}
