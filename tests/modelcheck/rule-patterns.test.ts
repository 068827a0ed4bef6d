import { describe, expect, it } from 'vitest'
import type { Rule } from '../../src/flow/rule-document.ts'
import { SMALL } from '../flow/small-flow.ts'
import { flowsOf } from '../support/a-line.ts'
import { rulesOf, walkFor } from '../support/rule-bench.ts'

/**
 * The pattern system of Dwyer, Avrunin and Corbett (1999), from memory: for each pattern, and each scope used here, a tiny
 * flow that has the property and one that lacks it. P is "cover-opening is said", Q is "a page", R is a further step.
 */

const HEAD = `concern: tube-out
start: a
steps:
`

const WORDS = `reason/q: Q.
ask/travel: How far is it?
label/travel: The way
option/travel/up-to-an-hour: Up to an hour
option/travel/in-words: In words
`

function small(steps: string): ReturnType<typeof flowsOf> {
  const files: Record<string, string> = {
    ...SMALL,
    'tube-out/flow.yaml': HEAD + steps,
    'tube-out/wording.en.yaml': `${SMALL['tube-out/wording.en.yaml']}${WORDS}`,
  }
  return flowsOf(new Map(Object.entries(files)))
}

function ruleOf(form: string, set: ReturnType<typeof flowsOf>): Rule {
  const text = `rules:\n  one:\n    means: "It holds."\n    hazards: [H1]\n    reason: "A test."\n    own: "a test"\n${form}`
  const [rule] = rulesOf(text, set).rules
  if (rule === undefined) throw new Error('no rule was read')
  return rule
}

function shown(form: string, steps: string) {
  const set = small(steps)
  const flow = set.flows.get('tube-out')
  if (flow === undefined) throw new Error('no flow was read')
  return walkFor(ruleOf(form, set), flow, set, { interruptions: false })
}

const ABSENCE = '    absence: { says: [cover-opening] }\n'
const ABSENCE_WHILE = `${ABSENCE}    while: { in-opening: [same-tube] }\n`
const ABSENCE_AFTER = `${ABSENCE}    after: { pages: any }\n`
const ABSENCE_BEFORE = `${ABSENCE}    before: { pages: any }\n`
const EXISTENCE = '    existence: { says: [cover-opening] }\n    before: { rests: true }\n'
const UNIVERSALITY = '    universality: { decided: speak }\n    while: { history: paged }\n'
const PRECEDENCE = '    precedence: { of: { pages: any }, needs: { says: [cover-opening] } }\n'
const RESPONSE = '    response: { after: { says: [cover-opening] }, must: { pages: any }, within: same-reply }\n'

const ASKED = '  b: { ask: in-opening, route: [{ if: { in-opening: [same-tube] }, go: c }, { go: d }] }\n'
const P_THEN_Q = `  a: { say: [cover], decide: speak, page: q, go: b }\n  b: { wait: true }\n`

const TABLE: readonly (readonly [pattern: string, form: string, has: string, lacks: string])[] = [
  ['absence, everywhere', ABSENCE, '  a: { decide: speak, page: q, go: b }\n  b: { wait: true }\n', P_THEN_Q],
  [
    'absence, while something holds',
    ABSENCE_WHILE,
    `  a: { go: b }\n${ASKED}  c: { wait: true }\n  d: { say: [cover], wait: true }\n`,
    `  a: { go: b }\n${ASKED}  c: { say: [cover], wait: true }\n  d: { wait: true }\n`,
  ],
  [
    'absence, after something',
    ABSENCE_AFTER,
    `  a: { say: [cover], go: b }\n  b: { ask: in-opening, go: c }\n  c: { decide: speak, page: q, wait: true }\n`,
    `  a: { decide: speak, page: q, go: b }\n  b: { ask: in-opening, go: c }\n  c: { say: [cover], wait: true }\n`,
  ],
  [
    'absence, before something',
    ABSENCE_BEFORE,
    `  a: { decide: speak, page: q, go: b }\n  b: { ask: in-opening, go: c }\n  c: { say: [cover], wait: true }\n`,
    `  a: { say: [cover], go: b }\n  b: { ask: in-opening, go: c }\n  c: { decide: speak, page: q, wait: true }\n`,
  ],
  [
    'existence, before the end',
    EXISTENCE,
    `  a: { go: b }\n${ASKED}  c: { say: [cover], wait: true }\n  d: { say: [cover], wait: true }\n`,
    `  a: { go: b }\n${ASKED}  c: { say: [cover], wait: true }\n  d: { wait: true }\n`,
  ],
  [
    'universality, while something has happened',
    UNIVERSALITY,
    `  a: { ask: in-opening, go: b }\n  b: { decide: speak, page: q, wait: true }\n`,
    `  a: { ask: in-opening, go: b }\n  b: { decide: at-home, page: q, wait: true }\n`,
  ],
  [
    'precedence',
    PRECEDENCE,
    `  a: { say: [cover], go: b }\n  b: { ask: in-opening, go: c }\n  c: { decide: speak, page: q, wait: true }\n`,
    `  a: { go: b }\n${ASKED}  c: { say: [cover], go: d }\n  d: { decide: speak, page: q, wait: true }\n`,
  ],
  [
    'response, in the same reply',
    RESPONSE,
    P_THEN_Q,
    `  a: { say: [cover], go: b }\n  b: { ask: in-opening, go: c }\n  c: { decide: speak, page: q, wait: true }\n`,
  ],
]

describe('property patterns on tiny flows (Dwyer, Avrunin and Corbett 1999, from memory)', () => {
  it.each(TABLE)('%s: holds where it holds, and a flow that lacks it shows a conversation', (_, form, has, lacks) => {
    const good = shown(form, has)
    expect(good.breach).toBeUndefined()
    const bad = shown(form, lacks)
    expect(bad.breach?.way[0]).toBe('opened')
  })

  it('a breach is shown by a shortest conversation: what the first message says already is not asked', () => {
    const steps = `  a: { ask: in-opening, go: b }\n  b: { ask: travel, route: [{ if: { in-opening: [nothing] }, go: c }, { go: d }] }\n  c: { say: [cover], wait: true }\n  d: { wait: true }\n`
    expect(shown(ABSENCE, steps).breach).toEqual({ step: 'c', way: ['opened', 'answered'] })
  })

  it('a rule whose subject comes up nowhere is not witnessed', () => {
    expect(shown(ABSENCE, '  a: { decide: speak, page: q, go: b }\n  b: { wait: true }\n').isWitnessed).toBe(false)
    const asks = `  a: { say: [cover], go: b }\n${ASKED}  c: { wait: true }\n  d: { wait: true }\n`
    expect(shown(ABSENCE_WHILE, asks).isWitnessed).toBe(true)
    expect(shown(ABSENCE_WHILE, P_THEN_Q).isWitnessed).toBe(false)
  })

  it('a fact that only the rule reads is not forgotten on the way to where it is read', () => {
    const steps = `  a: { ask: in-opening, go: b }\n  b: { ask: travel, go: c }\n  c: { say: [cover], wait: true }\n`
    expect(shown(ABSENCE_WHILE, steps).breach?.way).toHaveLength(2)
    expect(
      shown('    absence: { says: [cover-opening] }\n    while: { in-opening: [unsure] }\n', steps).breach,
    ).toBeDefined()
    expect(
      shown('    absence: { says: [cover-opening] }\n    unless: { in-opening: [nothing, same-tube, unsure] }\n', steps)
        .breach,
    ).toBeUndefined()
  })
})
