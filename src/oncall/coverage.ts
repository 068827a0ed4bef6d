import { type Instant, instant } from '../time/instant.ts'
import type { Clinic, Desk, Person, Rota, When } from './clinic.ts'
import { type Duty, rankOf } from './duty.ts'
import { type OpenBetween, openingsBetween } from './opening.ts'
import { rolesOf } from './rota.ts'
import { type Stretch, stretches, undatedBetween } from './timeline.ts'
import { instantsOf, isMinuteWithin, wallTimeAt } from './wall-time.ts'

/** A stretch of time in which something the ladder counts on is missing. */
export interface Uncovered {
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
}

/** A rung's role that leads to nobody while the rung is in use. */
export interface RungUncovered extends Uncovered {
  readonly rung: number
  readonly role: string
  readonly because: 'nobody-on-call' | 'on-leave' | Unreachable
  /** Who stands there and cannot be paged, or is away. */
  readonly who?: string
}

type Unreachable = 'unknown-id' | 'has-left' | 'no-address'

/** Two people whom the rota puts into one role at once, beyond what a clock change brings. */
export interface Overlap extends Uncovered {
  readonly role: string
  /** Who is paged. */
  readonly pages: string
  /** Who is not, though the rota has them too. */
  readonly also: string
}

/** What a look through the coming time finds. */
export interface Coverage {
  /** By rung, in order. */
  readonly rungs: readonly RungUncovered[]
  /** The ladder reaches nobody at all. */
  readonly empty: readonly Uncovered[]
  /** The whole ladder is one and the same person or desk, by its id. */
  readonly single: readonly (Uncovered & { readonly id: string })[]
  readonly overlaps: readonly Overlap[]
}

/** Why a person or desk that the rota names cannot be paged; undefined where they can. */
export function unreachableBecause(who: Person | Desk | undefined): Unreachable | undefined {
  if (who === undefined) return 'unknown-id'
  if (who.kind === 'person' && who.left === true) return 'has-left'
  return who.pageAt.length === 0 ? 'no-address' : undefined
}

/** Looks through [from, until). Each kind of finding is told in order of time. */
export function coverageOf(clinic: Clinic, from: Instant, until: Instant): Coverage {
  const plan = planOf(clinic, from, until)
  const rungs = clinic.ladder.map(() => [] as RungUncovered[])
  const empty: Uncovered[] = []
  const single: (Uncovered & { id: string })[] = []
  plan.edges.forEach((edge, index) => {
    const end = plan.edges[index + 1] ?? until
    plan.to(edge)
    let first: string | undefined
    let isOne = true
    for (let place = 0; place < clinic.ladder.length; place++) {
      const found = plan.rung(place)
      if (found === undefined) continue
      if (typeof found === 'string') {
        first ??= found
        isOne &&= found === first
      } else if (found.role !== undefined) {
        const hole = { from: edge, until: end, rung: place, role: found.role, because: found.because }
        extend(rungs[place] ?? [], found.who === undefined ? hole : { ...hole, who: found.who })
      }
    }
    if (first === undefined) extend(empty, { from: edge, until: end })
    else if (isOne) extend(single, { from: edge, until: end, id: first })
  })
  return {
    rungs: rungs.flat(),
    empty,
    single,
    overlaps: rolesOf(clinic).flatMap(role => overlapsOf(clinic, role, from, until)),
  }
}

/** Lengthens the last finding where the next one says the same and follows on it. */
function extend<T extends Uncovered>(found: T[], next: T): void {
  const last = found.at(-1)
  const isOn = last !== undefined && last.until === next.from && isAlike(last, next)
  if (isOn) found[found.length - 1] = { ...last, until: next.until }
  else found.push(next)
}

const isAlike = (a: Uncovered & { because?: string; who?: string; id?: string }, b: typeof a): boolean =>
  a.because === b.because && a.who === b.who && a.id === b.id

/** What a rung leads to at the moment looked at: the id of who is reached, or why nobody is; undefined while it is not in use. */
type RungNow = string | { readonly role?: string; readonly because: RungUncovered['because']; readonly who?: string }

/** Every instant at which what the ladder gives can change, and a walk over them that never looks back. */
interface Plan {
  readonly edges: readonly Instant[]
  to(at: Instant): void
  rung(place: number): RungNow | undefined
}

