import { describe, expect, it } from 'vitest'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { comparer } from '../../src/modelcheck/model/compare.ts'
import { explore, TooManyStates } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { shippedFlows } from '../support/a-line.ts'
import { SMALL_NAMES, smallFlow, smallFlows } from '../support/small-flows.ts'

const flatOf = (flow: Flow, set: FlowSet, on: 'on' | 'off') =>
  flatten(flow, set, { policies: Object.fromEntries(Object.keys(set.policies).map(id => [id, on])) })

function compared(flat: FlatFlow, resume: 'return' | 'replay', statesMost: number) {
  const made = comparer(flat)
  const began = performance.now()
  try {
    explore(flat, { resume, onMover: made.listen, statesMost })
  } catch (error) {
    if (!(error instanceof TooManyStates)) throw error
  }
  return { ...made.result(), milliseconds: performance.now() - began }
}

describe('tables and the machine that serves', () => {
  it.each(SMALL_NAMES)('%s: the same steps on every input of the kernel', name => {
    for (const on of ['off', 'on'] as const) {
      const result = compared(flatOf(smallFlow(name), smallFlows, on), 'return', 1_000_000)
      expect(result.disagreements).toEqual([])
      expect(result.compared).toBeGreaterThan(100)
    }
  })

  it.each([...shippedFlows.flows.keys()])('%s: the same steps, with every lock on and off', name => {
    const flow = shippedFlows.flows.get(name) as Flow
    for (const on of ['off', 'on'] as const)
      for (const resume of ['return', 'replay'] as const) {
        const result = compared(flatOf(flow, shippedFlows, on), resume, 5_000)
        const rate = Math.round((result.driven / result.milliseconds) * 1_000)
        console.log(
          `${name}, locks ${on}, ${resume}: ${result.compared} inputs, ${result.driven} events, ${rate} a second`,
        )
        expect(result.disagreements).toEqual([])
      }
  })

  it('a flow whose way hangs on who has the case is not walked, instead of walked wrongly', () => {
    const flow = smallFlow('lists')
    const steps = new Map(flow.steps)
    const begin = steps.get('begin')
    if (begin === undefined) throw new Error('no step "begin"')
    steps.set('begin', { ...begin, rows: [{ if: { callout: ['taken'] }, go: 'plan' }, ...begin.rows] })
    expect(() => flatOf({ ...flow, steps }, smallFlows, 'off')).toThrow('"callout" is worked out from what no model')
  })

  it('a table with one route turned is found out', () => {
    const flat = flatOf(smallFlow('lists'), smallFlows, 'off')
    const nodes = flat.nodes.map(node => (node.id === 'unwell' ? { ...node, rows: node.rows.slice(1) } : node))
    const { disagreements } = compared({ ...flat, nodes }, 'return', 1_000_000)
    expect(disagreements[0]).toMatchObject({ from: 'unwell', event: 'answered' })
  })
})
