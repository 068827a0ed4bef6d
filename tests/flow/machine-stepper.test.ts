import { describe, expect, it } from 'vitest'
import { type AnyMachineSnapshot, transition } from 'xstate'
import { CLOSURE_BANDS, type KernelEvent } from '../../src/flow/kernel.ts'
import { machineStepper } from '../../src/flow/machine-stepper.ts'
import { shippedFlows } from '../support/a-line.ts'
import { seededRandom } from '../support/world.ts'

// Outside check: `transition()` and `resolveState()` of xstate 5.33.3, the documented way to step a machine purely.

const STEPS = 3_000

const plainEvents = [
  'pageWanted',
  'rungDue',
  'pageFailed',
  'pageAcknowledged',
  'passedOn',
  'promiseBroken',
  'callMade',
  'outcomeSet',
] as const

describe.each([...shippedFlows.flows.values()].map(flow => ({ flow, name: flow.concern })))(
  'stepping $name',
  ({ flow }) => {
    const { machine } = flow.kernel
    const alarms = [...new Set([...flow.steps.values()].flatMap(step => step.alarms.map(({ name }) => name)))]
    const values = Object.entries(shippedFlows.facts).map(
      ([id, fact]) => [id, [...('values' in fact ? (fact.values ?? []) : [])]] as const,
    )

    function eventDrawn(below: (limit: number) => number): KernelEvent {
      const [fact, options] = values[below(values.length)] ?? ['', []]
      const facts = { [fact]: options[below(Math.max(1, options.length))] ?? 'unsure' }
      const drawn = below(10)
      if (drawn < 5) return { type: 'answered', facts }
      if (drawn === 5) return { type: 'clockCrossed', closure: CLOSURE_BANDS[below(CLOSURE_BANDS.length)] ?? 'unknown' }
      if (drawn === 6)
        return { type: 'alarmDue', alarm: alarms[below(Math.max(1, alarms.length))] ?? 'silent-ask', facts }
      if (drawn === 7) return { type: 'talkRestarted', facts }
      if (drawn === 8) {
        const type = (['dangerSaid', 'personWanted', 'travelRefused'] as const)[below(3)] ?? 'personWanted'
        return { type, facts }
      }
      return { type: plainEvents[below(plainEvents.length)] ?? 'rungDue' }
    }

    it('gives the states, facts and effects that transition() gives, from where it stands and from what was stored', () => {
      const { resolved, step } = machineStepper(machine)
      const random = seededRandom(4_711)
      const visited = new Set<string>()
      let theirs = machine.resolveState({
        value: { talk: 'waiting-to-start', callout: 'idle', closure: 'not-asked' },
        context: { facts: {} },
      } as never) as AnyMachineSnapshot
      let ours = theirs
      for (let taken = 0; taken < STEPS; taken += 1) {
        const event = taken === 0 ? { type: 'talkRestarted', facts: {} } : eventDrawn(limit => random.int(limit))
        const [nextTheirs, actionsTheirs] = transition(machine, theirs as never, event as never)
        const [nextOurs, actionsOurs] = step(ours, event)
        const [nextStored, actionsStored] = step(resolved(theirs.value as never, theirs.context), event)
        const expected = {
          value: nextTheirs.value,
          context: nextTheirs.context,
          status: nextTheirs.status,
          effects: effectsOf(actionsTheirs),
        }
        for (const [next, actions] of [
          [nextOurs, actionsOurs],
          [nextStored, actionsStored],
        ] as const) {
          const { value, context, status } = next
          expect({ value, context, status, effects: effectsOf(actions) }, JSON.stringify(event)).toEqual(expected)
        }
        theirs = nextTheirs as AnyMachineSnapshot
        ours = nextOurs
        visited.add(JSON.stringify(theirs.value))
      }
      expect(visited.size).toBeGreaterThan(30)
    })

    it('throws on a state the machine does not have, as resolveState() does', () => {
      const { resolved } = machineStepper(machine)
      const value = { talk: 'no-such-step', callout: 'idle', closure: 'not-asked' }
      expect(() => resolved(value, { facts: {} })).toThrow()
      expect(() => machine.resolveState({ value, context: {} } as never)).toThrow()
    })
  },
)

const effectsOf = (actions: readonly { readonly type: string; readonly params?: unknown }[]) =>
  actions.filter(({ type }) => type === 'effect').map(({ params }) => params)
