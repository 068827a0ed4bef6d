/**
 * The kernel of a flow as tables, without a machine: the same states, facts and effects as `flow/kernel.ts`, some tens of times as fast.
 * For walking recorded cases; the line that serves runs the machine. `tests/replay/table-kernel.test.ts` holds the two together.
 */
import { copyWith } from '../case/copy.ts'
import type { Flow, FlowSet } from '../flow/flow-set.ts'
import type { Step } from '../flow/flow-step.ts'
import {
  type CalloutStage,
  type Kernel,
  type KernelEffect,
  type KernelEvent,
  type KernelFacts,
  type KernelState,
  STEPS_MOST,
} from '../flow/kernel.ts'
import { alarmTargetsOf } from '../modelcheck/model/flow-alarms.ts'

/** The same set with every flow on its tables. */
export function onTables(set: FlowSet): FlowSet {
  const sticky = new Set(Object.entries(set.facts).flatMap(([id, fact]) => (fact.sticky === true ? [id] : [])))
  return {
    ...set,
    flows: new Map([...set.flows].map(([id, flow]) => [id, { ...flow, kernel: tableKernel(flow, sticky) }])),
  }
}

interface Test {
  readonly fact: string
  readonly values: readonly { readonly value: string; readonly whether: string }[]
  /** Where a fact is set along with a value that counts beside it. */
  readonly beside: string
}

interface Row {
  readonly tests: readonly Test[]
  readonly go: string
}

interface Node {
  readonly id: string
  readonly isAsking: boolean
  readonly isEmergency: boolean
  readonly rows: readonly Row[]
  readonly set: KernelFacts | undefined
  readonly entered: KernelEffect
}

const RESUME_EFFECT: KernelEffect = { kind: 'resume' }
export function tableKernel(flow: Flow, sticky: ReadonlySet<string>): Kernel {
  const nodes = new Map([...flow.steps.values()].map(step => [step.id, nodeOf(step)]))
  const alarms = new Map(alarmTargetsOf(flow))

  /** Comes to a step and goes on until one asks, waits or ends. */
  function enter(id: string, given: KernelFacts, effects: KernelEffect[]): { talk: string; facts: KernelFacts } {
    let talk = id
    let facts = given
    for (let count = 0; count < STEPS_MOST; count += 1) {
      if (talk === 'resume') {
        effects.push(RESUME_EFFECT)
        return { talk: 'resuming', facts }
      }
      const node = nodes.get(talk)
      if (node === undefined) throw new Error(`flow "${flow.concern}" has no step "${talk}"`)
      effects.push(node.entered)
      if (node.set !== undefined) facts = Object.assign({}, facts, node.set)
      if (node.isAsking || node.rows.length === 0) return { talk, facts }
      talk = routed(node, facts) ?? talk
      if (talk === node.id) return { talk, facts }
    }
    throw new Error(`flow "${flow.concern}" does not come to rest`)
  }

  function talked(
    state: KernelState,
    event: KernelEvent,
    effects: KernelEffect[],
  ): { talk: string; facts: KernelFacts } {
    const { talk, facts } = state
    switch (event.type) {
      case 'answered': {
        const node = nodes.get(talk)
        if (node?.isAsking !== true) return state
        const learned = merged(facts, event.facts)
        const go = routed(node, learned)
        return go === undefined ? { talk, facts: learned } : enter(go, learned, effects)
      }
      case 'dangerSaid':
        return enter('shared/emergency', copyWith(merged(facts, event.facts), 'danger-seen', 'yes'), effects)
      case 'personWanted':
        return enter('shared/person', merged(facts, event.facts), effects)
      case 'travelRefused':
        return enter('shared/cannot-travel', merged(facts, event.facts), effects)
      case 'alarmDue': {
        const target = alarms.get(event.alarm)
        if (target === undefined || nodes.get(talk)?.isEmergency === true) return state
        return enter(target, merged(facts, event.facts), effects)
      }
      case 'talkRestarted': {
        const history: Record<string, string> = {}
        for (const id in facts) if (sticky.has(id)) history[id] = facts[id] ?? ''
        return enter(flow.start, merged(history, event.facts), effects)
      }
      default:
        return state
    }
  }

  return {
    blank: flow.kernel.blank,
    machine: flow.kernel.machine,
    knows: state => flow.kernel.knows(state),
    step(state, event) {
      const effects: KernelEffect[] = []
      const { talk, facts } = talked(state, event, effects)
      let { callout, closure } = state
      if (event.type === 'clockCrossed') {
        if (event.closure !== closure && BANDS.has(event.closure)) {
          closure = event.closure
          if (closure !== 'not-asked') effects.push({ kind: 'band', closure })
        }
      } else {
        const moved = CALLOUT[callout]?.[event.type]
        if (moved !== undefined) {
          if (moved.to !== undefined) callout = moved.to
          if (moved.effect !== undefined) effects.push(moved.effect)
        }
      }
      return { state: { talk, callout, closure, facts }, effects }
    },
  }
}

