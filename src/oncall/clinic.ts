import type { Instant } from '../time/instant.ts'
import type { MinuteOfDay, WallTime, Weekday } from './wall-time.ts'

/** A number a family may be shown and may tap. Never a private one. */
export interface NumberToRing {
  /** E.164 (`+12125550110`), or a short number of the country's network such as 911. */
  readonly number: string
  /** What to say to whoever answers: "ask for the feeding nurse". Shown beside the number and read aloud. */
  readonly words?: string
  /** The same by language, where the clinic wrote it in more than one. */
  readonly wordsIn?: Readonly<Record<string, string>>
  /** When somebody answers it, in words. */
  readonly hours?: string
  /** Language it is answered in, as a BCP 47 tag. */
  readonly language?: string
}

/** One private way to reach a person or desk. May never appear in anything made for a family. */
export interface PageAddress {
  /** Id of the pager that sends: `board`, `smtp` or `webhook`. */
  readonly pager: string
  /** In the pager's own terms; empty for the board. */
  readonly address: string
}

/** What a person may do at the clinic's side (not the roles of the rota). What each means: `src/accounts/authority.ts`. */
export const ROLES = ['on-call', 'lead', 'reviewer', 'administrator'] as const
export type Role = (typeof ROLES)[number]

export interface Person {
  readonly kind: 'person'
  readonly id: string
  /** As a family reads it: "Nurse Amara Osei". */
  readonly name: string
  /** Beside the name on every line this person writes: "feeding nurse". */
  readonly job: string
  /** Whether this person may answer families and sign for the clinic. */
  readonly clinician: boolean
  /** Whether this clinician may approve what families are told; left out: no. */
  readonly approves?: boolean
  /** Left out: none. */
  readonly roles?: readonly Role[]
  /** Has left the clinic: approvals no longer count. Left out: no. */
  readonly left?: boolean
  readonly pageAt: readonly PageAddress[]
  /** Private telephone, E.164: for colleagues' eyes only. */
  readonly privateNumber?: string
  /** Names and addresses by which calendars know them, beside their name and mail address. */
  readonly knownAs?: readonly string[]
}

/** A place where somebody is: a ward, the day desk, a switchboard. */
export interface Desk {
  readonly kind: 'desk'
  readonly id: string
  readonly name: string
  /** What to say to whoever answers there; for staff. */
  readonly words?: string
  readonly pageAt: readonly PageAddress[]
  /** Private telephone, E.164: for colleagues' eyes only. */
  readonly privateNumber?: string
  /** Names and addresses by which calendars know them, beside their name and mail address. */
  readonly knownAs?: readonly string[]
}

export interface Hospital {
  readonly id: string
  readonly name: string
  /** Number families ring. */
  readonly familiesRing: NumberToRing
  /** Street address, as text. */
  readonly address: string
  /** Which door, where to park, in words. */
  readonly door?: string
  /** The same by language, where the clinic wrote it in more than one. */
  readonly doorIn?: Readonly<Record<string, string>>
  /** What it can do and at which hours, in words; empty when not known. */
  readonly canDo: readonly string[]
  /** Where a handover is sent; private. */
  readonly handoverTo: readonly PageAddress[]
}

/**
 * A block of cover in local time that comes back: each week, every few weeks, or on each holiday. `to` at or before `from`
 * means the next day.
 */
export interface Shift {
  /** Holiday cover stands above the week. */
  readonly on: Weekday | 'holiday'
  readonly from: MinuteOfDay
  readonly to: MinuteOfDay
  /** Id of a person or desk. */
  readonly who: string
  /** Every so many weeks, 1 to 53; left out: each week. Weeks begin on Monday. */
  readonly every?: number
  /** Local day from which it counts, inclusive; the first of the weeks that `every` counts is the week of this day. */
  readonly since?: number
}

/** Dated cover that stands above everything that comes back. */
export interface RotaChange {
  readonly role: string
  readonly from: WallTime
  readonly until: WallTime
  readonly who: string
  readonly why?: string
}

/** A shift named by its role and the local time at which it starts. */
export interface NamedShift {
  readonly role: string
  readonly starts: WallTime
}

