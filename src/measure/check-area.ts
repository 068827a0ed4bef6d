import { createRequire } from 'node:module'
import type { AnyMachineSnapshot } from 'xstate'
import { getAdjacencyMap } from 'xstate/graph'
import { InvariantBroken } from '../case/line.ts'
import type { Flow, FlowSet } from '../flow/flow-set.ts'
import type { Step } from '../flow/flow-step.ts'
import { compileKernel } from '../flow/kernel.ts'
import { explore } from '../modelcheck/model/explore.ts'
import { flatten } from '../modelcheck/model/flat-flow.ts'
import type { FlatFlow } from '../modelcheck/model/tables.ts'
import { figureOf, type Measured, ratios } from './figure.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext } from './subject.ts'

/** Questions with three answers each, all of them on record: 1 + 3 + 9 + … states. */
const QUESTIONS = 8
const STATES = (3 ** (QUESTIONS + 1) - 1) / 2
/** Walks a round of ours: one alone is over in a few milliseconds. */
const WALKS = 20
/** A flow as long as a clinic's longest, with the clock of a closing opening. */
const LONG_QUESTIONS = 40

/** The checker: how fast it comes to every state, beside a general walker of state machines, and what a long flow costs. */
export async function checkArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const { flows } = subject.line
  const made = madeFlow(flows, QUESTIONS)
  // Both sides compile the flow beforehand: what is timed is successors and the set of all seen, on either.
  const flat = flatten(made.flow, made.set, { merge: false, givable: new Map() })
  const peer = `xstate ${xstateVersion()} getAdjacencyMap(), the same ${STATES} states`
  const rates = await interleaved(
    {
      ours: () => perSecond(() => statesByTable(flat), WALKS),
      peer: () => perSecond(() => statesByPeer(made.flow)),
    },
    { what: 'check', progress },
  )
  const long = madeFlow(flows, LONG_QUESTIONS, true)
  const seconds: number[] = []
  const megabytes: number[] = []
  let bare = 0
  let reduced = 0
  const { long: times } = await interleaved(
    {
      long: () => {
        const started = performance.now()
        const { states, bytes } = explore(flatten(long.flow, long.set), { resume: 'return' })
        reduced = states
        megabytes.push(bytes / 2 ** 20)
        return (performance.now() - started) / 1_000
      },
    },
    { what: 'check, a long flow', progress },
  )
  seconds.push(...times)
  const small = madeFlow(flows, 6, true)
  bare = explore(flatten(small.flow, small.set, { merge: false }), { resume: 'replay' }).states
  const fewer = explore(flatten(small.flow, small.set), { resume: 'return' }).states
  const own = {
    area: 'check',
    against: `a made flow of ${LONG_QUESTIONS} questions with the clock, ${reduced} states`,
  } as const
  return [
    figureOf(
      {
        area: 'check',
        name: 'states a second, all answers on record',
        unit: 'times',
        bound: 'least',
        target: 50,
        against: peer,
      },
      ratios(rates.ours, rates.peer),
    ),
    figureOf({ ...own, name: 'a long flow walked whole', unit: 'seconds', bound: 'most', target: 3 }, seconds),
    figureOf({ ...own, name: 'memory of its states', unit: 'megabytes', bound: 'most', target: 400 }, megabytes),
    figureOf(
      {
        area: 'check',
        name: 'states left out by forgetting what cannot matter',
        unit: 'times fewer',
        bound: 'least',
        target: 10,
        against: `the same flow of 6 questions with every answer on record, ${bare} states`,
      },
      [bare / fewer],
    ),
  ]
}

interface Made {
  readonly flow: Flow
  readonly set: FlowSet
}

function statesByTable(flat: FlatFlow): number {
  return explore(flat, { resume: 'replay', corrections: 'none', interruptions: false }).states
}

function statesByPeer({ kernel, steps }: Flow): number {
  const blank = kernel.machine.resolveState({
    value: { talk: kernel.blank.talk, callout: kernel.blank.callout, closure: kernel.blank.closure },
    context: { facts: {} },
  } as never) as AnyMachineSnapshot
  const map = getAdjacencyMap(kernel.machine as never, {
    fromState: blank as never,
    events: ((snapshot: AnyMachineSnapshot) => {
      const { talk } = snapshot.value as { readonly talk: string }
      if (talk === kernel.blank.talk) return [{ type: 'talkRestarted', facts: {} }]
      const ask = steps.get(talk)?.ask
      return ask === undefined
        ? []
        : ['yes', 'no', 'unsure'].map(value => ({ type: 'answered', facts: { [ask]: value } }))
    }) as never,
  })
  return Object.keys(map).length - 1
}

/** States found in a second. @throws where it is not all of them: what is compared must be the same work */
function perSecond(walk: () => number, walks = 1): number {
  const started = performance.now()
  let states = 0
  for (let done = 0; done < walks; done++) states = walk()
  const seconds = (performance.now() - started) / 1_000 / walks
  if (states !== STATES) throw new InvariantBroken(`${states} states were found, ${STATES} are there`)
  return states / seconds
}

/** Questions in a row, each leading on whatever is answered but that every fourth decides and says more on "yes". */
function madeFlow(set: FlowSet, questions: number, withClock = false): Made {
  const someone = [...set.flows.values()].find(flow => [...flow.steps.keys()].some(id => id.startsWith('shared/')))
  if (someone === undefined) throw new InvariantBroken('there is no flow with shared steps')
  const at = (index: number) => (index === questions ? 'rests' : `asks-${index}`)
  const own = Array.from({ length: questions }, (_, index): Step => {
    const isClock = withClock && index < 2
    const fact = isClock ? (index === 0 ? 'out-since' : 'travel') : `fact-${index}`
    const rows = [{ if: {}, go: at(index + 1) }]
    const fork = { if: { [fact]: [isClock ? 'unsure' : 'yes'] }, go: at(Math.min(index + 2, questions)) }
    return {
      id: at(index),
      ask: fact,
      rows: index % 4 === 3 && withClock ? [fork, ...rows] : rows,
      alarms: isClock && index === 1 ? [{ name: 'made-leave-by', at: 'leave-by', go: 'rests', late: 'say' }] : [],
      ...(index === 0 ? { decide: 'speak' as const } : {}),
    }
  })
  const rests: Step = { id: 'rests', wait: true, rows: [], alarms: [] }
  const shared = withClock ? someone.steps : new Map([...someone.steps].filter(([id]) => id.startsWith('shared/')))
  const steps = new Map([...own, rests].map(step => [step.id, step]))
  for (const [id, step] of shared) if (id.startsWith('shared/')) steps.set(id, step)
  const facts = { ...set.facts }
  for (const { ask } of own) if (ask !== undefined) facts[ask] ??= { kind: 'choice', values: ['yes', 'no'] }
  const targets = new Map(own.flatMap(step => step.alarms.map(({ name, go }) => [name, go] as const)))
  const flow: Flow = {
    ...someone,
    concern: 'made',
    start: at(0),
    silence: undefined,
    unanswered: undefined,
    left: undefined,
    steps,
    kernel: compileKernel('made', at(0), steps, targets, new Set()),
  }
  return { flow, set: { ...set, facts } }
}

const xstateVersion = (): string =>
  (createRequire(import.meta.url)('xstate/package.json') as { readonly version: string }).version
