import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { sayableIn } from '../../src/understand/fact.ts'
import { inDrawnOrder, resultOf } from '../long/mutants.ts'
import { watchers } from '../support/mutant-kill.ts'
import { leadingNowhereElse } from '../support/mutant-proof.ts'
import { allMutants, diffOf } from '../support/mutation.ts'
import { readOnce } from '../support/read-once.ts'
import { shippedVignettes } from '../support/situation-ways.ts'

// All edits, and who notices each: npm run long -- --only mutants. Outside: mutation analysis (R. A. DeMillo, R. J. Lipton,
// F. G. Sayward, "Hints on test data selection", 1978; from memory).

const shipped = new Map(readFlowFiles())
const mutants = allMutants(shipped)

describe('slips made on purpose in the shipped flows', () => {
  it('are many, each with a name of its own, each in one file', () => {
    expect(mutants.length).toBeGreaterThan(1_000)
    expect(new Set(mutants.map(({ id }) => id)).size).toBe(mutants.length)
    for (const { files } of inDrawnOrder(mutants, 7).slice(0, 10)) {
      const edited = files(shipped)
      expect([...edited].filter(([path, text]) => shipped.get(path) !== text)).toHaveLength(1)
    }
  })

  it('are shown by the lines that differ', () => {
    const mutant = mutants.find(({ id }) => id === 'someone/waiting does not say worse-waiting')
    if (mutant === undefined) throw new Error('there is no such edit')
    expect(diffOf(mutant, shipped)).toEqual(['-       - worse-waiting'])
  })

  it('are tried in the same order for the same seed, and in another for another', () => {
    const ids = (seed: number) => inDrawnOrder(mutants, seed).map(({ id }) => id)
    expect(ids(1)).toEqual(ids(1))
    expect(ids(1)).not.toEqual(ids(2))
    expect(ids(1).toSorted()).toEqual(mutants.map(({ id }) => id).toSorted())
  })

  it('that one part of a sample is noticed by reading, by the checker, by a vignette, or by a way that one goes on', {
    timeout: 180_000,
  }, async () => {
    const watching = await watchers(['home-open', 'person-sure-of-nothing'])
    const sample = [
      ['tube-out/device row 4 also for in-opening: nothing', 'reading'],
      ['someone/start pages nobody', 'checker'],
      ['someone/start does not say bot-here', 'ways'],
      ['someone silence is not chased', 'checker'],
      ['shared fact replaced not sure acts as went-in-easily', 'checker'],
      ['tube-out/lock-pain row 1 goes to lock-shut', 'reading'],
    ] as const
    for (const [id, by] of sample) {
      const mutant = mutants.find(each => each.id === id)
      if (mutant === undefined) throw new Error(`there is no edit "${id}"`)
      expect([id, (await watching.notice(mutant, 'quick'))?.by]).toEqual([id, by])
    }
  })
})

describe('a slip in the rows of a step', () => {
  const { loaded } = shippedVignettes()
  const { flows } = loaded.line
  const sayable = sayableIn(loaded.lexicons.values())
  const rowsWith = (id: string) => {
    const mutant = mutants.find(each => each.id === id)
    const set = mutant === undefined ? undefined : loadFlows(mutant.files(shipped), readOnce).set
    const step = set?.flows.get('someone')?.steps.get(mutant?.step ?? '')
    if (step === undefined) throw new Error(`there is no edit "${id}"`)
    return { id, step: step.id, rows: step.rows, decide: step.decide }
  }

  it('is proved to change nothing where no conversation is led elsewhere by it, and only there', () => {
    const nothing = ['shared/ask-danger row 2 also for danger: present', 'shared/ask-danger row 1 dropped']
    const something = [
      'shared/ask-danger row 2 also for danger: absent',
      'shared/check-wakes row 1 dropped',
      'shared/check-breathes row 1 also for breathes: yes',
    ]
    const edits = [...nothing, ...something].map(rowsWith)
    expect(leadingNowhereElse(flows, 'someone', edits, true, sayable)).toEqual(new Set(nothing))
  })

  it('is not proved where no conversation comes to the step', () => {
    const [row] = flows.flows.get('someone')?.steps.get('shared/check-wakes')?.rows ?? []
    if (row === undefined) throw new Error('the step is gone')
    const edit = { id: 'nowhere', step: 'shared/no-such-step', rows: [row] }
    expect(leadingNowhereElse(flows, 'someone', [edit], true, sayable)).toEqual(new Set())
  })
})

describe('the share that is noticed', () => {
  it('counts what nobody notices against it', () => {
    const noticed = { by: 'checker', what: 'a rule' } as const
    const tried = [1, 2, 3, 4].map(number => ({
      id: `edit ${number}`,
      kind: 'target',
      noticed: number === 4 ? undefined : noticed,
    }))
    const { isWell, figures } = resultOf(tried, mutants, shipped)
    expect(isWell).toBe(false)
    expect(figures).toMatchObject({
      mutants: mutants.length,
      tried: 4,
      share: 0.75,
      kinds: { target: { tried: 4, noticed: 3, same: 0 } },
      survivors: [{ id: 'edit 4' }],
    })
  })

  it('of nothing tried is none', () => expect(resultOf([], mutants, shipped).isWell).toBe(false))
})
