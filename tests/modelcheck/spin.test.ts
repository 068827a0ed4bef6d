import { describe, expect, it } from 'vitest'
import { spinPath } from '../support/missing.ts'
import { explored, flatPart, readAll, refereed } from '../support/referee.ts'
import { SMALL_PARTS } from '../support/referee-parts.ts'

// Outside: SPIN (G. J. Holzmann, "The SPIN Model Checker", 2003), which walks the printed model by itself. All parts, and
// broken variants of the flows, are in the long suite: npm run long -- --only spin.

const { set, rules } = readAll()

describe.skipIf(spinPath === undefined)('the explorer and SPIN', () => {
  it.each(SMALL_PARTS.map(part => [part.name, part] as const))(
    '%s: the same number of states and of transitions, and the same rules broken',
    { timeout: 120_000 },
    (_, part) => {
      const flat = flatPart(part, set, rules)
      const ours = explored(part, flat)
      const theirs = refereed(part, flat)
      expect(ours.states).toBeGreaterThan(100)
      expect([theirs.states, theirs.transitions]).toEqual([ours.states, ours.transitions])
      expect(refereed(part, flat, rules).broken).toEqual(explored(part, flat, rules).broken)
    },
  )
})
