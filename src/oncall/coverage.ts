import { type Instant, instant } from '../time/instant.ts'
import type { Clinic, Desk, Person, Rota, When } from './clinic.ts'
import { type Duty, rankOf } from './duty.ts'
import { edgesWithin } from './edges.ts'
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
  const rungs = clinic.ladder.map(() => [] as Growing<RungUncovered>[])
  const empty: Growing<Uncovered>[] = []
  const single: Growing<Uncovered & { id: string }>[] = []
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
        const holes = rungs[place] ?? []
        const last = holes.at(-1)
        const isOn = last?.until === edge && last.because === found.because && last.who === found.who
        if (isOn) last.until = end
        else holes.push({ from: edge, until: end, rung: place, ...found, role: found.role })
      }
    }
    if (first === undefined) {
      const last = empty.at(-1)
      if (last?.until === edge) last.until = end
      else empty.push({ from: edge, until: end })
    } else if (isOne) {
      const last = single.at(-1)
      if (last?.until === edge && last.id === first) last.until = end
      else single.push({ from: edge, until: end, id: first })
    }
  })
  return {
    rungs: rungs.flat(),
    empty,
    single,
    overlaps: rolesOf(clinic).flatMap(role => overlapsOf(clinic, role, from, until)),
  }
}

/** A finding that the next edge may lengthen. */
type Growing<T extends Uncovered> = Omit<T, 'until'> & { until: Instant }

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
  const walks = new Map(roles.map(role => [role, walkOf(stretchesOnce(clinic, role, from, until))]))
  const steps = [...walks.values()]
  const rungs = clinic.ladder.map(rung => ({ ...rung, walk: rung.kind === 'role' ? walks.get(rung.role) : undefined }))
  const openings = openingsBetween(clinic, from, until)
  const edges: Instant[] = [from, ...hoursEdges(clinic, from, until)]
  for (const { list } of walks.values()) for (const stretch of list) edges.push(stretch.from)
  for (const { opensAt, closesAt } of openings) edges.push(opensAt, closesAt)
  const why = new Map<string, Unreachable | 'none'>()
  for (const one of [...clinic.people, ...clinic.desks]) why.set(one.id, unreachableBecause(one) ?? 'none')
  const faultOf = (id: string): Unreachable | undefined => {
    const fault = why.get(id) ?? 'unknown-id'
    return fault === 'none' ? undefined : fault
  }
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
    edges: edgesWithin(edges, from, until),
    to(at) {
      now = at
      for (const walk of steps) walk.to(at)
      // Openings of neighbouring days may overlap: the first that has not closed tells.
      while ((openings[opened]?.closesAt ?? Number.POSITIVE_INFINITY) <= at) opened++
      isOpen = isWithin(openings, opened, at)
    },
    rung(place) {
      const rung = rungs[place]
      if (rung === undefined || !inUse(rung.when)) return undefined
      if (rung.kind !== 'role') {
        const because = faultOf(rung.id)
        return because === undefined ? rung.id : { because, who: rung.id }
      }
      const stretch = rung.walk?.now()
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

const overlapsOf = onceForRota(overlapsFound)
const stretchesOnce = onceForRota(stretches)

/** Several ladders over one rota ask the same in turn: what was worked out last for a rota is remembered. */
function onceForRota<Of>(
  worked: (clinic: Clinic, role: string, from: Instant, until: Instant) => Of,
): (clinic: Clinic, role: string, from: Instant, until: Instant) => Of {
  const remembered = new WeakMap<Rota, Map<string, Of>>()
  return (clinic, role, from, until) => {
    const known = remembered.get(clinic.rota)
    const key = `${clinic.zone} ${role} ${from} ${until}`
    const found = known?.get(key) ?? worked(clinic, role, from, until)
    if (known === undefined || known.size >= REMEMBERED_MOST) remembered.set(clinic.rota, new Map([[key, found]]))
    else known.set(key, found)
    return found
  }
}

const REMEMBERED_MOST = 32

/**
 * Duties of one height that hold at once for two people. What a changed clock brings is none, and of two changes by date the
 * later line stands above: those are told by their lines, where the file is read.
 */
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
