import { type Clinic, type Rung, reachableOf, type When } from '../oncall/clinic.ts'
import type { EditPhrases } from './edit-phrases.ts'
import { oneLine, SpliceFailed, withItem, withItemEarlier, withoutItem, withValue } from './yaml-splice.ts'

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
    case 'rung':
      return edit.act === 'out' ? withoutItem(text, 'ladder', edit.rung) : withItemEarlier(text, 'ladder', edit.rung)
    case 'rung-new': {
      const when = edit.when === 'always' || edit.when === '' ? {} : { when: edit.when }
      return withItem(text, 'ladder', oneLine({ [edit.names]: edit.id, ...when }))
    }
  }
}

function clock(said: string): string {
  if (/^([01]\d|2[0-3]):[0-5]\d$/.test(said)) return said
  throw new SpliceFailed(`"${said}" is no time of the day; four digits such as 08:00 were expected`)
}

/** What changes, as the beginning of a sentence. */
export function patternSentence(edit: PatternEdit, before: Clinic, after: Clinic, phrases: EditPhrases): string {
  if (edit.kind !== 'weekly') return phrases.order(orderText(before, phrases), orderText(after, phrases))
  const { role, day, who, from, to } = edit
  return phrases.weekly({ day, from, to, role, who: nameOf(after, who) })
}

const orderText = (clinic: Clinic, phrases: EditPhrases): string =>
  clinic.ladder.map((rung, index) => `${index + 1}. ${rungText(rung, clinic, phrases)}`).join(', ') || phrases.nobody

/** A rung: whom it pages, and when it is used. */
function rungText(rung: Rung, clinic: Clinic, phrases: EditPhrases): string {
  const who = rung.kind === 'role' ? phrases.onCallAs(rung.role) : nameOf(clinic, rung.id)
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
