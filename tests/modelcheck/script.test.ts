import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { RuleDocument } from '../../src/flow/rule-document.ts'
import {
  type Act,
  actText,
  readScript,
  ScriptBroken,
  type ScriptLine,
  type Wanted,
  wantedOf,
  wantedText,
} from '../../src/modelcheck/telling/script.ts'

const id = fc.stringMatching(/^[a-z][a-z0-9]{0,6}(-[a-z0-9]{1,5})?$/)
const ids = fc.array(id, { minLength: 1, maxLength: 3 })
const act: fc.Arbitrary<Act> = fc.oneof(
  fc.record({ kind: fc.constant('start' as const), concern: id }),
  fc.record({ kind: fc.constantFrom('knows' as const, 'tap' as const), fact: id, values: ids }),
  fc.record({ kind: fc.constant('write' as const), fact: id, text: fc.constantFrom('2:08 am', '+12125550155', '4.5') }),
  fc.record({ kind: fc.constant('change' as const), fact: id }),
  fc.record({ kind: fc.constant('wait' as const), minutes: fc.integer({ min: 0, max: 9999 }) }),
)
const wanted: fc.Arbitrary<Wanted> = fc.record({
  sense: fc.constantFrom('must' as const, 'never' as const),
  what: fc.oneof(
    fc.record({ says: ids }),
    fc.record({ decides: fc.constantFrom('ambulance' as const, 'speak' as const), pages: fc.constant('any' as const) }),
    fc.record({ asks: ids, rests: fc.constant(true as const) }),
    fc.record({ holds: fc.dictionary(id, ids, { minKeys: 1, maxKeys: 2, noNullPrototype: true }) }),
  ),
})

describe('a script', () => {
  it('reads back as it was written', () => {
    fc.assert(
      fc.property(fc.array(act), fc.array(wanted), (acts, wants) => {
        const text = [...acts.map(actText), ...wants.map(wantedText)].join('\n')
        const expected: ScriptLine[] = [
          ...acts.map((one): ScriptLine => ({ kind: 'act', act: one })),
          ...wants.map((one): ScriptLine => ({ kind: 'wanted', wanted: one })),
        ]
        expect(readScript(text)).toEqual(expected)
      }),
      { seed: 20260301, numRuns: 300 },
    )
  })

  it('keeps what a family types as it is, also where it begins like a command', () => {
    for (const line of ['tube is out', 'start', 'wait, what?', 'tap it?', 'never again', 'must we go', 'None of these'])
      expect(readScript(line)).toEqual([{ kind: 'typed', text: line }])
  })

  it('leaves comments and empty lines out', () => expect(readScript('# a\n\n#\n   \n')).toEqual([]))

  it('names the line of what it cannot take', () => {
    expect(() => readScript('start x\nmust decides soon')).toThrow(ScriptBroken)
    expect(() => readScript('start x\nmust decides soon')).toThrow(/^line 2: .*one of ambulance/)
    expect(() => readScript('never says')).toThrow(/line 1/)
  })
})

const rule = (part: Partial<RuleDocument>): RuleDocument => ({
  means: 'x',
  hazards: ['H1'],
  reason: 'x',
  own: 'x',
  ...part,
})

describe('what of a rule shows in a conversation', () => {
  const says = { says: ['a'] }
  const asks = { asks: ['b'] }
  it.each<[string, Partial<RuleDocument>, Wanted[]]>([
    ['absence: it never happens', { absence: says }, [{ sense: 'never', what: says }]],
    ['precedence: not without the other', { precedence: { of: says, needs: asks } }, [{ sense: 'never', what: says }]],
    ['existence: not before it', { existence: says, before: asks }, [{ sense: 'never', what: asks }]],
    ['universality: it holds', { universality: { x: 'y' } }, [{ sense: 'must', what: { holds: { x: 'y' } } }]],
    [
      'response: everything it must',
      { response: { after: asks, must: [says, { pages: 'any' }], within: 'same-reply' } },
      [
        { sense: 'must', what: says },
        { sense: 'must', what: { pages: 'any' } },
      ],
    ],
  ])('%s', (_, part, expected) => expect(wantedOf(rule(part))).toEqual(expected))
})
