import { type Instant, instant } from '../time/instant.ts'
import type { Clinic, Rung } from './clinic.ts'
import { isInUse, rungsAt } from './ladder.ts'
import { openingsBetween } from './opening.ts'
import { rolesOf } from './rota.ts'
import { stretches } from './timeline.ts'
import { instantsOf, wallTimeAt } from './wall-time.ts'

/** A stretch of time in which something the ladder counts on is missing. */
export interface Uncovered {
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
}

/** A rung's role that has nobody while the rung is in use. */
export interface RungUncovered extends Uncovered {
  readonly rung: number
  readonly role: string
}

/** Every instant of [from, until) at which what the ladder gives can change: edges of shifts, opening hours, rung hours. */
function edgesBetween(clinic: Clinic, from: Instant, until: Instant): readonly Instant[] {
  const edges: Instant[] = [from]
  for (const role of rolesOf(clinic)) {
    for (const stretch of stretches(clinic, role, from, until)) edges.push(stretch.from, stretch.until)
  }
  for (const { opensAt, closesAt } of openingsBetween(clinic, from, until)) edges.push(opensAt, closesAt)
  const firstDay = wallTimeAt(clinic.zone, from).day
  const lastDay = wallTimeAt(clinic.zone, until).day
  for (const { when } of clinic.ladder) {
    if (when.kind !== 'between') continue
    for (let day = firstDay; day <= lastDay; day++) {
      for (const minute of [when.from, when.to]) {
        const { earlier, later } = instantsOf(clinic.zone, { day, minute })
        edges.push(earlier, later)
      }
    }
  }
  edges.push(...offsetChanges(clinic.zone, from, until))
  const within = edges.filter(edge => edge >= from && edge < until)
  return [...new Set(within)].sort((a, b) => a - b)
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

/** Joins neighbouring [edge, next edge) pieces for which `missing` holds. */
function joined(edges: readonly Instant[], until: Instant, missing: (at: Instant) => boolean): readonly Uncovered[] {
  const found: Uncovered[] = []
  edges.forEach((from, index) => {
    if (!missing(from)) return
    const end = edges[index + 1] ?? until
    const last = found.at(-1)
    if (last?.until === from) found[found.length - 1] = { from: last.from, until: end }
    else found.push({ from, until: end })
  })
  return found
}

/** Stretches of [from, until) in which the ladder reaches nobody at all. */
export function ladderEmptyBetween(clinic: Clinic, from: Instant, until: Instant): readonly Uncovered[] {
  return joined(edgesBetween(clinic, from, until), until, at => rungsAt(clinic, at).length === 0)
}

/** Stretches of [from, until) in which a rung in use names a role that has nobody on call. */
export function rungsUncovered(clinic: Clinic, from: Instant, until: Instant): readonly RungUncovered[] {
  const edges = edgesBetween(clinic, from, until)
  return clinic.ladder.flatMap((rung: Rung, index) => {
    if (rung.kind !== 'role') return []
    const holes = stretches(clinic, rung.role, from, until).filter(stretch => stretch.duty === undefined)
    const missing = (at: Instant) =>
      isInUse(clinic, rung.when, at) && holes.some(hole => hole.from <= at && at < hole.until)
    return joined(edges, until, missing).map(hole => ({ ...hole, rung: index, role: rung.role }))
  })
}

/** Stretches of [from, until) in which the whole ladder is one and the same person or desk. */
export function ladderSingleBetween(
  clinic: Clinic,
  from: Instant,
  until: Instant,
): readonly (Uncovered & { id: string })[] {
  const only = (at: Instant) => {
    const ids = new Set(rungsAt(clinic, at).map(reached => reached.id))
    return ids.size === 1 ? [...ids][0] : undefined
  }
  const edges = edgesBetween(clinic, from, until)
  const ids = [...new Set(edges.map(only))].filter(id => id !== undefined)
  return ids.flatMap(id => joined(edges, until, at => only(at) === id).map(stretch => ({ ...stretch, id })))
}
