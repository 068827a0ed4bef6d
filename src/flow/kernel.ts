/**
 * The kernel of a flow: a finite machine of three regions (talk, callout, closure) without times, texts or case
 * ids. XState runs it; `kernelStep` is pure. Everything else about a case is the shell's (case/step.ts).
 *
 * Interruptions (danger, a person, cannot travel, alarms) are transitions of the talk region, never of the root:
 * a root transition would leave and re-enter the sibling regions and so forget who was paged.
 */
import { type AnyMachineSnapshot, type AnyStateMachine, assign, createMachine } from 'xstate'
import type { Step } from './flow-step.ts'
import { machineStepper } from './machine-stepper.ts'

/** Steering facts: fact id (or `fact.value` for one value of a "many" fact) to value. */
export type KernelFacts = Readonly<Record<string, string>>

export type KernelEvent =
  | { readonly type: 'answered'; readonly facts: KernelFacts }
  | { readonly type: 'dangerSaid'; readonly facts: KernelFacts }
  | { readonly type: 'personWanted'; readonly facts: KernelFacts }
  | { readonly type: 'travelRefused'; readonly facts: KernelFacts }
  | { readonly type: 'alarmDue'; readonly alarm: string; readonly facts: KernelFacts }
  /** The closure band changed, by an answer or by time. */
  | { readonly type: 'clockCrossed'; readonly closure: string }
  /** Talk begins again with nothing answered; what is history stays. */
  | { readonly type: 'talkRestarted'; readonly facts: KernelFacts }
  | {
      readonly type:
        | 'pageWanted'
        | 'rungDue'
        | 'pageFailed'
        | 'pageAcknowledged'
        | 'passedOn'
        | 'promiseBroken'
        | 'callMade'
        | 'outcomeSet'
    }

/** What the machine asks the shell to do. `entered` names the step whose entry effects follow. */
export type KernelEffect =
  | { readonly kind: 'entered'; readonly step: string }
  | { readonly kind: 'resume' }
  | { readonly kind: 'callout'; readonly stage: CalloutStage }
  | { readonly kind: 'band'; readonly closure: string }

/** Call-out stages, in ladder order, and what comes after an answer. */
export type CalloutStage =
  | 'first'
  | 'again'
  | 'next'
  | 'everyone'
  | 'taken'
  | 'broken'
  | 'spoken'
  | 'settled'
  | 'update'

export interface KernelState {
  readonly talk: string
  readonly callout: string
  readonly closure: string
  readonly facts: KernelFacts
}

export interface Kernel {
  /** Before anything happened; `talkRestarted` begins. */
  readonly blank: KernelState
  step(state: KernelState, event: KernelEvent): { state: KernelState; effects: readonly KernelEffect[] }
  /** Whether a stored state names states of this machine. */
  knows(state: KernelState): boolean
  readonly machine: AnyStateMachine
}

export const CLOSURE_BANDS = ['not-asked', 'time-left', 'leave-now', 'past-latest', 'overdue', 'unknown'] as const

/** More steps than any flow has one behind the other without a question: a flow led in a circle fails there, and no other family waits for it. */
export const STEPS_MOST = 1_000

interface Context {
  readonly facts: KernelFacts
}

/** Whether every condition of a row holds. Facts compare by value; absent facts are `not-asked`. */
export function conditionHolds(condition: Readonly<Record<string, readonly string[]>>, facts: KernelFacts): boolean {
  return Object.entries(condition).every(([fact, values]) => values.some(value => holds(fact, value, facts)))
}

function holds(fact: string, value: string, facts: KernelFacts): boolean {
  const own = facts[fact] ?? 'not-asked'
  return own === value || facts[`${fact}.${value}`] === 'yes' || facts[`${fact}~`] === value
}

const effect = (params: KernelEffect) => ({ type: 'effect' as const, params })

