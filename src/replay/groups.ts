/** Cases that would go another way, by why: lowered first, the most cases first. Keeps a few of each, so that memory does not grow. */
import type { Compared } from './outcome.ts'
import type { Verdict } from './what-if.ts'

/** @typeParam E  what is kept of a case to show it */
export interface Group<E> {
  readonly concern: string
  readonly cause: string
  readonly cases: number
  readonly lowered: number
  readonly raised: number
  readonly changed: number
  /** How many may come to more than one end, since something would be asked that nobody was asked. */
  readonly ranged: number
  readonly kinds: Readonly<Record<'disposition' | 'advice' | 'pages', number>>
  readonly examples: readonly E[]
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

export interface Grouping<E> {
  add(verdict: Verdict, example: E): void
  readonly totals: Totals
  /** Lowered first; of those with as many lowered, the one with more cases. */
  readonly groups: readonly Group<E>[]
  /** Causes beyond those that are kept apart; their cases are counted in the totals. */
  readonly others: number
}

/** Groups that are kept apart: more would be read by nobody. */
const GROUPS_MOST = 500

interface Draft<E> {
  readonly concern: string
  readonly cause: string
  cases: number
  lowered: number
  raised: number
  changed: number
  ranged: number
  readonly kinds: Record<keyof Group<E>['kinds'], number>
  examples: readonly { readonly direction: Compared['direction']; readonly example: E }[]
}

/** @param examplesMost  cases of each group that are kept to be shown */
export function grouping<E>(examplesMost: number): Grouping<E> {
  const groups = new Map<string, Draft<E>>()
  const totals = { cases: 0, same: 0, differing: 0, lowered: 0, raised: 0, changed: 0, partial: 0 }
  const notComparable = { 'handed-to-people': 0, 'not-as-recorded': 0, 'no-such-concern': 0 }
  let others = 0

  function groupOf(concern: string, cause: string): Draft<E> | undefined {
    const key = `${concern} ${cause}`
    const known = groups.get(key)
    if (known !== undefined) return known
    if (groups.size >= GROUPS_MOST) return undefined
    const counts = { cases: 0, lowered: 0, raised: 0, changed: 0, ranged: 0 }
    const made: Draft<E> = { concern, cause, ...counts, kinds: { disposition: 0, advice: 0, pages: 0 }, examples: [] }
    groups.set(key, made)
    return made
  }

  return {
    add(verdict, example) {
      totals.cases += 1
      if (verdict.kind === 'same') totals.same += 1
      if (verdict.kind === 'not-comparable') notComparable[verdict.why] += 1
      if (verdict.kind !== 'differs') return
      const { direction, kinds } = verdict.compared
      if (direction === 'same') return
      totals.differing += 1
      totals[direction] += 1
      if (verdict.isPartial) totals.partial += 1
      const group = groupOf(verdict.concern, verdict.cause)
      if (group === undefined) {
        others += 1
        return
      }
      group.cases += 1
      group[direction] += 1
      if (verdict.ways > 1) group.ranged += 1
      for (const kind of kinds) group.kinds[kind] += 1
      keepExample(group, { direction, example }, examplesMost)
    },
    get totals() {
      return { ...totals, notComparable }
    },
    get groups() {
      return [...groups.values()]
        .toSorted((a, b) => b.lowered - a.lowered || b.raised - a.raised || b.cases - a.cases)
        .map(group => ({ ...group, examples: group.examples.map(({ example }) => example) }))
    },
    get others() {
      return others
    },
  }
}

/** One that is lowered takes the place of one that is not. */
function keepExample<E>(group: Draft<E>, one: Draft<E>['examples'][number], most: number): void {
  const { examples } = group
  if (examples.length < most) group.examples = [...examples, one]
  else if (one.direction === 'lowered') {
    const milder = examples.findIndex(({ direction }) => direction !== 'lowered')
    if (milder !== -1) group.examples = examples.with(milder, one)
  }
}
