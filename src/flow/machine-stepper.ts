import { type AnyMachineSnapshot, type AnyStateMachine, createActor } from 'xstate'

/** An action that a step asks for, in order; nothing has run it. */
export interface AskedAction {
  readonly type: string
  readonly params?: unknown
}

/** One machine, stepped without side effects. */
export interface MachineStepper {
  /** The snapshot at a value of the machine (one state a region) with a context. Throws on a state it does not have. */
  resolved(value: Readonly<Record<string, string>>, context: object): AnyMachineSnapshot
  /** The same snapshot and actions as XState's `transition(machine, snapshot, event)`. */
  step(snapshot: AnyMachineSnapshot, event: object): readonly [AnyMachineSnapshot, readonly AskedAction[]]
}

/** What `machine.transition` is handed by an actor; here nothing of it acts. */
interface InertScope {
  actionExecutor: (action: AskedAction) => void
}

type Transition = (snapshot: AnyMachineSnapshot, event: object, scope: InertScope) => AnyMachineSnapshot

/**
 * XState's `transition()` makes an actor and a system for every call, which costs several times the step itself. Here
 * one of each is made and used again. It is no documented way in, so `tests/flow/machine-stepper.test.ts` holds it against
 * `transition()` and `resolveState()`. For machines that invoke and spawn nothing, as every flow is.
 */
export function machineStepper(machine: AnyStateMachine): MachineStepper {
  const self = createActor(machine)
  const nothing = () => undefined
  let asked: AskedAction[] = []
  const scope = {
    self,
    system: self.system,
    id: '',
    sessionId: '',
    defer: nothing,
    logger: nothing,
    stopChild: nothing,
    emit: nothing,
    actionExecutor: (action: AskedAction) => {
      asked.push(action)
    },
  }
  const transition = machine.transition.bind(machine) as unknown as Transition
  /** Snapshots with an empty context, by value: at most the product of the regions' states. */
  const known = new Map<string, AnyMachineSnapshot>()

  return {
    resolved(value, context) {
      const key = JSON.stringify(value)
      let snapshot = known.get(key)
      if (snapshot === undefined) {
        snapshot = machine.resolveState({ value, context: {} } as never) as AnyMachineSnapshot
        known.set(key, snapshot)
      }
      return { ...snapshot, context } as AnyMachineSnapshot
    },
    step(snapshot, event) {
      asked = []
      const next = transition(snapshot, event, scope)
      return [next, asked]
    },
  }
}
