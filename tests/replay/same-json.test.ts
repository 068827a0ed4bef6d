import { describe, expect, it } from 'vitest'
import { isSameJson } from '../../src/replay/same-json.ts'

/** Its meaning is that of two written texts (ECMA-262, JSON.stringify): every pair is held against them. */
const VALUES: readonly unknown[] = [
  [],
  [[]],
  [{}],
  [{ kind: 'page', to: 'lee', number: 1 }],
  [{ kind: 'page', number: 1, to: 'lee' }],
  [{ kind: 'page', to: 'lee', number: 1, nextAt: undefined }],
  [{ kind: 'page', to: 'lee', number: 2 }],
  [{ kind: 'page', to: 'lee' }],
  [{ kind: 'page', to: 'lee', number: 1 }, { kind: 'closeCase' }],
  [null],
  [undefined],
  [Number.NaN],
  [0],
  [-0],
  ['0'],
  { 0: 'a' },
  ['a'],
  null,
  'null',
]

describe('whether two decisions are the same to the byte', () => {
  it('says what comparing their written texts says, for every pair', () => {
    for (const a of VALUES)
      for (const b of VALUES)
        expect(isSameJson(a, structuredClone(b)), `${JSON.stringify(a)} ${JSON.stringify(b)}`).toBe(
          JSON.stringify(a) === JSON.stringify(b),
        )
  })
})
