import { describe, expect, it } from 'vitest'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { explore } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { type FlatNode, holds } from '../../src/modelcheck/model/tables.ts'
import { shippedFlows } from '../support/a-line.ts'
import { SMALL_NAMES, smallFlow, smallFlows } from '../support/small-flows.ts'

// The reduced walk (answers merged, talk returns, what nothing reads is forgotten) against the walk that does what the bot
// does: talk replayed from its start with every answer on record.

interface Entered {
  /** Steps entered for the first time on their way, with the row they are left by, and how urgent the case is. */
  readonly fresh: ReadonlySet<string>
  readonly all: ReadonlySet<string>
  readonly states: number
}

function enteredIn(flow: Flow, set: FlowSet, on: string, isReduced: boolean): Entered {
  const policies = Object.fromEntries(Object.keys(set.policies).map(id => [id, on]))
  const flat = flatten(flow, set, { policies, merge: isReduced })
  const { fields: F } = flat
  const fresh = new Set<string>()
  const all = new Set<string>()
  // What rows below the one that is taken read decides nothing there, so it may have been forgotten.
  const seen = (node: FlatNode, state: Int32Array) =>
    node.ask >= 0 ? allRead(node, state) : node.rows.findIndex(row => row.tests.every(test => holds(test, state)))
  const allRead = (node: FlatNode, state: Int32Array) =>
    node.rows.map(row =>
      row.tests.filter(({ fields }) => fields.includes(node.ask)).map(test => Number(holds(test, state))),
    )
  const { states } = explore(flat, {
    resume: isReduced ? 'return' : 'replay',
    onMover(made) {
      made.onEntered = (at, state, how) => {
        const node = flat.nodes[at] as FlatNode
        const urgency = Math.max(state[F.decided] as number, state[F.floor] as number)
        const flags = [F.interrupted, F.danger, F.left, F.paged].map(field => state[field]).join('')
        const key = `${node.id} ${seen(node, state)} ${urgency} ${flags}`
        all.add(key)
        if (!how.replaying) fresh.add(key)
      }
    },
  })
  return { fresh, all, states }
}

const minus = (a: ReadonlySet<string>, b: ReadonlySet<string>) => [...a].filter(key => !b.has(key)).toSorted()

const CASES = [
  ...SMALL_NAMES.map(name => ({ name, flow: smallFlow(name), set: smallFlows as FlowSet, on: 'off' })),
  { name: 'locks, open', flow: smallFlow('locks'), set: smallFlows, on: 'on' },
  { name: 'joins, open', flow: smallFlow('joins'), set: smallFlows, on: 'on' },
  { name: 'someone', flow: shippedFlows.flows.get('someone') as Flow, set: shippedFlows, on: 'off' },
]

/** The walk that forgets nothing has some hundred thousand states. */
const LONG_MS = 240_000

describe('the reduced walk', () => {
  it.each(CASES)(
    '$name: enters the same steps under the same conditions as the walk that forgets nothing',
    ({ name, flow, set, on }) => {
      const whole = enteredIn(flow, set, on, false)
      const reduced = enteredIn(flow, set, on, true)
      console.log(
        `${name}: ${whole.states} states, reduced ${reduced.states} (${(whole.states / reduced.states).toFixed(1)}×)`,
      )
      expect(minus(whole.fresh, reduced.fresh)).toEqual([])
      expect(minus(reduced.all, whole.all)).toEqual([])
      expect(whole.fresh.size).toBeGreaterThan(20)
    },
    LONG_MS,
  )
})
