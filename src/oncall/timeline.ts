import { days, type Instant, instant } from '../time/instant.ts'
import type { Clinic, Leave, Rota } from './clinic.ts'
import {
  DATED,
  type Duty,
  datedDuties,
  dutiesOnDay,
  rankOf,
  type ShiftsByDay,
  shiftsByDay,
  swapped,
  type Transfers,
  transfersOf,
} from './duty.ts'
import { edgesWithin } from './edges.ts'
import { instantsOf, wallTimeAt } from './wall-time.ts'

/**
 * Who is on call, worked out once for a stretch of time and then looked up: the edges in order, and between each two the duty
 * in force. Stretches are cut into blocks of fixed length, so that a look at tonight never works out next year.
 */

/** A stretch during which one duty is in force, or none is. */
export interface Stretch {
  readonly role: string
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
  readonly duty: Duty | undefined
  /** Where nobody is on call because they are on leave: the duty that would be in force. */
  readonly away?: Duty
}

const BLOCK_MS = days(64)
/** No shift that comes back is longer than a day and an hour of changed clocks. */
const LONGEST_DAYS = 2
/** Blocks kept for one rota; one more empties the store of them. */
const BLOCKS_MOST = 1_024

interface Away {
  readonly from: Instant
  readonly until: Instant
}

/** All that is worked out of a rota, once for each rota and zone. */
interface RotaIndex {
  readonly shifts: ReadonlyMap<string, ShiftsByDay>
  readonly transfers: Transfers
  /** Dated duties by role, after the swaps, in the order in which they stand above one another. */
  readonly dated: ReadonlyMap<string, readonly Duty[]>
  readonly away: ReadonlyMap<string, readonly Away[]>
  readonly blocks: Map<string, readonly Stretch[]>
}

const indexes = new WeakMap<Rota, Map<string, RotaIndex>>()

function indexOf({ rota, zone }: Pick<Clinic, 'rota' | 'zone'>): RotaIndex {
  const byZone = indexes.get(rota) ?? new Map<string, RotaIndex>()
  indexes.set(rota, byZone)
  const known = byZone.get(zone)
  if (known !== undefined) return known
  const transfers = transfersOf(zone, rota)
  const made: RotaIndex = {
    shifts: new Map(Object.entries(rota.roles).map(([role, shifts]) => [role, shiftsByDay(shifts)])),
    transfers,
    dated: Map.groupBy(
      datedDuties(zone, rota).map(duty => swapped(duty, transfers)),
      ({ role }) => role,
    ),
    away: awayOf(zone, rota.leave ?? []),
    blocks: new Map(),
  }
  byZone.set(zone, made)
  return made
}

/** On the clock-change nights somebody is away for the longer reading of their leave. */
function awayOf(zone: string, leave: readonly Leave[]): ReadonlyMap<string, readonly Away[]> {
  const spans = leave.map(({ who, from, until }) => ({
    who,
    from: instantsOf(zone, from).earlier,
    until: instantsOf(zone, until).later,
  }))
  return Map.groupBy(spans, ({ who }) => who)
}