/** Compiles a flow's steps to the machine that serves. All targets were checked by the loader. */
export function compileKernel(
  concern: string,
  start: string,
  steps: ReadonlyMap<string, Step>,
  alarmTargets: ReadonlyMap<string, string>,
  historyFacts: ReadonlySet<string>,
): Kernel {
  const machine = createMachine(
    {
      id: concern,
      type: 'parallel',
      context: { facts: {} },
      states: { talk: talkRegion(start, steps, alarmTargets), callout: calloutRegion(), closure: closureRegion() },
      options: { maxIterations: STEPS_MOST },
    } as never,
    {
      actions: {
        effect: () => {},
        learn: changeFacts((facts, event) => ({ ...facts, ...event.facts })),
        seeDanger: changeFacts((facts, event) => ({ ...facts, ...event.facts, 'danger-seen': 'yes' })),
        forget: changeFacts((facts, event) => ({ ...historyOf(facts, historyFacts), ...event.facts })),
        set: changeFacts((facts, _event, params) => ({ ...facts, ...params })),
      } as never,
      guards: {
        rowFits: ({ context }: { context: Context }, params: { if: Record<string, readonly string[]> }) =>
          conditionHolds(params.if, context.facts),
        alarmIs: ({ event }: { event: { alarm?: string } }, params: { alarm: string }) => event.alarm === params.alarm,
        bandIs: ({ event }: { event: { closure?: string } }, params: { closure: string }) =>
          event.closure === params.closure,
      } as never,
    },
  ) as AnyStateMachine
  return kernelOver(machine)
}

/** An assign action over the facts. */
function changeFacts(change: (facts: KernelFacts, event: { facts?: KernelFacts }, params: KernelFacts) => KernelFacts) {
  const assigner = (args: { context: Context; event: { facts?: KernelFacts } }, params: KernelFacts) => ({
    facts: change(args.context.facts, args.event, params),
  })
  return assign(assigner as never)
}

/** Facts that a changed answer never clears. */
function historyOf(facts: KernelFacts, historyFacts: ReadonlySet<string>): KernelFacts {
  return Object.fromEntries(Object.entries(facts).filter(([id]) => historyFacts.has(id)))
}

function kernelOver(machine: AnyStateMachine): Kernel {
  const known = {
    talk: new Set(Object.keys(machine.config.states?.talk?.states ?? {})),
    callout: new Set(Object.keys(machine.config.states?.callout?.states ?? {})),
    closure: new Set<string>(CLOSURE_BANDS),
  }
  const knows = (state: KernelState) =>
    known.talk.has(state.talk) && known.callout.has(state.callout) && known.closure.has(state.closure)
  const { resolved, step } = machineStepper(machine)
  return {
    machine,
    knows,
    blank: { talk: 'waiting-to-start', callout: 'idle', closure: 'not-asked', facts: {} },
    step({ talk, callout, closure, facts }, event) {
      const [next, actions] = step(resolved({ talk, callout, closure }, { facts }), event)
      return { state: stateOf(next), effects: effectsOf(actions) }
    },
  }
}

function stateOf(snapshot: AnyMachineSnapshot): KernelState {
  const value = snapshot.value as { talk: string; callout: string; closure: string }
  return {
    talk: value.talk,
    callout: value.callout,
    closure: value.closure,
    facts: (snapshot.context as Context).facts,
  }
}

function effectsOf(actions: readonly { type: string; params?: unknown }[]): KernelEffect[] {
  return actions.filter(action => action.type === 'effect').map(action => action.params as KernelEffect)
}

function talkRegion(start: string, steps: ReadonlyMap<string, Step>, alarmTargets: ReadonlyMap<string, string>) {
  const states: Record<string, unknown> = { 'waiting-to-start': {}, resuming: { entry: [effect({ kind: 'resume' })] } }
  for (const step of steps.values()) Object.assign(states, statesOf(step))
  return {
    initial: 'waiting-to-start',
    on: {
      dangerSaid: { target: '.shared/emergency', actions: ['seeDanger'] },
      personWanted: { target: '.shared/person', actions: ['learn'] },
      travelRefused: { target: '.shared/cannot-travel', actions: ['learn'] },
      talkRestarted: { target: `.${start}`, actions: ['forget'] },
      alarmDue: [...alarmTargets].map(([alarm, target]) => ({
        guard: { type: 'alarmIs', params: { alarm } },
        target: `.${target}`,
        actions: ['learn'],
      })),
    },
    states,
  }
}

