import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { packing, StateTable } from '../../src/modelcheck/model/packing.ts'
import '../support/seed.ts'

const sizesAndStates = fc.array(fc.integer({ min: 1, max: 300 }), { minLength: 1, maxLength: 60 }).chain(sizes =>
  fc.record({
    sizes: fc.constant(sizes),
    states: fc.array(fc.tuple(...sizes.map(size => fc.integer({ min: 0, max: size - 1 }))), { maxLength: 200 }),
  }),
)

describe('packed states', () => {
  it('are unpacked as they were, whatever the sizes of the fields', () => {
    fc.assert(
      fc.property(sizesAndStates, ({ sizes, states }) => {
        const pack = packing(sizes)
        const words = new Int32Array(pack.words)
        const out = new Int32Array(sizes.length)
        for (const state of states) {
          pack.pack(Int32Array.from(state), words, 0)
          pack.unpack(words, 0, out)
          expect([...out]).toEqual(state)
        }
      }),
    )
  })

  // Outside check: the language's own Set, over the states as text.
  it('are numbered in the order they are found, each once, as a Set keeps them', () => {
    fc.assert(
      fc.property(sizesAndStates, ({ sizes, states }) => {
        const pack = packing(sizes)
        const table = new StateTable(pack.words)
        const words = new Int32Array(pack.words)
        const known = new Map<string, number>()
        for (const state of [...states, ...states]) {
          pack.pack(Int32Array.from(state), words, 0)
          const key = state.join()
          const number = known.get(key) ?? known.size
          known.set(key, number)
          expect(table.add(words)).toBe(number)
        }
        expect(table.count).toBe(known.size)
      }),
    )
  })

  it('are found again after the table has grown many times', () => {
    const table = new StateTable(2)
    const words = new Int32Array(2)
    for (let round = 0; round < 2; round++)
      for (let number = 0; number < 50_000; number++) {
        words[0] = number % 251
        words[1] = Math.floor(number / 251) - 90
        expect(table.add(words)).toBe(number)
      }
  })
})
