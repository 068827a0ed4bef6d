import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { silenceRules } from '../../src/modelcheck/referee/rules.ts'
import { spinPath } from '../support/missing.ts'
import { explored, flatPart, readAll, refereed, silenceKept } from '../support/referee.ts'
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

describe.skipIf(spinPath === undefined)('rules with a bound in silence, as claims in temporal logic', () => {
  const part = { name: 'someone', flow: 'someone', happens: 'all', flatten: { givable: new Map() } } as const
  const verdicts = (files?: ReadonlyMap<string, string>) => {
    const read = readAll(files)
    const flat = flatPart(part, read.set, read.rules)
    return silenceRules(read.rules, flat).map(rule => [rule.id, silenceKept(part, flat, rule)] as const)
  }

  it('hold where the explorer says that they hold', { timeout: 120_000 }, () => {
    const kept = verdicts()
    expect(kept.length).toBeGreaterThan(0)
    expect(kept.filter(([, isKept]) => !isKept)).toEqual([])
  })

  it('are broken where silence is asked about and never paged', { timeout: 120_000 }, () => {
    const files = new Map(readFlowFiles())
    const steps = files.get('shared/steps.yaml') ?? ''
    const broken = steps.replaceAll('    page: lost-contact\n', '')
    expect(broken.length).toBeLessThan(steps.length)
    expect(verdicts(files.set('shared/steps.yaml', broken)).some(([, isKept]) => !isKept)).toBe(true)
  })
})
