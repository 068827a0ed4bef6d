import { describe, expect, it } from 'vitest'
import type { Effect } from '../../src/case/effect.ts'
import { step } from '../../src/case/step.ts'
import { walkLadder } from '../../src/modelcheck/model/ladder.ts'
import { aLine } from '../support/a-line.ts'

type Step = typeof step

const line = aLine()
const stage =
  (...stages: string[]) =>
  (stepped: ReturnType<Step>) =>
    stages.includes(stepped.state.kernel.callout)

/** The bot's own step with one thing wrong. */
function wrong(
  isMeant: (stepped: ReturnType<Step>, ...given: Parameters<Step>) => boolean,
  change: (stepped: ReturnType<Step>) => ReturnType<Step>,
): Step {
  return (...given) => {
    const stepped = step(...given)
    return isMeant(stepped, ...given) ? change(stepped) : stepped
  }
}
const withoutAlarm = (name: string) => (stepped: ReturnType<Step>) => {
  const { [name]: _gone, ...alarms } = stepped.state.alarms
  return { ...stepped, state: { ...stepped.state, alarms } }
}
const unsaid = (stepped: ReturnType<Step>) => ({
  ...stepped,
  effects: stepped.effects.filter(effect => effect.kind !== 'reply'),
})
const unpaged = (stepped: ReturnType<Step>) => ({
  ...stepped,
  effects: stepped.effects.filter(effect => effect.kind !== 'page'),
})
const saying = (id: string): Effect => ({ kind: 'reply', parts: [{ kind: 'say', id }], audible: false })

describe('the call-out ladder, every order of lost, taken, passed on, kept and broken', () => {
  it.each([0, 1, 2])('%i people on it: every promise of the ladder holds', people => {
    for (const urgency of ['urgent', 'speak'] as const) {
      const { findings, states } = walkLadder(line, { people, urgency })
      expect(findings).toEqual([])
      expect(states).toBeGreaterThan(people * 500)
    }
  })

  const TABLE: readonly (readonly [rule: string, step: Step])[] = [
    ['a-page-moves-on', wrong(stage('next'), withoutAlarm('rung'))],
    ['the-family-is-told-that-nobody-answers', wrong(stage('everyone'), unsaid)],
    [
      'taken-is-said-of-a-person',
      wrong(
        (_stepped, _line, _state, event) => event.kind === 'pageSettled' && event.outcome === 'accepted',
        stepped => ({ ...stepped, effects: [...stepped.effects, saying('taken-ringing-now')] }),
      ),
    ],
    [
      'they-rang-is-no-acknowledgement',
      wrong(
        (stepped, _line, _state, event) => event.kind === 'familyRungSaid' && stage('first')(stepped),
        stepped => ({ ...stepped, state: { ...stepped.state, kernel: { ...stepped.state.kernel, callout: 'taken' } } }),
      ),
    ],
    ['a-promise-is-watched', wrong(stage('taken'), withoutAlarm('promise'))],
    [
      'a-broken-promise-is-paged-and-told',
      wrong((_stepped, _line, _state, event) => event.kind === 'alarmDue' && event.name === 'promise', unpaged),
    ],
    [
      'a-lost-page-moves-the-ladder',
      (...given) => {
        const [, state, event] = given
        return event.kind === 'pageSettled' && event.outcome === 'given-up' ? { state, effects: [] } : step(...given)
      },
    ],
  ]

  it.each(TABLE)('%s: a bot that breaks it is found, and the way there is told', (rule, broken) => {
    const { findings } = walkLadder(line, { people: 2, urgency: 'urgent', step: broken, statesMost: 1500 })
    const found = findings.find(finding => finding.rule === rule)
    expect(found?.lines?.[0]).toBe('0 min: a page is wanted')
  })
})
