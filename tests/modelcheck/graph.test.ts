import { describe, expect, it } from 'vitest'
import type { AnyMachineSnapshot, AnyStateMachine } from 'xstate'
import { getAdjacencyMap } from 'xstate/graph'
import type { KernelFacts } from '../../src/flow/kernel.ts'
import { explore } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { flowsOf, shippedFiles } from '../support/a-line.ts'

// Outside check: `getAdjacencyMap` of xstate/graph 5.33.3 walks the same machine by itself. It knows no case, so it is given
// a flow of plain choices, in which an answer is a fact and nothing else, and every event that can happen.

const FACTS = ['feed-running', 'changed-before', 'with-child', 'acid-medicine'] as const
const VALUES = ['yes', 'no', 'unsure'] as const

const FLOW = `concern: choices
start: a
steps:
  a: { decide: speak, ask: feed-running, route: [{ if: { feed-running: [yes] }, go: b }, { go: c }] }
  b: { ask: changed-before, route: [{ if: { changed-before: [yes] }, go: c }, { go: d }] }
  c: { ask: with-child, route: [{ if: { feed-running: [no], with-child: [no, unsure] }, go: shared/emergency }, { go: d }] }
  d:
    ask: acid-medicine
    route:
      - { if: { acid-medicine: [unsure] }, go: e }
      - { if: { changed-before: [not-asked] }, go: b-late }
      - { go: e }
  b-late: { ask: changed-before, go: e }
  e: { wait: true }
`

const set = flowsOf(
  new Map([
    ...[...shippedFiles].filter(([path]) => path.startsWith('shared/')),
    ['choices/flow.yaml', FLOW],
    ['choices/sources.yaml', 'sources: {}\nadvice: {}\n'],
    ['choices/wording.en.yaml', '{}\n'],
  ]),
)
const flow = set.flows.get('choices')
if (flow === undefined) throw new Error('no flow "choices"')
const { kernel, steps } = flow

/** What the family can answer where talk stands; the machine is handed nothing else. */
function eventsOf(snapshot: AnyMachineSnapshot): { type: string; facts: KernelFacts }[] {
  const { talk } = snapshot.value as { talk: string }
  if (talk === 'waiting-to-start') return [{ type: 'talkRestarted', facts: {} }]
  const asked = FACTS.find(fact => fact === steps.get(talk)?.ask)
  return asked === undefined
    ? []
    : VALUES.map(value => ({ type: 'answered', facts: { [asked]: value, [`${asked}~`]: value } }))
}

const keyOf = (talk: string, facts: readonly (readonly [string, string])[]) =>
  `${talk} ${facts
    .map(pair => pair.join('='))
    .toSorted()
    .join(' ')}`

/** Talk states and facts that xstate/graph comes to, and how many answers it follows. */
function byGraph(): { readonly states: ReadonlySet<string>; readonly edges: number } {
  const keyIn = (snapshot: AnyMachineSnapshot) => {
    const { talk } = snapshot.value as { talk: string }
    const { facts } = snapshot.context as { facts: Record<string, string> }
    return keyOf(
      talk,
      FACTS.flatMap(fact => (facts[fact] === undefined ? [] : [[fact, facts[fact]] as const])),
    )
  }
  const map = getAdjacencyMap(
    kernel.machine as AnyStateMachine,
    { events: eventsOf, serializeState: keyIn, serializeEvent: JSON.stringify } as never,
  ) as unknown as Record<string, { transitions: Record<string, unknown> }>
  const begun = Object.entries(map).filter(([key]) => !key.startsWith('waiting-to-start'))
  return {
    states: new Set(begun.map(([key]) => key)),
    edges: begun.reduce((sum, [, { transitions }]) => sum + Object.keys(transitions).length, 0),
  }
}

function byTables(): { readonly states: ReadonlySet<string>; readonly edges: number } {
  if (flow === undefined) throw new Error('no flow')
  const flat = flatten(flow, set, { merge: false })
  const states = new Set<string>()
  let edges = 0
  explore(flat, {
    resume: 'replay',
    corrections: 'none',
    interruptions: false,
    onEdge({ before, after }) {
      // The emergency asks for a number, which the plain choices do not answer.
      const here = before === undefined ? undefined : flat.nodes[before[flat.fields.talk] as number]
      if (here !== undefined && !here.isEmergency) edges++
      const facts = FACTS.flatMap(fact => {
        const field = flat.fieldOf.get(fact) ?? -1
        const cell = flat.cells[field]
        const value = after[field] ?? 0
        const id = cell?.domain.classes[(value - 1) % cell.domain.classes.length]?.id
        return value === 0 || id === undefined ? [] : [[fact, id] as const]
      })
      states.add(keyOf(flat.nodes[after[flat.fields.talk] as number]?.id ?? '', facts))
    },
  })
  return { states, edges }
}

describe('the explorer and xstate/graph', () => {
  it('come to the same talk states with the same answers, over as many answers', () => {
    const graph = byGraph()
    const tables = byTables()
    const own = (states: ReadonlySet<string>) => [...states].filter(key => !key.startsWith('shared/')).toSorted()
    expect(own(tables.states)).toEqual(own(graph.states))
    expect(tables.edges).toBe(graph.edges)
    expect(own(graph.states).length).toBeGreaterThan(40)
    console.log(`${own(graph.states).length} states, ${graph.edges} answers by xstate/graph`)
  })
})
