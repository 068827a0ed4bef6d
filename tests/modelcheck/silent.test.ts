import { describe, expect, it } from 'vitest'
import type { Flow } from '../../src/flow/flow-set.ts'
import type { Edge } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import { silentGraph } from '../../src/modelcheck/model/silent.ts'
import { checkFlow } from '../../src/modelcheck/rules/check-flow.ts'
import { shippedFlows } from '../support/a-line.ts'
import { shippedRules, withSteps } from '../support/rule-bench.ts'

const MIN = 60_000
const TUBE_OUT = shippedFlows.flows.get('tube-out') as Flow
const flat = flatten(TUBE_OUT, shippedFlows, {})
const ASK = flat.alarmOf.get('silent-ask') ?? -1
const PAGE = flat.alarmOf.get('silent-page') ?? -1
const time: Move = { kind: 'time', arg: 2, branch: 0 }
const alarm = (arg: number): Move => ({ kind: 'alarm', arg, branch: 0 })

/** A graph of edges `[from, to, move, is met]`, in the order of the walk. */
function graphOf(edges: readonly (readonly [number, number, Move, boolean])[]) {
  const graph = silentGraph(flat, { ask: 10 * MIN, page: 20 * MIN })
  for (const [from, to, move, isMet] of edges)
    graph.add(
      { from, to, move, isNew: false, before: undefined, after: new Int32Array() } satisfies Edge,
      Number(isMet),
    )
  return graph
}

describe('silence', () => {
  const CHASED = [
    [0, 1, alarm(ASK), false],
    [0, 0, alarm(PAGE), true],
    [1, 1, alarm(PAGE), true],
  ] as const

  it('is paged in the clinic’s time, whether or not time passes that nothing ahead reads', () => {
    expect(graphOf(CHASED).worstFrom(0, 0).after).toBe(20 * MIN)
    expect(graphOf([[0, 0, time, false], ...CHASED]).worstFrom(0, 0).after).toBe(20 * MIN)
  })

  it('in which only time passes is never paged', () => {
    expect(graphOf([[0, 0, time, false]]).worstFrom(0, 0).after).toBe(Number.POSITIVE_INFINITY)
    expect(graphOf([[0, 0, time, false]]).leadsOn(0)).toBe(false)
  })

  it('in which an alarm comes again and again without a page is never paged', () => {
    const round = graphOf([[0, 0, alarm(flat.alarmOf.get('left-again') ?? -1), false], ...CHASED.slice(1)])
    expect(round.worstFrom(0, 0).after).toBe(Number.POSITIVE_INFINITY)
  })
})

describe('a family that answers after the opening is overdue, and then falls silent', () => {
  const ANSWERS = {
    'in-opening': ['nothing'],
    'danger-signs': ['none'],
    device: ['balloon-button'],
    'first-placed': ['under-first-days'],
    'fasting-risk': ['none'],
    'critical-medicine-due': ['no'],
    travel: ['answered'],
    'out-since': ['answered'],
  }
  const SILENCE = { ...shippedRules, rules: shippedRules.rules.filter(({ id }) => id === 'silence-is-paged') }
  const found = (flow: Flow) =>
    checkFlow(flow, shippedFlows, SILENCE, {
      settings: {
        lengths: { 'left-check': 10 * MIN, 'left-silent': 20 * MIN, 'promise-grace': MIN },
        settledNeedsChange: true,
        sayable: new Map(),
      },
      now: () => 0,
      policies: {},
      interruptions: 'once',
      only: ANSWERS,
    }).report

  it('is paged: time that no step ahead reads is no way to stay unpaged', () => {
    const report = found(TUBE_OUT)
    expect(report.states).toBeGreaterThan(100)
    const rules = report.findings.map(({ rule }) => rule)
    expect(rules).not.toContain('silence-is-paged')
    expect(rules).not.toContain('left-alone-in-silence')
  })

  it('is found where the step that pages silence pages nobody', () => {
    const mute = withSteps(TUBE_OUT, { 'shared/silence-page': { page: undefined } as never })
    expect(found(mute).findings.map(({ rule }) => rule)).toContain('silence-is-paged')
  })
})
