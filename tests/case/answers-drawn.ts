import fc from 'fast-check'
import type { Answer } from '../../src/case/answer.ts'
import { instant } from '../../src/time/instant.ts'
import { NIGHT, shippedFlows } from '../support/a-line.ts'
import { MIN } from '../support/case-talk.ts'

const UNSURE: fc.Arbitrary<Answer> = fc.constant({ kind: 'unsure' })

/** Follow-ups: talk has rested once these open. */
export const FOLLOW_UPS = ['have-you-left', 'have-you-arrived', 'can-travel']
/** Checks of danger; drawn so that no danger is found. */
const WELL = ['wakes', 'breathes', 'colour-ok']
/** °C about the limits of fever and of a cold child; of pH and of millilitres 4.5 and 6 are drawn. */
const NUMBERS: Readonly<Record<string, readonly number[]>> = { temperature: [35.5, 36.8, 38, 39.2] }

/** Any answer to a question, "not sure" among them; of danger signs only such that find none. */
export function anAnswerTo(fact: string): fc.Arbitrary<Answer> {
  const document = shippedFlows.facts[fact]
  const choice = (value: string): Answer => ({ kind: 'choice', value })
  if (fact === 'danger-signs') return fc.oneof(fc.constant<Answer>({ kind: 'many', values: ['none'] }), UNSURE)
  if (WELL.includes(fact)) return fc.constant(choice('yes'))
  switch (document?.kind) {
    case 'choice':
      return fc.oneof(...(document.values ?? []).map(value => fc.constant(choice(value))), UNSURE)
    case 'many': {
      const apart = document.apart ?? []
      const others = (document.values ?? []).filter(value => !apart.includes(value))
      return fc.oneof(
        fc.subarray(others, { minLength: 1 }).map((values): Answer => ({ kind: 'many', values })),
        fc.constant<Answer>({ kind: 'many', values: apart }),
        UNSURE,
      )
    }
    case 'moment':
      return fc.oneof(
        fc.tuple(fc.integer({ min: 0, max: 300 }), fc.integer({ min: 0, max: 60 })).map(
          ([ago, wide]): Answer => ({
            kind: 'moment',
            earliest: instant(NIGHT - (ago + wide) * MIN),
            latest: instant(NIGHT - ago * MIN),
          }),
        ),
        UNSURE,
      )
    case 'date':
      return fc.oneof(
        fc.integer({ min: 0, max: 60 }).map((weeks): Answer => {
          const at = instant(NIGHT - weeks * 7 * 24 * 60 * MIN)
          return { kind: 'moment', earliest: at, latest: at }
        }),
        UNSURE,
      )
    case 'length':
      return fc.oneof(
        fc
          .integer({ min: 5, max: 240 })
          .map((long): Answer => ({ kind: 'length', atLeastMs: 5 * MIN, atMostMs: long * MIN })),
        UNSURE,
      )
    case 'number': {
      const numbers = NUMBERS[fact] ?? [4.5, 6]
      return fc.oneof(
        fc.constantFrom<Answer>(
          ...numbers.map((value): Answer => ({ kind: 'number', value })),
          ...(document.values ?? []).map(choice),
        ),
        UNSURE,
      )
    }
    case 'phone':
      return fc.constantFrom<Answer>({ kind: 'phone', number: '+12125550142' }, { kind: 'phone', number: 'write-only' })
    default:
      throw new Error(`no fact "${fact}"`)
  }
}

const asked = [
  ...new Set(
    [...shippedFlows.flows.values()].flatMap(flow => [...flow.steps.values()].flatMap(step => step.ask ?? [])),
  ),
]
export const questions = asked.filter(fact => !FOLLOW_UPS.includes(fact))

/** One answer to every question a flow can ask, follow-ups apart. */
export const answersToAll: fc.Arbitrary<Record<string, Answer>> = fc.record(
  Object.fromEntries(questions.map(fact => [fact, anAnswerTo(fact)])),
)
