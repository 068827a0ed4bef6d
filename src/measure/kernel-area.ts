import { createRequire } from 'node:module'
import { isDeepStrictEqual } from 'node:util'
import { type AnyMachineSnapshot, transition } from 'xstate'
import { InvariantBroken, type Line } from '../case/line.ts'
import type { Flow } from '../flow/flow-set.ts'
import { CLOSURE_BANDS, type KernelEvent, type KernelState } from '../flow/kernel.ts'
import { type AskedAction, machineStepper } from '../flow/machine-stepper.ts'
import { stepAsDocumented } from './documented-kernel.ts'
import { figureOf, type Measured, ratios } from './figure.ts'
import { interleaved } from './rounds.ts'
import { seeded } from './seeded.ts'
import type { AreaContext } from './subject.ts'

/** Steps of the walk; each is stepped by both sides in every round. */
const STEPS = 4_000
const SEED = 20_261_125
const CONCERN = 'tube-out'

/** One step of the walk: where it starts, stored and as a snapshot, and what happens. */
interface Taken {
  readonly stored: KernelState
  readonly snapshot: AnyMachineSnapshot
  readonly event: KernelEvent
}

/** The machine of a flow: how fast a step is beside XState's own way to step purely, and whether it is the same step. */
export async function kernelArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const flow = subject.line.flows.flows.get(CONCERN)
  if (flow === undefined) throw new InvariantBroken(`there is no flow "${CONCERN}" to walk`)
  const { machine, step: kernelStep } = flow.kernel
  const { step } = machineStepper(machine)
  const walk = walkOf(subject.line, flow)
  const peer = `xstate ${xstateVersion()}`

  const perSecond = (work: (taken: Taken) => void) => () => {
    const started = performance.now()
    for (const taken of walk) work(taken)
    return (walk.length * 1_000) / (performance.now() - started)
  }
  const rates = await interleaved(
    {
      ours: perSecond(({ snapshot, event }) => step(snapshot, event)),
      peer: perSecond(({ snapshot, event }) => transition(machine, snapshot as never, event as never)),
      oursStored: perSecond(({ stored, event }) => kernelStep(stored, event)),
      peerStored: perSecond(({ stored, event }) => stepAsDocumented(flow, stored, event)),
    },
    { what: 'kernel', progress, rounds: 7 },
  )
  const differing = walk.filter(taken => !isSame(flow, step, taken)).length
  const shared = { area: 'kernel', unit: 'times', bound: 'least', target: 3 } as const
  return [
    figureOf(
      { ...shared, name: 'steps a second from a snapshot, reused scope', against: `${peer} transition()` },
      ratios(rates.ours, rates.peer),
    ),
    figureOf(
      {
        ...shared,
        name: 'steps a second from a stored state, as the bot steps',
        against: `${peer} resolveState() and transition()`,
      },
      ratios(rates.oursStored, rates.peerStored),
    ),
    figureOf(
      {
        area: 'kernel',
        name: 'steps whose state, facts or effects differ',
        unit: `steps of ${walk.length}`,
        bound: 'most',
        target: 0,
        against: `${peer} transition(), the same seeded walk of the shipped flow`,
      },
      [differing],
    ),
  ]
}

function isSame(flow: Flow, step: ReturnType<typeof machineStepper>['step'], taken: Taken): boolean {
  const [theirs, asked] = stepAsDocumented(flow, taken.stored, taken.event)
  const [ours, oursAsked] = step(taken.snapshot, taken.event)
  const { state, effects } = flow.kernel.step(taken.stored, taken.event)
  const { facts, ...value } = state
  const expected = [theirs.value, theirs.context, effectsOf(asked)]
  return (
    isDeepStrictEqual([ours.value, ours.context, effectsOf(oursAsked)], expected) &&
    isDeepStrictEqual([value, { facts }, effects], expected)
  )
}

const effectsOf = (asked: readonly AskedAction[]) =>
  asked.filter(({ type }) => type === 'effect').map(({ params }) => params)

/** A walk of the whole flow that repeats: mostly answers to what is asked, with all else that can happen between. */
function walkOf(line: Line, flow: Flow): readonly Taken[] {
  const { machine } = flow.kernel
  const random = seeded(SEED)
  const alarms = [...flow.steps.values()].flatMap(step => step.alarms.map(({ name }) => name))
  const values = Object.entries(line.flows.facts).map(
    ([id, fact]) => [id, [...('values' in fact ? (fact.values ?? []) : [])]] as const,
  )
  const drawn = <T>(list: readonly T[], otherwise: T): T => list[random.int(list.length)] ?? otherwise
  const walk: Taken[] = []
  let stored = flow.kernel.blank
  while (walk.length < STEPS) {
    const { talk, callout, closure, facts } = stored
    const snapshot = machine.resolveState({ value: { talk, callout, closure }, context: { facts } } as never)
    const event: KernelEvent =
      talk === flow.kernel.blank.talk || random.int(40) === 0
        ? { type: 'talkRestarted', facts: {} }
        : eventDrawn(flow, stored, values, alarms, drawn, random.int(12))
    walk.push({ stored, snapshot: snapshot as AnyMachineSnapshot, event })
    stored = flow.kernel.step(stored, event).state
  }
  return walk
}

const SHELL_EVENTS = [
  'pageWanted',
  'rungDue',
  'pageFailed',
  'pageAcknowledged',
  'passedOn',
  'promiseBroken',
  'callMade',
] as const

function eventDrawn(
  flow: Flow,
  { talk }: KernelState,
  values: readonly (readonly [fact: string, options: readonly string[]])[],
  alarms: readonly string[],
  drawn: <T>(list: readonly T[], otherwise: T) => T,
  which: number,
): KernelEvent {
  const asked = flow.steps.get(talk)?.ask
  const fitting = asked === undefined ? values : values.filter(([fact]) => fact === asked)
  const [fact, options] = drawn(fitting.length === 0 ? values : fitting, ['danger-signs', []])
  const facts = { [fact]: drawn(options, 'unsure') }
  if (which < 7) return { type: 'answered', facts }
  if (which === 7) return { type: 'clockCrossed', closure: drawn(CLOSURE_BANDS, 'unknown') }
  if (which === 8) return { type: 'alarmDue', alarm: drawn(alarms, 'silent-ask'), facts: {} }
  if (which === 9) return { type: drawn(['personWanted', 'travelRefused'] as const, 'personWanted'), facts: {} }
  return { type: drawn(SHELL_EVENTS, 'rungDue') }
}

const xstateVersion = (): string =>
  (createRequire(import.meta.url)('xstate/package.json') as { readonly version: string }).version
