import { describe, expect, it } from 'vitest'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { aLine, shippedFlows } from '../support/a-line.ts'
import { type Lockstep, lockstep, lockstepWalks } from '../support/lockstep.ts'
import { smallFlow, smallFlows } from '../support/small-flows.ts'
import { seededRandom } from '../support/world.ts'

// The model of a flow against the bot's own step: every move is made to happen to a case, and the case is read back. What
// is walked in whole, and what only in part here, is walked in whole in the long suite.

function flatOf(flow: Flow, set: FlowSet, on: 'on' | 'off', merge: boolean) {
  return flatten(flow, set, { policies: Object.fromEntries(Object.keys(set.policies).map(id => [id, on])), merge })
}

function agrees(name: string, { states, compared, wider, differences, isWhole }: Lockstep): void {
  const reasons = [...wider].map(([reason, count]) => `${reason} ${count}`).join(', ')
  console.log(
    `${name}: ${states} states or steps, ${compared} moves${isWhole ? ', all' : ''}${reasons && `; wider: ${reasons}`}`,
  )
  expect(differences).toEqual([])
}

/** Where a move of the model cannot happen to this case; each is named in the decision on the model. */
const WIDER = new Set([
  'the page is more urgent',
  'chased often enough',
  'no instants fit',
  'not set',
  'no case came to this state',
])

describe('model and bot', () => {
  const line = aLine()
  const smallLine = aLine({}, { flows: smallFlows })

  it('someone: the same states, steps, questions and pages on every move', () => {
    const flow = shippedFlows.flows.get('someone') as Flow
    const result = lockstep(line, flatOf(flow, shippedFlows, 'off', false), 100_000)
    agrees('someone', result)
    expect(result.isWhole).toBe(true)
    expect([...result.wider.keys()]).toEqual([])
  })

  it.each([
    ['lists', 'off', 500],
    ['given', 'off', 700],
    ['moments', 'off', 500],
    ['follow-ups', 'off', 700],
    ['locks', 'on', 600],
    ['joins', 'on', 600],
  ] as const)('%s: the same on every move of the first states', (name, on, states) => {
    const result = lockstep(smallLine, flatOf(smallFlow(name), smallFlows, on, true), states)
    agrees(name, result)
    expect(result.compared).toBeGreaterThan(states)
    expect([...result.wider.keys()].filter(reason => !WIDER.has(reason))).toEqual([])
  })

  it.each(['off', 'on'] as const)('tube-out with every lock %s: the same on every move of the first states', on => {
    const flow = shippedFlows.flows.get('tube-out') as Flow
    const result = lockstep(line, flatOf(flow, shippedFlows, on, false), 1_500)
    agrees(`tube-out, locks ${on}`, result)
    expect([...result.wider.keys()].filter(reason => !WIDER.has(reason))).toEqual([])
  })

  it.each(['off', 'on'] as const)(
    'tube-out with every lock %s: the same along whole conversations drawn by chance',
    on => {
      const flow = shippedFlows.flows.get('tube-out') as Flow
      const random = seededRandom(20_261_125)
      const walks = { walks: 30, length: 40 }
      const result = lockstepWalks(line, flatOf(flow, shippedFlows, on, false), below => random.int(below), walks)
      agrees(`tube-out, locks ${on}, by chance`, result)
      expect(result.compared).toBeGreaterThan(800)
      expect(result.states).toBeGreaterThan(80)
      expect([...result.wider.keys()].filter(reason => !WIDER.has(reason))).toEqual([])
    },
  )

  it('is not satisfied with a model that knows a step less', () => {
    const flat = flatOf(shippedFlows.flows.get('someone') as Flow, shippedFlows, 'off', false)
    const nodes = flat.nodes.map(node => (node.id === 'start' ? { ...node, decides: 0 } : node))
    expect(lockstep(line, { ...flat, nodes }, 1_000).differences).not.toEqual([])
  })
})
