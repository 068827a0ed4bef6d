import { describe, expect, it } from 'vitest'
import { explore } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import { smallFlow, smallFlows } from '../support/small-flows.ts'

// What was told in a first message is told still where talk goes another way from an earlier step, or begins anew.

const flat = flatten(smallFlow('told'), smallFlows)
const ANEW: readonly Move['kind'][] = ['restarted', 'wrong-tap']

/** Steps that are entered, and the moves made. */
function walked(resume: 'replay' | 'return', beginsAnew: boolean) {
  const entered = new Set<string>()
  const moves = new Set<string>()
  let now: string[] = []
  explore(flat, {
    resume,
    isFollowed({ kind }) {
      const isFollowed = beginsAnew || !ANEW.includes(kind)
      if (!isFollowed) now = []
      return isFollowed
    },
    onMover(made) {
      made.onEntered = at => now.push(flat.nodes[at]?.id ?? '')
    },
    onEdge({ move }) {
      for (const id of now) entered.add(id)
      now = []
      moves.add(`${move.kind} ${move.arg === 0 ? 'nothing' : 'something'}`)
    },
  })
  return { entered, moves }
}

describe('what was told at first', () => {
  it.each(['replay', 'return'] as const)('is told still after a turn, in the walk by %s', resume => {
    const { entered } = walked(resume, false)
    expect(entered).toContain('bowel')
    expect(entered).toContain('which')
    expect(entered).not.toContain('forgotten')
  })

  it('may be anything that words can say where talk begins anew', () => {
    const { moves } = walked('return', true)
    expect([...moves]).toEqual(
      expect.arrayContaining(['restarted nothing', 'restarted something', 'wrong-tap nothing', 'wrong-tap something']),
    )
  })
})
