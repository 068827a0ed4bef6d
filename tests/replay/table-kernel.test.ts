import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { CLOSURE_BANDS, type KernelEvent, type KernelState } from '../../src/flow/kernel.ts'
import { alarmTargetsOf } from '../../src/modelcheck/model/flow-alarms.ts'
import { onTables } from '../../src/replay/table-kernel.ts'
import { shippedFlows } from '../support/a-line.ts'

const tables = onTables(shippedFlows)
const facts = Object.entries(shippedFlows.facts)
const derived = Object.entries(shippedFlows.derived)
const callouts = [
  'pageWanted',
  'rungDue',
  'pageFailed',
  'pageAcknowledged',
  'passedOn',
  'promiseBroken',
  'callMade',
] as const

const some = <T>(list: readonly T[], pick: number): T | undefined => list[pick % Math.max(1, list.length)]

/** One of everything that can happen, by drawn numbers; mostly an answer. */
function happening(alarms: readonly string[], [which = 0, a = 0, b = 0]: readonly number[]): KernelEvent {
  const [fact = '', document] = some(facts, a) ?? []
  const [band = '', bands] = some(derived, b) ?? []
  const told = {
    [fact]: some([...(document?.values ?? []), 'unsure'], b) ?? 'unsure',
    [band]: some(Object.keys(bands?.values ?? {}), a) ?? 'unknown',
  }
  switch (which % 14) {
    case 8:
      return { type: 'dangerSaid', facts: told }
    case 9:
      return { type: 'personWanted', facts: told }
    case 10:
      return { type: 'alarmDue', alarm: some(alarms, a) ?? '', facts: told }
    case 11:
      return { type: 'clockCrossed', closure: some(CLOSURE_BANDS, a) ?? 'unknown' }
    case 12:
      return { type: some([...callouts, 'outcomeSet'] as const, a) ?? 'rungDue' }
    case 13:
      return { type: some(['travelRefused', 'talkRestarted'] as const, a) ?? 'talkRestarted', facts: told }
    default:
      return { type: 'answered', facts: told }
  }
}

describe('the kernel as tables', () => {
  it('steps as the machine does: the same state, facts and effects, on every shipped flow and every kind of event', () => {
    const seen = new Set<string>()
    for (const [concern, flow] of shippedFlows.flows) {
      const table = tables.flows.get(concern)?.kernel
      const alarms = [...alarmTargetsOf(flow).keys()]
      fc.assert(
        fc.property(fc.array(fc.array(fc.nat(1_000), { minLength: 3, maxLength: 3 }), { maxLength: 50 }), drawn => {
          let state: KernelState = flow.kernel.step(flow.kernel.blank, { type: 'talkRestarted', facts: {} }).state
          for (const numbers of drawn) {
            const event = happening(alarms, numbers)
            const machine = flow.kernel.step(state, event)
            expect(table?.step(state, event)).toEqual(machine)
            for (const effect of machine.effects) seen.add(effect.kind === 'entered' ? effect.step : effect.kind)
            seen.add(event.type)
            state = machine.state
          }
        }),
        { numRuns: 30 },
      )
    }
    // What was never met was not compared.
    for (const kind of ['band', 'resume', 'shared/emergency', 'answered', 'alarmDue', 'clockCrossed'])
      expect(seen).toContain(kind)
    expect(seen.size).toBeGreaterThan(60)
  })

  it('moves the call-out and the clock as the machine does, from every stage and band by every event', () => {
    const flow = shippedFlows.flows.get('tube-out')
    const table = tables.flows.get('tube-out')?.kernel
    const stages = ['idle', 'first', 'again', 'next', 'everyone', 'taken', 'broken', 'spoken', 'settled']
    const events: KernelEvent[] = [
      ...[...callouts, 'outcomeSet' as const].map(type => ({ type })),
      ...CLOSURE_BANDS.map(closure => ({ type: 'clockCrossed' as const, closure })),
    ]
    let moved = 0
    for (const callout of stages) {
      for (const closure of CLOSURE_BANDS) {
        for (const event of events) {
          const state = { talk: 'opening', callout, closure, facts: {} }
          const machine = flow?.kernel.step(state, event)
          expect(table?.step(state, event)).toEqual(machine)
          if ((machine?.effects.length ?? 0) > 0) moved += 1
        }
      }
    }
    expect(moved).toBeGreaterThan(300)
  })
})
