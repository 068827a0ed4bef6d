import { type Clinic, type Rung, reachableOf, type When } from '../oncall/clinic.ts'
import { weekdays } from '../oncall/wall-time.ts'
import { idPattern } from './clinic-shapes.ts'
import type { EditPhrases } from './edit-phrases.ts'
import { roleText } from './role-words.ts'
import {
  oneLine,
  SpliceFailed,
  withItem,
  withItemAt,
  withItemEarlier,
  withLinesAt,
  withoutItem,
  withoutItemAt,
  withValue,
} from './yaml-splice.ts'

/** Edits of what comes back: a shift of the week or of holidays, and the order of paging. */
export type PatternEdit =
  /** A shift of a weekday, or of `holiday`; `shift` counts from 0 in its list. Times are local, `18:00`. */
  | {
      readonly kind: 'weekly'
      readonly role: string
      readonly day: string
      readonly shift: number
      readonly who: string
      readonly from: string
      readonly to: string
    }
  /** A shift more on a weekday or on holidays. */
  | {
      readonly kind: 'shift-new'
      readonly role: string
      readonly day: string
      readonly who: string
      readonly from: string
      readonly to: string
    }
  /** A shift that comes back is taken out; `shift` counts from 0 in its list. */
  | { readonly kind: 'shift-out'; readonly role: string; readonly day: string; readonly shift: number }
  /** A role more, with the same shift on each day of the week. The ladder pages it once a rung names it. */
  | {
      readonly kind: 'role-new'
      readonly role: string
      readonly who: string
      readonly from: string
      readonly to: string
    }
  /** A rung of the ladder is paged one place earlier, or taken out; `rung` counts from 0. */
  | { readonly kind: 'rung'; readonly rung: number; readonly act: 'earlier' | 'out' }
  /** A rung more, paged last. `when` as the file writes it: `always`, `open`, `closed`, `22:00-07:00`. */
  | {
      readonly kind: 'rung-new'
      readonly names: 'on-call' | 'person' | 'desk'
      readonly id: string
      readonly when: string
    }

/** The text with the edit made. Throws `SpliceFailed` where it does not fit. */
export function patternSpliced(text: string, edit: PatternEdit): string {
  switch (edit.kind) {
    case 'weekly': {
      const at = ['rota', edit.role, edit.day, edit.shift] as const
      const set = (before: string, key: string, value: string) => withValue(before, [...at, key], value)
      return set(set(set(text, 'from', clock(edit.from)), 'to', clock(edit.to)), 'who', oneLine(edit.who))
    }
    case 'shift-new': {
      const { role, day, from, to, who } = edit
      return withItemAt(text, ['rota', role, day], shiftLine(from, to, who))
    }
    case 'shift-out':
      return withoutItemAt(text, ['rota', edit.role, edit.day], edit.shift)
    case 'role-new': {
      const { role, from, to, who } = edit
      if (!idPattern.test(role)) throw new SpliceFailed('the name of a role is small letters, digits and dashes')
      const shift = shiftLine(from, to, who)
      return withLinesAt(
        text,
        ['rota', role],
        weekdays.map(day => `${day}: [${shift}]`),
      )
    }
    case 'rung':
      return edit.act === 'out' ? withoutItem(text, 'ladder', edit.rung) : withItemEarlier(text, 'ladder', edit.rung)
    case 'rung-new': {
      const when = edit.when === 'always' || edit.when === '' ? {} : { when: edit.when }
      return withItem(text, 'ladder', oneLine({ [edit.names]: edit.id, ...when }))
    }
  }
}

const shiftLine = (from: string, to: string, who: string): string =>
  `{ from: ${clock(from)}, to: ${clock(to)}, who: ${oneLine(who)} }`

function clock(said: string): string {
  if (/^([01]\d|2[0-3]):[0-5]\d$/.test(said)) return said
  throw new SpliceFailed(`"${said}" is no time of the day; four digits such as 08:00 were expected`)
}

/** What changes, as the beginning of a sentence. */
export function patternSentence(edit: PatternEdit, before: Clinic, after: Clinic, phrases: EditPhrases): string {
  const name = (id: string) => nameOf(after, id)
  switch (edit.kind) {
    case 'weekly':
    case 'shift-new': {
      const { day, from, to } = edit
      return phrases.weekly({ day, from, to, role: roleText(edit.role, phrases.locale), who: name(edit.who) })
    }
    case 'shift-out':
      return phrases.shiftOut({ day: edit.day, role: roleText(edit.role, phrases.locale), shift: edit.shift + 1 })
    case 'role-new': {
      const { from, to } = edit
      return phrases.roleNew({ from, to, role: roleText(edit.role, phrases.locale), who: name(edit.who) })
    }
    case 'rung':
    case 'rung-new':
      return phrases.order(orderText(before, phrases), orderText(after, phrases))
  }
}

const orderText = (clinic: Clinic, phrases: EditPhrases): string =>
  clinic.ladder.map((rung, index) => `${index + 1}. ${rungText(rung, clinic, phrases)}`).join(', ') || phrases.nobody

/** A rung: whom it pages, and when it is used. */
function rungText(rung: Rung, clinic: Clinic, phrases: EditPhrases): string {
  const who = rung.kind === 'role' ? phrases.onCallAs(roleText(rung.role, phrases.locale)) : nameOf(clinic, rung.id)
  return `${who}${whenText(rung.when, phrases)}`
}

function whenText(when: When, { whileOpen, whileClosed, between }: EditPhrases): string {
  const time = (minute: number) =>
    `${String(Math.floor(minute / 60)).padStart(2, '0')}:${String(minute % 60).padStart(2, '0')}`
  switch (when.kind) {
    case 'always':
      return ''
    case 'open':
      return ` (${whileOpen})`
    case 'closed':
      return ` (${whileClosed})`
    case 'between':
      return ` (${between(time(when.from), time(when.to))})`
  }
}

const nameOf = (clinic: Clinic, id: string): string => reachableOf(clinic, id)?.name ?? `"${id}"`
