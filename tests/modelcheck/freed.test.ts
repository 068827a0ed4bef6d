import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { loadFlows } from '../../src/flow/load.ts'
import type { Rule } from '../../src/flow/rule-document.ts'
import { loadRules } from '../../src/flow/rule-load.ts'
import { explore, WalkBroke } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { urgencyOf } from '../../src/modelcheck/model/tables.ts'
import { compileRules, observationsOf } from '../../src/modelcheck/rules/rule-compile.ts'
import { freedBy } from '../../src/modelcheck/rules/rule-freed.ts'
import { ruleWatch } from '../../src/modelcheck/rules/rule-watch.ts'
import { inDrawnOrder } from '../long/mutants.ts'
import { aLine } from '../support/a-line.ts'
import { allMutants } from '../support/mutation.ts'

// A rule that can be broken no more leaves nothing to remember. The walk that forgets so must show the same breaches, and
// the same rules coming up, as the one that remembers all that rules look at to the end.

const shipped = new Map(readFlowFiles())
const LONG = process.env.LONG === '1'

interface Verdict {
  readonly broken: readonly string[]
  readonly cameUp: readonly string[]
  readonly states: number
  /** Why the walk could not go on. */
  readonly stops: string
}

function verdictsOf(
  files: ReadonlyMap<string, string>,
  concern: string,
): { short: Verdict; long: Verdict } | undefined {
  const { set } = loadFlows(files)
  const flow = set?.flows.get(concern)
  const rules = set === undefined ? undefined : loadRules(files, set, SETTINGS).rules?.rules
  if (set === undefined || flow === undefined || rules === undefined) return undefined
  const bare = flatten(flow, set, {})
  const walked = (isFreed: boolean): Verdict => {
    const observed = observationsOf(rules, bare).map(each => (isFreed ? each : { ...each, freed: [] }))
    const flat = flatten(flow, set, { observed })
    const compiled = compileRules(rules, flat)
    const watched = ruleWatch(compiled, flat)
    const walk = () =>
      explore(flat, {
        resume: 'return',
        corrections: 'restart',
        interruptions: true,
        isFollowed: move => (concern !== 'someone' && TURNS.has(move.kind) ? 'looked' : true),
        watch: watched.watch,
        marks: watched.marks,
        onMover: watched.listen,
        onEdge: watched.onEdge,
      }).states
    const { states, stops } = endOf(walk)
    const ids = (seen: readonly unknown[]) =>
      compiled.rules.flatMap(({ rule }, index) => (seen[index] === undefined ? [] : [rule.id]))
    return { broken: ids(watched.broken), cameUp: ids(watched.witnessed), states, stops }
  }
  return { short: walked(true), long: walked(false) }
}

const TURNS: ReadonlySet<string> = new Set([
  'danger-said',
  'person-wanted',
  'travel-refused',
  'left-said',
  'wrong-tap',
  'restarted',
])
const SETTINGS = Object.keys(aLine().settings)

/** A slip may leave talk without a way on: then that ends the walk, in both at the same place. */
function endOf(walk: () => number): { readonly states: number; readonly stops: string } {
  try {
    return { states: walk(), stops: '' }
  } catch (error) {
    if (!(error instanceof WalkBroke)) throw error
    return { states: 0, stops: error.message }
  }
}

/** Of a folder, in an order drawn once; first those that a short run takes, since they are known to break a rule. */
function slipsIn(folder: string) {
  const own = allMutants(shipped).filter(({ id }) => id.startsWith(`${folder}/`))
  const known = own.filter(({ id }) => KNOWN.has(id))
  return [...known, ...inDrawnOrder(own, 20261130).filter(({ id }) => !KNOWN.has(id))]
}

const KNOWN: ReadonlySet<string> = new Set(['someone/start pages nobody', 'someone silence is not chased'])

describe('a rule that can be broken no more', () => {
  it.each(['someone', 'tube-moved'])('leaves nothing to remember, and nothing unseen: %s', concern => {
    const { short, long } = verdictsOf(shipped, concern) ?? {}
    expect(short?.broken).toEqual([])
    expect([short?.broken, short?.cameUp]).toEqual([long?.broken, long?.cameUp])
    expect(short?.states).toBeLessThanOrEqual(long?.states ?? 0)
  })

  it.each([
    ['someone', 'someone', LONG ? 200 : 2],
    ['tube-moved', 'shared', LONG ? 60 : 1],
  ] as const)(
    'is found broken where it would be otherwise: slips in %s',
    { timeout: LONG ? 1_800_000 : 60_000 },
    (concern, folder, most) => {
      let broken = 0
      let tried = 0
      for (const mutant of slipsIn(folder)) {
        if (tried === most) break
        const both = verdictsOf(mutant.files(shipped), concern)
        if (both === undefined) continue
        tried++
        expect([mutant.id, both.short.broken, both.short.cameUp]).toEqual([
          mutant.id,
          both.long.broken,
          both.long.cameUp,
        ])
        if (both.short.broken.length > 0) broken++
      }
      if (LONG) expect(broken).toBeGreaterThan(0)
    },
  )
})

describe('what frees a rule for good', () => {
  const rule = (own: Partial<Rule>): Rule => ({
    id: 'one',
    means: 'It holds.',
    hazards: ['H1'],
    reason: 'So.',
    own: 'a rule',
    ...own,
  })

  it('is a disposition, or words said, that let it off by themselves', () => {
    const found = freedBy(
      rule({
        absence: { rests: true },
        unless: [{ decided: 'set-out' }, { said: ['stop-feed', 'wait'], decided: 'speak' }],
      }),
    )
    expect(found).toEqual([
      { urgency: urgencyOf('set-out'), marks: [] },
      { urgency: urgencyOf('speak'), marks: [{ said: ['stop-feed', 'wait'] }] },
    ])
  })

  it('is no answer, since an answer may be changed', () =>
    expect(freedBy(rule({ absence: { rests: true }, unless: { decided: 'set-out', device: ['nasal'] } }))).toEqual([]))

  it('is all it demands, once what it speaks of came up', () => {
    const must = [{ holds: { said: ['stop-feed'] } }, { holds: { decided: 'speak' } }]
    expect(freedBy(rule({ response: { after: { rests: true }, must, within: 'same-reply' } }))).toEqual([
      { urgency: urgencyOf('speak'), marks: [{ said: ['stop-feed'] }, { cameUp: 'one' }] },
    ])
  })

  it('is nothing that must happen anew each time', () => {
    const must = [{ holds: { said: ['stop-feed'] } }, { says: ['go-hospital'] }]
    expect(freedBy(rule({ response: { after: { rests: true }, must, within: 'same-reply' } }))).toEqual([])
  })
})
