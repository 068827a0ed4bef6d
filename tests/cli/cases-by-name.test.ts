import { describe, expect, it } from 'vitest'
import { casesByName } from '../../src/cli/cases-by-name.ts'

describe('cases in the order of their names', () => {
  it('gives each once, in order, from any name on', () => {
    const cases = casesByName()
    for (let number = 0; number < 1_000; number += 1)
      cases.add(`n-${String((number * 7) % 1_000).padStart(4, '0')}`, `c${number}`)
    expect(cases.count).toBe(1_000)
    expect([...cases.after('')]).toHaveLength(1_000)
    // 7 × 143 = 1001, and so 143 has the name of 1.
    expect([...cases.after('')].slice(0, 3)).toEqual(['c0', 'c143', 'c286'])
    expect([...cases.after('n-0998')]).toEqual(['c857'])
    expect([...cases.after('n-0999')]).toEqual([])
    cases.close()
  })
})
