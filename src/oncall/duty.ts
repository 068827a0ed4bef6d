import type { Instant } from '../time/instant.ts'
import type { NamedShift, Rota, Shift } from './clinic.ts'
import { blockEnd, instantsOf, type WallTime, type Weekday, weekdayOf } from './wall-time.ts'

/**
 * One block of cover, as instants. Rule for the clock-change nights: cover starts at the earlier instant its wall time may
 * mean and ends at the later one, so that neighbours overlap and never leave a gap. In an overlap the one whose cover
 * started last is on call.
 */

/** Cover by one person or desk from `startsAt` (inclusive) until `endsAt` (exclusive), and why it stands. */
export interface Duty {
  readonly role: string
  /** Id of a person or desk. */
  readonly who: string
  readonly startsAt: Instant
  readonly endsAt: Instant
  /** The earliest instant its end may mean: later than this, it truly overlaps a neighbour. */
  readonly endsAtLeast: Instant
  readonly by: 'pattern' | 'holiday' | 'calendar' | 'dated' | 'swap'
  /** What it was before a swap. */
  readonly swapped?: { readonly by: Exclude<Duty['by'], 'swap'>; readonly of: string }
  readonly why?: string
  /** The name of the holiday it follows. */
  readonly holiday?: string
  /** Weeks between two of its kind, where more than one. */
  readonly every?: number
  /** The calendar it came from. */
  readonly calendar?: string
}

/** Kinds of cover, the one that stands above all others last. */
const RANKS = { pattern: 0, holiday: 1, calendar: 2, dated: 3 } as const

/** The height of a dated change. */
export const DATED = RANKS.dated

/** How far up a duty stands: a swap changes who has it, not where it stands. */
export const rankOf = ({ by, swapped }: Duty): number => RANKS[by === 'swap' ? (swapped?.by ?? 'pattern') : by]

/** One shift going from one person to another. */
interface Transfer {
  readonly of: string
  readonly to: string
  readonly why?: string
}

export type Transfers = ReadonlyMap<string, readonly Transfer[]>

/** Where a transfer is looked for: the role, and the instant its shift starts. */
export const shiftKey = (role: string, startsAt: Instant): string => `${startsAt} ${role}`

/** Instant at which a named shift starts. */
export const startOf = (zone: string, { starts }: NamedShift): Instant => instantsOf(zone, starts).earlier

/** What the swaps move, by the shift it is moved from, in the order of the list. */
export function transfersOf(zone: string, { swaps = [] }: Rota): Transfers {
  const found = new Map<string, Transfer[]>()
  const add = (shift: NamedShift, transfer: Transfer) => {
    const key = shiftKey(shift.role, startOf(zone, shift))
    found.set(key, [...(found.get(key) ?? []), transfer])
  }
  for (const { shift, of, to, inReturn, why } of swaps) {
    const reason = why === undefined ? {} : { why }
    add(shift, { of, to, ...reason })
    if (inReturn !== undefined) add(inReturn, { of: to, to: of, ...reason })
  }
  return found
}

/** The duty as the swaps leave it. */
export function swapped(duty: Duty, transfers: Transfers): Duty {
  if (transfers.size === 0) return duty
  let now = duty
  for (const { of, to, why } of transfers.get(shiftKey(duty.role, duty.startsAt)) ?? []) {
    if (of !== now.who) continue
    const { why: before, ...rest } = now
    const was = now.swapped?.by ?? (now.by === 'swap' ? 'pattern' : now.by)
    now = { ...rest, who: to, by: 'swap', swapped: { by: was, of }, ...(why === undefined ? {} : { why }) }
  }
  return now
}

/** Whether a shift that comes back falls on a local day; holidays are looked up elsewhere. */
function fallsOn({ every = 1, since }: Shift, day: number): boolean {
  if (since !== undefined && day < since) return false
  if (every === 1) return true
  const weeks = (weekOf(day) - weekOf(since ?? 0)) % every
  return weeks === 0
}

/** Number of the week that holds a local day; weeks begin on Monday. Day 0 was a Thursday. */
const weekOf = (day: number): number => Math.floor((day + 3) / 7)

/** Shifts of a role by the day they come back on. */
export type ShiftsByDay = ReadonlyMap<Weekday | 'holiday', readonly Shift[]>

export function shiftsByDay(shifts: readonly Shift[]): ShiftsByDay {
  return Map.groupBy(shifts, ({ on }) => on)
}

/** Duties of a role that come back and start on one local day, as they were before any swap. */
export function dutiesOnDay(zone: string, rota: Rota, role: string, shifts: ShiftsByDay, day: number): readonly Duty[] {
  const holiday = rota.holidays?.get(day)
  const weekly = (shifts.get(weekdayOf(day)) ?? []).filter(shift => fallsOn(shift, day))
  const onHoliday = holiday === undefined ? [] : (shifts.get('holiday') ?? []).filter(shift => fallsOn(shift, day))
  const made = ({ who, from, to, every }: Shift, more: Pick<Duty, 'by' | 'holiday'>): Duty => {
    const end = blockEnd(day, from, to)
    const duty = dutyFrom(zone, { role, who, from: { day, minute: from }, until: end }, more.by)
    if (every === undefined && more.holiday === undefined) return duty
    return { ...duty, ...more, ...(every === undefined ? {} : { every }) }
  }
  return [
    ...weekly.map(shift => made(shift, { by: 'pattern' })),
    ...onHoliday.map(shift => made(shift, { by: 'holiday', ...(holiday === undefined ? {} : { holiday }) })),
  ]
}

/** A block of local time as a duty. */
export function dutyFrom(
  zone: string,
  block: { readonly role: string; readonly who: string; readonly from: WallTime; readonly until: WallTime },
  by: Duty['by'],
): Duty {
  const end = instantsOf(zone, block.until)
  return {
    role: block.role,
    who: block.who,
    startsAt: instantsOf(zone, block.from).earlier,
    endsAt: end.later,
    endsAtLeast: end.earlier,
    by,
  }
}

/** Dated duties of all roles: the calendar's, then the changes in the order of the file, as they were before any swap. */
export function datedDuties(zone: string, { changes, calendar = [] }: Rota): readonly Duty[] {
  return [
    ...calendar.map(
      ({ role, who, startsAt, endsAt, calendar: from }): Duty => ({
        ...{ role, who, startsAt, endsAt, endsAtLeast: endsAt },
        by: 'calendar',
        calendar: from,
      }),
    ),
    ...changes.map((change): Duty => {
      const duty = dutyFrom(zone, change, 'dated')
      return change.why === undefined ? duty : { ...duty, why: change.why }
    }),
  ]
}
