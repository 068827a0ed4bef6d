import type { Instant } from '../time/instant.ts'
import type { Clinic } from './clinic.ts'
import { rolesOf } from './rota.ts'
import { stretches } from './timeline.ts'

/** A stretch in which another person, or nobody, is on call than before. */
export interface RotaDifference {
  readonly role: string
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
  /** Ids of a person or desk; left out where nobody. */
  readonly before?: string
  readonly after?: string
}

/** Where two rotas differ in [from, until), role by role, in order. Stretches with the same two people are joined. */
export function rotaDifferences(
  before: Clinic,
  after: Clinic,
  from: Instant,
  until: Instant,
): readonly RotaDifference[] {
  const roles = [...new Set([...rolesOf(before), ...rolesOf(after)])]
  return roles.flatMap(role => {
    const was = stretches(before, role, from, until)
    const is = stretches(after, role, from, until)
    const edges = [...new Set([...was, ...is].map(one => one.from))].sort((a, b) => a - b)
    const found: RotaDifference[] = []
    let [a, b] = [0, 0]
    edges.forEach((edge, index) => {
      while ((was[a]?.until ?? until) <= edge && a < was.length - 1) a++
      while ((is[b]?.until ?? until) <= edge && b < is.length - 1) b++
      const [one, other] = [was[a]?.duty?.who, is[b]?.duty?.who]
      if (one === other) return
      const end = edges[index + 1] ?? until
      const last = found.at(-1)
      if (last !== undefined && last.until === edge && last.before === one && last.after === other)
        found[found.length - 1] = { ...last, until: end }
      else
        found.push({
          ...{ role, from: edge, until: end },
          ...(one === undefined ? {} : { before: one }),
          ...(other === undefined ? {} : { after: other }),
        })
    })
    return found
  })
}
