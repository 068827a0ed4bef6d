/**
 * Answers that are certain from here on, and what lies ahead once they are taken for granted. Where a tube through the nose
 * is certain, every step ahead that looks at that first takes its row for it: what the rows below it read, and the steps they
 * lead to, lie ahead no more.
 */

import { nextOf, reachedFrom } from './steps-ahead.ts'
import { type FlatFlow, type FlatNode, holds, RESUME, type Test } from './tables.ts'

/**
 * Facts whose value, and whether talk sees it, nothing that lies ahead changes.
 *
 * @param leavesAgain  what follows "can't travel" is walked
 * @param lies   steps that lie ahead on every way
 * @param turns  turning steps on the trail; those that lie ahead count too
 */
export function certainIn(
  flat: FlatFlow,
  leavesAgain: boolean,
): (lies: ReadonlySet<number>, turns: readonly number[]) => readonly number[] {
  const { nodes, cells, fieldOf } = flat
  const undone = leavesAgain ? ['have-you-arrived'] : []
  const byTheWay = ['can-travel', 'have-you-left', 'first-placed', ...undone].flatMap(fact => fieldOf.get(fact) ?? [])
  const isSet = cells.map(cell => cell.domain.document.settable === true)
  const reached = nodes.map((_, at) => reachedFrom(flat, [at]))
  const asksOf = cells.map((_, field) => nodes.flatMap((node, at) => (node.ask === field ? [at] : [])))
  const isAsked = (field: number, some: ReadonlySet<number>) => asksOf[field]?.some(at => some.has(at)) === true
  const isAskedBy = (field: number, turn: number) =>
    asksOf[field]?.some(at => at === turn || reached[at]?.has(turn) === true) === true
  return (lies, turns) => {
    const all = [...turns, ...flat.turning.filter(at => lies.has(at))]
    const isSetAhead = (field: number) => [...lies].some(at => nodes[at]?.sets.some(each => each.field === field))
    return cells.flatMap((_, field) => {
      if (byTheWay.includes(field)) return []
      if (isSet[field] === true) return isSetAhead(field) ? [] : [field]
      // A turn forgets what was asked after it, and a way that joins again takes back what was asked between.
      const stays = all.every(turn => isAskedBy(field, turn) && !isAsked(field, reached[turn] ?? NOTHING))
      return isAsked(field, lies) || !stays ? [] : [field]
    })
  }
}
const NOTHING: ReadonlySet<number> = new Set()

/** What lies ahead, with the tests that decide there. */
export interface Ahead {
  readonly steps: readonly number[]
  /** By step; undefined where it does not lie ahead. */
  readonly tests: readonly (readonly Test[] | undefined)[]
}

/** Follows steps by the rows that can still fit: below one that surely fits none is taken, and one that surely fails leads nowhere. */
export type Following = (starts: readonly number[], certain: ReadonlySet<number>, state: Int32Array) => Ahead

/** @param testsOf  by step, all tests of its rows: given back as they are where no certain answer decides one */
export function followingIn(flat: FlatFlow, testsOf: readonly (readonly Test[])[] = rowTestsOf(flat)): Following {
  const { nodes, alarms } = flat
  const next = nodes.map((_, at) => nextOf(flat, at))
  /** A row without a condition surely fits. */
  const endsEarly = nodes.map(({ rows }) => rows.slice(0, -1).some(row => row.tests.length === 0))
  const decidedBy = new WeakMap<ReadonlySet<number>, readonly boolean[]>()
  const isDecided = (certain: ReadonlySet<number>) => (test: Test) =>
    test.fields.length > 0 && test.fields.every(field => certain.has(field))

  /** By step, whether certain answers decide one of its tests. */
  function decidedIn(certain: ReadonlySet<number>): readonly boolean[] {
    const found = decidedBy.get(certain)
    if (found !== undefined) return found
    const made = testsOf.map((tests, at) => endsEarly[at] === true || tests.some(isDecided(certain)))
    decidedBy.set(certain, made)
    return made
  }

  return (starts, certain, state) => {
    const steps: number[] = []
    const tests: (readonly Test[] | undefined)[] = nodes.map(() => undefined)
    const decided = decidedIn(certain)
    const isCertain = isDecided(certain)
    const queue = [...starts]

    /** The tests of a step that can still matter; its ways on are put into the queue. */
    function follow(node: FlatNode, at: number): readonly Test[] {
      const own: Test[] = []
      for (const row of node.rows) {
        const failing = row.tests.find(test => isCertain(test) && !holds(test, state))
        if (failing !== undefined) {
          own.push(failing)
          continue
        }
        own.push(...row.tests)
        if (row.go !== RESUME) queue.push(row.go)
        if (row.tests.every(isCertain)) break
      }
      for (const { alarm } of node.alarms) queue.push(alarms[alarm]?.target ?? at)
      return own
    }

    for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
      if (at === RESUME || tests[at] !== undefined) continue
      steps.push(at)
      if (decided[at] === true) tests[at] = follow(nodes[at] as FlatNode, at)
      else {
        tests[at] = testsOf[at] ?? []
        for (const each of next[at] ?? []) queue.push(each)
      }
    }
    return { steps, tests }
  }
}

/** By step, all tests of its rows. */
export const rowTestsOf = ({ nodes }: Pick<FlatFlow, 'nodes'>): readonly (readonly Test[])[] =>
  nodes.map(({ rows }) => rows.flatMap(row => row.tests))
