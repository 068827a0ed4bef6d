import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Flow } from '../../src/flow/flow-set.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { type Move, mover } from '../../src/modelcheck/model/flat-step.ts'
import { canonicalIn } from '../../src/modelcheck/model/relevance.ts'
import { shippedFlows } from '../support/a-line.ts'

// Two talks side by side: one keeps everything, the other is put to the state that stands for it after every move. Whatever
// comes next, both must enter the same steps and stand at the same place. "We cannot get there" is said once in a talk: said
// again in the circle of follow-ups, talk that returns is not shown to be what a replay comes to (docs/decisions).

/** What comes by itself, and what nothing ahead reads any more, may come in the one and not in the other: then it does nothing there. */
const BY_ITSELF: ReadonlySet<string> = new Set(['time', 'grew-older', 'alarm'])

function talksOf(concern: string, on: readonly string[]) {
  const policies = Object.fromEntries(on.map(id => [id, 'on']))
  const flat = flatten(shippedFlows.flows.get(concern) as Flow, shippedFlows, { policies })
  const walker = mover(flat, { resume: 'return' })
  const canonical = canonicalIn(flat, true)
  let entered: string[] = []
  walker.onEntered = (node, _, how) => {
    if (!how.replaying) entered.push(flat.nodes[node]?.id ?? '')
  }
  const movesOf = (state: Int32Array): Move[] => {
    entered = []
    const found: Move[] = []
    walker.moves(state, move => found.push(move))
    return found
  }
  const firsts: Move[] = []
  walker.starts(move => firsts.push(move))
  const played = (state: Int32Array | undefined, move: Move) => {
    entered = []
    const next = walker.again(state, move)
    return { next, entered, talk: flat.nodes[next[flat.fields.talk] as number]?.id }
  }
  return { firsts, movesOf, played, canonical }
}

const ENDS: ReadonlySet<string> = new Set(['danger-said', 'wrong-tap', 'restarted'])

const same = (a: Move) => (b: Move) => a.kind === b.kind && a.arg === b.arg && a.branch === b.branch

const LOCKS = ['home-replacement', 'hold-open-new', 'hold-open-settled', 'family-ph']
const CASES = [...[...shippedFlows.flows.keys()].map(concern => [concern, []] as const), ['tube-out', LOCKS] as const]

describe('the state that stands for others', () => {
  it.each(CASES)('%s, on: %s – has the same future', (concern, on) => {
    const { firsts, movesOf, played, canonical } = talksOf(concern, on)
    let longest = 0
    fc.assert(
      fc.property(fc.array(fc.nat(), { minLength: 10, maxLength: 60, size: 'max' }), picks => {
        const way: Move[] = []
        let whole: Int32Array | undefined
        let short: Int32Array | undefined
        for (const pick of picks) {
          const isRefused = way.some(({ kind }) => kind === 'travel-refused')
          const all = whole === undefined ? firsts : movesOf(whole)
          const moves = all.filter(({ kind }) => !(isRefused && kind === 'travel-refused'))
          // Answers most often; what ends a talk or begins it anew, seldom.
          const answers = moves.filter(({ kind }) => kind === 'answered')
          const others = moves.filter(({ kind }) => !ENDS.has(kind))
          const rank = pick % 16
          const some = rank > 7 && answers.length > 0 ? answers : rank > 0 && others.length > 0 ? others : moves
          const move = some[Math.floor(pick / 16) % some.length] as Move
          way.push(move)
          const one = played(whole, move)
          if (short !== undefined && !movesOf(short).some(same(move))) {
            expect([BY_ITSELF.has(move.kind), one.entered], JSON.stringify(way)).toEqual([true, []])
            whole = one.next
            continue
          }
          const other = played(short, move)
          expect([other.talk, other.entered], JSON.stringify(way)).toEqual([one.talk, one.entered])
          whole = one.next
          short = other.next
          canonical(short, 0)
        }
        longest = Math.max(longest, way.length)
      }),
      { seed: 20261130, numRuns: 60 },
    )
    expect(longest).toBeGreaterThan(30)
  })
})