/** The routing half of an asking step has the step's id with this mark. */
const ROUTING = '>'

function statesOf(step: Step): Record<string, unknown> {
  const entry: unknown[] = [effect({ kind: 'entered', step: step.id })]
  if (step.set !== undefined) entry.push({ type: 'set', params: step.set })
  const always = step.rows.map(row => ({
    ...(Object.keys(row.if).length === 0 ? {} : { guard: { type: 'rowFits', params: { if: row.if } } }),
    target: row.go === 'resume' ? 'resuming' : row.go,
  }))
  // Alarms never lead out of the emergency steps.
  const held = step.id.startsWith('shared/emergency') ? { alarmDue: {} } : {}
  if (step.ask === undefined) return { [step.id]: { entry, ...(always.length === 0 ? {} : { always }), on: held } }
  return {
    [step.id]: { entry, on: { ...held, answered: { target: step.id + ROUTING, actions: ['learn'] } } },
    [step.id + ROUTING]: { always, on: held },
  }
}

function calloutRegion() {
  const stage = (name: CalloutStage) => [effect({ kind: 'callout', stage: name })]
  const update = { actions: stage('update') }
  return {
    initial: 'idle',
    states: {
      idle: { on: { pageWanted: 'first' } },
      first: {
        entry: stage('first'),
        on: {
          rungDue: 'again',
          pageFailed: 'next',
          passedOn: 'next',
          pageAcknowledged: 'taken',
          outcomeSet: 'settled',
          pageWanted: update,
        },
      },
      again: {
        entry: stage('again'),
        on: {
          rungDue: 'next',
          pageFailed: 'next',
          passedOn: 'next',
          pageAcknowledged: 'taken',
          outcomeSet: 'settled',
          pageWanted: update,
        },
      },
      next: {
        entry: stage('next'),
        on: {
          rungDue: 'everyone',
          pageFailed: 'everyone',
          passedOn: 'everyone',
          pageAcknowledged: 'taken',
          outcomeSet: 'settled',
          pageWanted: update,
        },
      },
      everyone: {
        entry: stage('everyone'),
        on: {
          rungDue: { target: 'everyone', reenter: true },
          pageAcknowledged: 'taken',
          outcomeSet: 'settled',
          pageWanted: update,
        },
      },
      taken: {
        entry: stage('taken'),
        on: {
          promiseBroken: 'broken',
          callMade: 'spoken',
          passedOn: 'next',
          outcomeSet: 'settled',
          pageWanted: update,
          pageAcknowledged: { target: 'taken', reenter: true },
        },
      },
      broken: {
        entry: stage('broken'),
        on: {
          rungDue: 'everyone',
          pageAcknowledged: 'taken',
          callMade: 'spoken',
          passedOn: 'next',
          outcomeSet: 'settled',
          pageWanted: update,
        },
      },
      spoken: {
        entry: stage('spoken'),
        on: { passedOn: 'next', outcomeSet: 'settled', pageAcknowledged: 'taken', pageWanted: update },
      },
      settled: { entry: stage('settled'), on: { pageWanted: 'first', passedOn: 'next', pageAcknowledged: 'taken' } },
    },
  }
}

function closureRegion() {
  const on = {
    clockCrossed: CLOSURE_BANDS.map(closure => ({ guard: { type: 'bandIs', params: { closure } }, target: closure })),
  }
  const states = Object.fromEntries(
    CLOSURE_BANDS.map(band => [
      band,
      // Moving to the band one is in does nothing; each other band says so on entry.
      {
        ...(band === 'not-asked' ? {} : { entry: [effect({ kind: 'band', closure: band })] }),
        on: { clockCrossed: on.clockCrossed.map(row => (row.target === band ? { guard: row.guard } : row)) },
      },
    ]),
  )
  return { initial: 'not-asked', states }
}