/** One person's shift that another takes over; with `inReturn` for a shift of the other's. */
export interface Swap {
  readonly shift: NamedShift
  /** Who has the shift before. */
  readonly of: string
  /** Who takes it. */
  readonly to: string
  /** A shift of `to` that `of` takes in return. */
  readonly inReturn?: NamedShift
  readonly why?: string
}

/** Time in which somebody is away: what is theirs then is nobody's until it is covered. */
export interface Leave {
  readonly who: string
  readonly from: WallTime
  readonly until: WallTime
  readonly why?: string
}

/** Cover that a calendar gave, already as instants. */
export interface CalendarShift {
  readonly role: string
  readonly who: string
  readonly startsAt: Instant
  readonly endsAt: Instant
  /** Which calendar: the file that its shifts are kept in. */
  readonly calendar: string
}

/** What stands above what: a pattern, a holiday's pattern, a calendar, a dated change. Swaps change who, leave who is there. */
export interface Rota {
  /** Weekly and holiday shifts of each role, by role id ("first", "second"). */
  readonly roles: Readonly<Record<string, readonly Shift[]>>
  /** Where two changes cover the same moment, the later in the list wins. */
  readonly changes: readonly RotaChange[]
  /** Carried out in the order of the list. */
  readonly swaps?: readonly Swap[]
  readonly leave?: readonly Leave[]
  /** Names of holidays by local day. */
  readonly holidays?: ReadonlyMap<number, string>
  readonly calendar?: readonly CalendarShift[]
}

export interface OpenSpan {
  readonly from: MinuteOfDay
  /** At or before `from` means the next day. */
  readonly to: MinuteOfDay
}

export interface Opening {
  readonly weekly: Readonly<Record<Weekday, readonly OpenSpan[]>>
  /** Dates that differ, by local day number: none means closed all day. */
  readonly dates: Readonly<Record<number, readonly OpenSpan[]>>
}

/** When a rung is in use. */
export type When =
  | { readonly kind: 'always' }
  | { readonly kind: 'open' }
  | { readonly kind: 'closed' }
  /** Local clock times, `from` inclusive, `to` exclusive; `to` at or before `from` runs over midnight. */
  | { readonly kind: 'between'; readonly from: MinuteOfDay; readonly to: MinuteOfDay }

export type Rung = {
  readonly when: When
} & (
  | { readonly kind: 'person'; readonly id: string }
  | { readonly kind: 'desk'; readonly id: string }
  /** Whoever the rota has in this role at that moment. */
  | { readonly kind: 'role'; readonly role: string }
)

/** One clinic, as its file says and nothing more. */
export interface Clinic {
  readonly name: string
  /** IANA zone named for a place, e.g. America/New_York. */
  readonly zone: string
  readonly clock: '12h' | '24h'
  /** True for an invented clinic: unapproved flows may be served, every screen says so. */
  readonly demonstration: boolean
  /** Where families find the web chat; absent only in a demonstration. */
  readonly webAddress?: string
  /** Languages families may use; the first is the default. */
  readonly familyLanguages: readonly string[]
  /** Language of pages and of the console. */
  readonly staffLanguage: string
  readonly numbers: {
    readonly emergency: NumberToRing
    readonly familiesRing: NumberToRing
    readonly transport: NumberToRing
  }
  readonly hospitals: readonly Hospital[]
  readonly people: readonly Person[]
  readonly desks: readonly Desk[]
  readonly opening: Opening
  readonly rota: Rota
  readonly ladder: readonly Rung[]
}

/** The people who work at the clinic now. Who has left stays in its file, for the sake of old approvals. */
export const peopleThere = ({ people }: Pick<Clinic, 'people'>): readonly Person[] =>
  people.filter(({ left }) => left !== true)

/** Whether pages of this person may go out by a pager. */
export const isPagedBy = ({ people }: Pick<Clinic, 'people'>, id: string, by: string): boolean =>
  people.some(person => person.id === id && person.pageAt.some(({ pager }) => pager === by))

/** The person or desk with this id, or undefined. */
export function reachableOf(clinic: Clinic, id: string): Person | Desk | undefined {
  return clinic.people.find(person => person.id === id) ?? clinic.desks.find(desk => desk.id === id)
}
