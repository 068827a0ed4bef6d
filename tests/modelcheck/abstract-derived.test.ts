import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Answer } from '../../src/case/answer.ts'
import { factsAt, reachedAnswer } from '../../src/case/derive.ts'
import type { CaseState } from '../../src/case/state.ts'
import { bandOf } from '../../src/modelcheck/model/bands.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { seenIn } from '../../src/modelcheck/model/tables.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { aLine, NIGHT, shippedFlows } from '../support/a-line.ts'
import { botBeside } from '../support/bot-beside-model.ts'
import '../support/seed.ts'

// Derived facts over classes, against those of a case on drawn answers and instants. Instants are drawn close to the limits
// of the clinic's settings, the very instant among them.

const flow = shippedFlows.flows.get('tube-out')
if (flow === undefined) throw new Error('no flow "tube-out"')
const flat = flatten(flow, shippedFlows, { merge: false })
const bot = botBeside(aLine(), flat)
const { settings } = bot.line

const near = (limits: readonly number[]): fc.Arbitrary<number> =>
  fc.oneof(
    ...limits.map(limit => fc.integer({ min: -2, max: 2 }).map(off => limit + off)),
    fc.integer({ min: 0, max: Math.max(...limits) * 2 }),
  )

const DAY = 86_400_000
const windows = [0, settings['closure-soonest'], settings['closure-latest'], settings['closure-overdue']]
const unsure: Answer = { kind: 'unsure' }
const moment = (limits: readonly number[]): fc.Arbitrary<Answer> =>
  near(limits)
    // A time that lies ahead is not taken for an answer.
    .map(ago => instant(NIGHT - Math.max(0, ago)))
    .map(at => ({ kind: 'moment', earliest: at, latest: at }))
const choice = (...values: string[]): fc.Arbitrary<Answer> =>
  fc.constantFrom(...values.map((value): Answer => ({ kind: 'choice', value })), unsure)
const known: Readonly<Record<string, fc.Arbitrary<Answer>>> = {
  'out-since': fc.oneof(moment(windows), fc.constant(unsure)),
  travel: fc.oneof(
    near(windows).map(
      (length): Answer => ({ kind: 'length', atLeastMs: Math.max(0, length), atMostMs: Math.max(0, length) }),
    ),
    fc.constant(unsure),
  ),
  'first-placed': fc.oneof(moment([settings['first-days'], settings['tract-settled-after']]), fc.constant(unsure)),
  'changed-before': choice('yes', 'no'),
  ph: fc.oneof(
    fc
      .constantFrom(0, 4.9, settings['ph-at-most'], settings['ph-at-most'] + 0.1, 14)
      .map((value): Answer => ({ kind: 'number', value })),
    choice('none-came'),
  ),
  'acid-medicine': choice('yes', 'no'),
  age: fc.oneof(
    near([0, ...[90, 180, 1825].map(days => days * DAY)]).map(
      (length): Answer => ({ kind: 'length', atLeastMs: Math.max(0, length), atMostMs: Math.max(0, length) }),
    ),
    fc.constant(unsure),
  ),
  temperature: fc.oneof(
    fc
      .constantFrom(35.9, 36, 37, 37.49, 37.5, 38, 38.49, 38.5, 39, 40)
      .map((value): Answer => ({ kind: 'number', value })),
    choice('feels-hot', 'feels-normal'),
  ),
  'last-wet': fc.oneof(moment([settings['no-urine-page'], settings['no-urine-hospital']]), fc.constant(unsure)),
  'balloon-put-in': fc.oneof(fc.constant<Answer>({ kind: 'number', value: 5 }), fc.constant(unsure)),
  'balloon-came-out': fc.oneof(
    fc.constantFrom(0, 4, 4.4, 4.5, 4.9, 5, 6).map((value): Answer => ({ kind: 'number', value })),
    fc.constant(unsure),
  ),
  'danger-signs': fc.constantFrom<Answer>(
    { kind: 'many', values: ['none'] },
    { kind: 'many', values: ['fit'] },
    { kind: 'many', values: ['fit', 'colour'] },
    unsure,
  ),
}

interface Drawn {
  readonly answer: Answer
  readonly status: 'asked' | 'given' | 'off the way'
  readonly toldMsAgo: number
}

const drawnFact = (answer: fc.Arbitrary<Answer>): fc.Arbitrary<Drawn | undefined> =>
  fc.option(
    fc.record({
      answer,
      status: fc.constantFrom('asked', 'given', 'off the way'),
      toldMsAgo: fc.integer({ min: 0, max: 200_000 }),
    }),
    { nil: undefined, freq: 6 },
  )

function caseWith(drawn: Readonly<Record<string, Drawn | undefined>>): CaseState {
  const told = Object.entries(drawn).flatMap(([fact, one]) => (one === undefined ? [] : [[fact, one] as const]))
  const { state } = bot.begin()
  return {
    ...state,
    answers: Object.fromEntries(
      told.map(([fact, { answer, status, toldMsAgo }]) => [
        fact,
        { answer, said: '', at: instant(NIGHT - toldMsAgo), changed: false, given: status === 'given' },
      ]),
    ),
    path: { ...state.path, asked: told.flatMap(([fact, { status }]) => (status === 'asked' ? [fact] : [])) },
  }
}

function bandElsewhere(state: CaseState, fact: string): string | undefined {
  const answer = reachedAnswer(state, fact)
  if (answer === undefined) return undefined
  return answer.kind === 'unsure' ? 'unsure' : bandOf(settings, fact, answer, state.answers[fact]?.at ?? NIGHT)
}

function ofTheModel(state: CaseState, at: Instant): Record<string, string> {
  const read = bot.read({ state, at })
  const { fields: F } = flat
  const clock = { elapsed: F.elapsed, 'time-left': F.timeLeft, reachable: F.reachable }
  return Object.fromEntries(
    [...flat.derived].map(([id, model]) => [
      id,
      model.value({
        band: fact => {
          const field = flat.fieldOf.get(fact)
          // Facts that other flows ask: by the same bands.
          if (field === undefined) return bandElsewhere(state, fact)
          const cell = field === undefined ? undefined : flat.cells[field]
          return cell === undefined ? undefined : seenIn(cell, read[field] as number)?.band
        },
        clock: field => read[clock[field]] as number,
      }),
    ]),
  )
}

describe('derived facts over classes of answers', () => {
  it('are those of a case, whatever was answered, given or is off the way, at and around every limit', () => {
    fc.assert(
      fc.property(
        fc.record(Object.fromEntries(Object.entries(known).map(([fact, answer]) => [fact, drawnFact(answer)]))),
        drawn => {
          const state = caseWith(drawn)
          const ours = ofTheModel(state, NIGHT)
          const theirs = factsAt(bot.line, state, NIGHT)
          for (const [id, value] of Object.entries(ours)) expect([id, theirs[id]]).toEqual([id, value])
        },
      ),
      { numRuns: 3_000 },
    )
  })
})