/** Later facts over earlier ones; the later themselves where nothing earlier would be left beside them. */
function merged(earlier: KernelFacts, later: KernelFacts): KernelFacts {
  for (const id in earlier) if (later[id] === undefined) return Object.assign({}, earlier, later)
  return later
}

function routed({ rows }: Node, facts: KernelFacts): string | undefined {
  for (const row of rows) if (row.tests.every(test => fits(test, facts))) return row.go
  return undefined
}

function fits({ fact, values, beside }: Test, facts: KernelFacts): boolean {
  const own = facts[fact] ?? 'not-asked'
  for (const { value, whether } of values)
    if (own === value || facts[whether] === 'yes' || facts[beside] === value) return true
  return false
}

function nodeOf(step: Step): Node {
  return {
    id: step.id,
    isAsking: step.ask !== undefined,
    isEmergency: step.id.startsWith('shared/emergency'),
    rows: step.rows.map(row => ({
      go: row.go,
      tests: Object.entries(row.if).map(([fact, values]) => ({
        fact,
        values: values.map(value => ({ value, whether: `${fact}.${value}` })),
        beside: `${fact}~`,
      })),
    })),
    set: step.set,
    entered: { kind: 'entered', step: step.id },
  }
}

const BANDS = new Set(['not-asked', 'time-left', 'leave-now', 'past-latest', 'overdue', 'unknown'])

interface Moved {
  readonly to?: string
  readonly effect?: KernelEffect
}

const to = (stage: CalloutStage): Moved => ({ to: stage, effect: { kind: 'callout', stage } })
const UPDATE: Moved = { effect: { kind: 'callout', stage: 'update' } }
const PAGING = { pageAcknowledged: to('taken'), outcomeSet: to('settled'), pageWanted: UPDATE }

/** The call-out: from a stage, by what happens. */
const CALLOUT: Readonly<Record<string, Readonly<Partial<Record<KernelEvent['type'], Moved>>>>> = {
  idle: { pageWanted: to('first') },
  first: { rungDue: to('again'), pageFailed: to('next'), passedOn: to('next'), ...PAGING },
  again: { rungDue: to('next'), pageFailed: to('next'), passedOn: to('next'), ...PAGING },
  next: { rungDue: to('everyone'), pageFailed: to('everyone'), passedOn: to('everyone'), ...PAGING },
  everyone: { rungDue: to('everyone'), ...PAGING },
  taken: {
    ...PAGING,
    promiseBroken: to('broken'),
    callMade: to('spoken'),
    passedOn: to('next'),
  },
  broken: { rungDue: to('everyone'), callMade: to('spoken'), passedOn: to('next'), ...PAGING },
  spoken: { passedOn: to('next'), ...PAGING },
  settled: { pageWanted: to('first'), passedOn: to('next'), pageAcknowledged: to('taken') },
}