/** Every duty of a role that touches [from, until], in rising order of precedence, as the swaps leave it. */
export function dutiesBetween(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Duty[] {
  const dated = (indexOf(clinic).dated.get(role) ?? []).filter(touching(from, until))
  return [...undatedBetween(clinic, role, from, until), ...dated.filter(duty => rankOf(duty) === DATED)]
}

/** The same without the dated changes of the file. */
export function undatedBetween(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Duty[] {
  const { shifts, transfers, dated } = indexOf(clinic)
  const touches = touching(from, until)
  const byDay = shifts.get(role)
  const found: Duty[] = (dated.get(role) ?? []).filter(duty => rankOf(duty) < DATED && touches(duty))
  if (byDay !== undefined) {
    const firstDay = wallTimeAt(clinic.zone, from).day - LONGEST_DAYS
    const lastDay = wallTimeAt(clinic.zone, until).day + 1
    for (let day = firstDay; day <= lastDay; day++) {
      for (const duty of dutiesOnDay(clinic.zone, clinic.rota, role, byDay, day))
        if (touches(duty)) found.push(swapped(duty, transfers))
    }
  }
  return found.sort((a, b) => rankOf(a) - rankOf(b) || a.startsAt - b.startsAt)
}

const touching =
  (from: Instant, until: Instant) =>
  ({ startsAt, endsAt }: Duty): boolean =>
    startsAt <= until && endsAt > from

type AwayNow = ReadonlyMap<string, readonly Away[]>

function isAwayIn(away: AwayNow, who: string, at: Instant): boolean {
  const spans = away.get(who)
  if (spans === undefined) return false
  for (const { from, until } of spans) if (from <= at && at < until) return true
  return false
}

/** The leave that touches a stretch of time, by who has it; nobody is looked for who has none. */
function awayBetween({ away }: RotaIndex, people: ReadonlySet<string>, from: Instant, until: Instant): AwayNow {
  const found = new Map<string, readonly Away[]>()
  for (const who of people) {
    const spans = away.get(who)?.filter(one => one.from < until && one.until > from) ?? []
    if (spans.length > 0) found.set(who, spans)
  }
  return found
}

/** Stretches of one block of time, end to end. */
function blockOf(clinic: Clinic, role: string, block: number): readonly Stretch[] {
  const index = indexOf(clinic)
  const key = `${block} ${role}`
  const known = index.blocks.get(key)
  if (known !== undefined) return known
  const from = instant(block * BLOCK_MS)
  const made = swept(clinic, index, role, from, instant(from + BLOCK_MS))
  if (index.blocks.size >= BLOCKS_MOST) index.blocks.clear()
  index.blocks.set(key, made)
  return made
}

/** Walks over the edges once, with the duties that hold between two of them. */
function swept(clinic: Clinic, index: RotaIndex, role: string, from: Instant, until: Instant): readonly Stretch[] {
  const duties = dutiesBetween(clinic, role, from, until)
  const leave = awayBetween(index, new Set(duties.map(({ who }) => who)), from, until)
  const edges = [from]
  for (const spans of leave.values()) for (const one of spans) edges.push(one.from, one.until)
  for (const { startsAt, endsAt } of duties) edges.push(startsAt, endsAt)
  const starts = edgesWithin(edges, from, until)
  const order = duties.map((duty, place): Placed => ({ duty, place })).sort((a, b) => a.duty.startsAt - b.duty.startsAt)
  const found: Stretch[] = []
  const holding: Placed[] = []
  let next = 0
  for (let position = 0; position < starts.length; position++) {
    const start = starts[position] ?? from
    let kept = 0
    for (const one of holding) if (one.duty.endsAt > start) holding[kept++] = one
    holding.length = kept
    for (let one = order[next]; one !== undefined && one.duty.startsAt <= start; one = order[++next])
      if (one.duty.endsAt > start) holding.push(one)
    const { duty, away } = inForce(leave, holding, start)
    const last = found.at(-1)
    const end = starts[position + 1] ?? until
    if (last !== undefined && last.duty === duty && last.away === away)
      found[found.length - 1] = stretch(role, last.from, end, duty, away)
    else found.push(stretch(role, start, end, duty, away))
  }
  return found
}

/** A duty and its place in rising order of precedence. */
interface Placed {
  readonly duty: Duty
  readonly place: number
}

const stretch = (
  role: string,
  from: Instant,
  until: Instant,
  duty: Duty | undefined,
  away: Duty | undefined,
): Stretch => (away === undefined ? { role, from, until, duty } : { role, from, until, duty, away })

const NOBODY = { duty: undefined, away: undefined }

/**
 * The duty that stands above the others. Where whoever has it is away, another of the same height that holds at the moment;
 * else nobody: what was given away by a duty further up does not fall back on those below.
 */
function inForce(
  leave: AwayNow,
  holding: readonly Placed[],
  at: Instant,
): { readonly duty: Duty | undefined; readonly away: Duty | undefined } {
  let top: Placed | undefined
  for (const one of holding) if (top === undefined || one.place > top.place) top = one
  if (top === undefined) return NOBODY
  if (!isAwayIn(leave, top.duty.who, at)) return { duty: top.duty, away: undefined }
  const rank = rankOf(top.duty)
  let there: Placed | undefined
  for (const one of holding) {
    const isBelow = there !== undefined && one.place < there.place
    if (!isBelow && rankOf(one.duty) === rank && !isAwayIn(leave, one.duty.who, at)) there = one
  }
  return there === undefined ? { duty: undefined, away: top.duty } : { duty: there.duty, away: undefined }
}

/** The stretch of a role that holds an instant. */
export function stretchAt(clinic: Clinic, role: string, at: Instant): Stretch {
  const block = blockOf(clinic, role, Math.floor(at / BLOCK_MS))
  let low = 0
  let high = block.length - 1
  while (low < high) {
    const middle = (low + high + 1) >> 1
    if ((block[middle]?.from ?? at) <= at) low = middle
    else high = middle - 1
  }
  return block[low] ?? { role, from: at, until: at, duty: undefined }
}

/** [from, until) cut into stretches of one duty or none, in order, without holes. Empty when `until` is not later. */
export function stretches(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Stretch[] {
  const cut: Stretch[] = []
  if (until <= from) return cut
  for (let block = Math.floor(from / BLOCK_MS); block * BLOCK_MS < until; block++) {
    for (const one of blockOf(clinic, role, block)) {
      if (one.until <= from || one.from >= until) continue
      const isWhole = one.from >= from && one.until <= until
      const piece = isWhole ? one : { ...one, from: later(one.from, from), until: earlier(one.until, until) }
      const last = cut.at(-1)
      if (last !== undefined && isSame(last, piece)) cut[cut.length - 1] = { ...last, until: piece.until }
      else cut.push(piece)
    }
  }
  return cut
}

const later = (a: Instant, b: Instant): Instant => (a > b ? a : b)
const earlier = (a: Instant, b: Instant): Instant => (a < b ? a : b)

/** A duty that runs over the edge of a block was worked out twice. */
const isSame = (a: Stretch, b: Stretch): boolean => isSameDuty(a.duty, b.duty) && isSameDuty(a.away, b.away)

const isSameDuty = (a: Duty | undefined, b: Duty | undefined): boolean =>
  a === b ||
  (a !== undefined &&
    b !== undefined &&
    a.who === b.who &&
    a.startsAt === b.startsAt &&
    a.endsAt === b.endsAt &&
    a.by === b.by)
