/** Cases that would go another way, by why: lowered first, the most cases first. Keeps a few of each, so that memory does not grow. */
import type { Differing, Judged } from './what-if.ts'

export interface Group {
  readonly concern: string
  readonly cause: string
  readonly cases: number
  readonly lowered: number
  readonly raised: number
  readonly changed: number
  /** How many may come to more than one end, since something would be asked that nobody was asked. */
  readonly ranged: number
  readonly kinds: Readonly<Record<'disposition' | 'advice' | 'pages', number>>
  readonly examples: readonly Differing[]
}

export interface Totals {
  readonly cases: number
  readonly same: number
  readonly differing: number
  readonly lowered: number
  readonly raised: number
  readonly changed: number
  readonly partial: number
  readonly notComparable: Readonly<Record<'handed-to-people' | 'not-as-recorded' | 'no-such-concern', number>>
}

export interface Grouping {
  add(judged: Judged): void
  readonly totals: Totals
  /** Lowered first; of those with as many lowered, the one with more cases. */
  readonly groups: readonly Group[]
  /** Causes beyond those that are kept apart; their cases are counted in the totals. */
  readonly others: number
}

/** Groups that are kept apart: more would be read by nobody. */
const GROUPS_MOST = 500

type Draft = { -readonly [K in keyof Group]: Group[K] } & { kinds: Record<keyof Group['kinds'], number> }

/** @param examplesMost  cases of each group that are kept to be shown */
export function grouping(examplesMost: number): Grouping {
  const groups = new Map<string, Draft>()
  const totals = { cases: 0, same: 0, differing: 0, lowered: 0, raised: 0, changed: 0, partial: 0 }
  const notComparable = { 'handed-to-people': 0, 'not-as-recorded': 0, 'no-such-concern': 0 }
  let others = 0

  function groupOf({ recorded, cause }: Differing): Draft | undefined {
    const { concern } = recorded.head
    const key = `${concern} ${cause}`
    const known = groups.get(key)
    if (known !== undefined) return known
    if (groups.size >= GROUPS_MOST) return undefined
    const counts = { cases: 0, lowered: 0, raised: 0, changed: 0, ranged: 0 }
    const made: Draft = { concern, cause, ...counts, kinds: { disposition: 0, advice: 0, pages: 0 }, examples: [] }
    groups.set(key, made)
    return made
  }

  return {
    add(judged) {
      totals.cases += 1
      if (judged.kind === 'same') totals.same += 1
      if (judged.kind === 'not-comparable') notComparable[judged.why] += 1
      if (judged.kind !== 'differs') return
      const { direction, kinds } = judged.compared
      if (direction === 'same') return
      totals.differing += 1
      totals[direction] += 1
      if (judged.isPartial) totals.partial += 1
      const group = groupOf(judged)
      if (group === undefined) {
        others += 1
        return
      }
      group.cases += 1
      group[direction] += 1
      if (judged.may.length > 1) group.ranged += 1
      for (const kind of kinds) group.kinds[kind] += 1
      keepExample(group, judged, examplesMost)
    },
    get totals() {
      return { ...totals, notComparable }
    },
    get groups() {
      return [...groups.values()].toSorted((a, b) => b.lowered - a.lowered || b.raised - a.raised || b.cases - a.cases)
    },
    get others() {
      return others
    },
  }
}

/** One that is lowered takes the place of one that is not. */
function keepExample(group: Draft, judged: Differing, most: number): void {
  const examples = [...group.examples]
  if (examples.length < most) group.examples = [...examples, judged]
  else if (judged.compared.direction === 'lowered') {
    const milder = examples.findIndex(({ compared }) => compared.direction !== 'lowered')
    if (milder !== -1) group.examples = examples.with(milder, judged)
  }
}