function planOf(clinic: Clinic, from: Instant, until: Instant): Plan {
  const roles = [...new Set(clinic.ladder.flatMap(rung => (rung.kind === 'role' ? [rung.role] : [])))]
  const walks = new Map(roles.map(role => [role, walkOf(stretches(clinic, role, from, until))]))
  const openings = openingsBetween(clinic, from, until)
  const edges: Instant[] = [from, ...hoursEdges(clinic, from, until)]
  for (const { list } of walks.values()) for (const stretch of list) edges.push(stretch.from)
  for (const { opensAt, closesAt } of openings) edges.push(opensAt, closesAt)
  const within = [...new Set(edges.filter(edge => edge >= from && edge < until))].sort((a, b) => a - b)
  const why = new Map([...clinic.people, ...clinic.desks].map(one => [one.id, unreachableBecause(one)]))
  const faultOf = (id: string) => (why.has(id) ? why.get(id) : 'unknown-id')
  let now = from
  let opened = 0
  let isOpen = false
  const inUse = (when: When): boolean => {
    switch (when.kind) {
      case 'always':
        return true
      case 'open':
        return isOpen
      case 'closed':
        return !isOpen
      case 'between':
        return isMinuteWithin(wallTimeAt(clinic.zone, now).minute, when.from, when.to)
    }
  }
  return {
    edges: within,
    to(at) {
      now = at
      for (const { to } of walks.values()) to(at)
      // Openings of neighbouring days may overlap: the first that has not closed tells.
      while ((openings[opened]?.closesAt ?? Number.POSITIVE_INFINITY) <= at) opened++
      isOpen = isWithin(openings, opened, at)
    },
    rung(place) {
      const rung = clinic.ladder[place]
      if (rung === undefined || !inUse(rung.when)) return undefined
      if (rung.kind !== 'role') {
        const because = faultOf(rung.id)
        return because === undefined ? rung.id : { because, who: rung.id }
      }
      const stretch = walks.get(rung.role)?.now()
      const who = stretch?.duty?.who
      if (who === undefined) {
        const away = stretch?.away?.who
        if (away !== undefined) return { role: rung.role, because: 'on-leave', who: away }
        return { role: rung.role, because: 'nobody-on-call' }
      }
      const because = faultOf(who)
      return because === undefined ? who : { role: rung.role, because, who }
    },
  }
}

/** Whether one of the openings from `first` on holds an instant; they are in order of their beginnings. */
function isWithin(openings: readonly OpenBetween[], first: number, at: Instant): boolean {
  for (let place = first; ; place++) {
    const one = openings[place]
    if (one === undefined || one.opensAt > at) return false
    if (at < one.closesAt) return true
  }
}

/** A place in a list of stretches that only goes on. */
function walkOf(list: readonly Stretch[]) {
  let place = 0
  return {
    list,
    to(at: Instant) {
      while (place < list.length - 1 && (list[place]?.until ?? at) <= at) place++
    },
    now: () => list[place],
  }
}

/** Edges of rungs that are in use at some hours only. */
function hoursEdges(clinic: Clinic, from: Instant, until: Instant): readonly Instant[] {
  const hours = clinic.ladder.flatMap(({ when }) => (when.kind === 'between' ? [when.from, when.to] : []))
  if (hours.length === 0) return []
  const edges: Instant[] = [...offsetChanges(clinic.zone, from, until)]
  const lastDay = wallTimeAt(clinic.zone, until).day
  for (let day = wallTimeAt(clinic.zone, from).day; day <= lastDay; day++) {
    for (const minute of hours) {
      const { earlier, later } = instantsOf(clinic.zone, { day, minute })
      edges.push(earlier, later)
    }
  }
  return edges
}

/** Quarter hours of [from, until) at which the zone's wall clock jumps: rungs with hours may change there. */
function offsetChanges(zone: string, from: Instant, until: Instant): readonly Instant[] {
  const quarterMs = 900_000
  const dayMs = 86_400_000
  const jump = (a: number, b: number) => {
    const before = wallTimeAt(zone, instant(a))
    const after = wallTimeAt(zone, instant(b))
    return (after.day - before.day) * 1440 + after.minute - before.minute !== (b - a) / 60_000
  }
  const found: Instant[] = []
  for (let day = Math.floor(from / quarterMs) * quarterMs; day < until; day += dayMs) {
    if (!jump(day, day + dayMs)) continue
    for (let at = day; at < day + dayMs; at += quarterMs)
      if (jump(at, at + quarterMs)) found.push(instant(at + quarterMs))
  }
  return found
}

/**
 * Duties of one height that hold at once for two people. What a changed clock brings is none, and of two changes by date the
 * later line stands above: those are told by their lines, where the file is read.
 */
function overlapsOf(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Overlap[] {
  const known = overlapsKnown.get(clinic.rota)
  const key = `${clinic.zone} ${role} ${from} ${until}`
  const found = known?.get(key) ?? overlapsFound(clinic, role, from, until)
  // Several ladders over one rota ask the same in turn.
  if (known === undefined || known.size >= OVERLAPS_MOST) overlapsKnown.set(clinic.rota, new Map([[key, found]]))
  else known.set(key, found)
  return found
}

const OVERLAPS_MOST = 32
const overlapsKnown = new WeakMap<Rota, Map<string, readonly Overlap[]>>()

function overlapsFound(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Overlap[] {
  const found: Overlap[] = []
  let open: Duty[] = []
  const duties = undatedBetween(clinic, role, from, until).toSorted((a, b) => a.startsAt - b.startsAt)
  for (const duty of duties) {
    open = open.filter(one => one.endsAtLeast > duty.startsAt)
    for (const one of open) {
      if (one.who === duty.who || rankOf(one) !== rankOf(duty)) continue
      const start = instant(Math.max(duty.startsAt, from))
      const end = instant(Math.min(one.endsAtLeast, duty.endsAtLeast, until))
      if (end <= start) continue
      found.push({ role, from: start, until: end, pages: duty.who, also: one.who })
    }
    open.push(duty)
  }
  return found
}
