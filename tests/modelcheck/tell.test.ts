import { beforeAll, describe, expect, it } from 'vitest'
import { explore, WalkBroke } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { toldPage } from '../../src/modelcheck/telling/page.ts'
import { tell } from '../../src/modelcheck/telling/tell.ts'
import { toldLines } from '../../src/modelcheck/telling/text.ts'
import { type Breach, firstBreach } from '../support/first-breach.ts'

const STEPS = 'shared/steps.yaml'

/** A single check that fails goes on instead of to the emergency. */
const FAILED_CHECK = {
  file: STEPS,
  find: '{ if: { breathes: [no] }, go: emergency }',
  put: '{ if: { breathes: [no] }, go: check-colour }',
}

describe('a conversation that breaks a rule, told', () => {
  let breach: Breach
  beforeAll(() => {
    breach = firstBreach('someone', [FAILED_CHECK], 'a-check-that-fails-is-danger')
  })
  const told = () => tell({ ...breach, resume: 'return' })

  it('has the family’s taps in its own words and the questions of the bot, to the turn in which it breaks', () => {
    const { entries, turn, isShown } = told()
    expect(isShown).toBe(true)
    const family = entries.flatMap(entry => (entry.kind === 'family' ? [entry.text] : []))
    expect(family).toEqual(['Wants a person', 'Not sure', 'Yes', 'No'])
    expect(entries[turn]).toMatchObject({ kind: 'family', text: 'No' })
    const [last] = entries.slice(-1)
    expect(last?.kind === 'bot' && last.parts.at(-1)).toMatchObject({ kind: 'question', fact: 'colour-ok' })
  })

  it('has the page that the clinician gets beside it, without a name or number of the family', () => {
    const pages = told().entries.flatMap(entry => (entry.kind === 'page' ? [entry] : []))
    expect(pages[0]).toMatchObject({ to: 'Amara Osei', why: 'page' })
    expect(pages[0]?.text).toMatch(/^WANTS CLINICIAN, since 02:10\./)
  })

  it('fits 80 columns, family on the left and pages on the right', () => {
    const lines = toldLines(told(), breach.line)
    expect(Math.max(...lines.map(line => line.length))).toBeLessThanOrEqual(80)
    expect(lines[0]).toMatch(/THE FAMILY AND THE BOT +\| WHAT CLINICIANS SEE/)
    expect(lines.some(line => /^2:10 am {2}FAMILY writes: Wants a person +\|$/.test(line))).toBe(true)
    expect(lines.some(line => /\| Amara Osei: WANTS CLINICIAN/.test(line))).toBe(true)
  })

  it('names what had to happen and did not', () => {
    const { wanted, acts, from } = told()
    expect(wanted).toEqual([
      { sense: 'must', what: { says: ['call-emergency'] } },
      { sense: 'must', what: { says: ['stop-feed'] } },
      { sense: 'must', what: { pages: ['danger'] } },
      { sense: 'must', what: { decides: 'ambulance' } },
    ])
    expect(acts.slice(from)).toEqual([{ kind: 'tap', fact: 'breathes', values: ['no'] }])
  })

  it('as a page asks for nothing from outside, and hides nothing that a family might have typed as markup', () => {
    const page = toldPage(told(), breach.line, { says: 'a <b> & "c"', name: 'x', script: 'x.script' })
    expect(page).toContain('a &lt;b&gt; &amp; &quot;c&quot;')
    expect(page).not.toMatch(/<script|https?:|src=|@import/)
  })
})

describe('silence in a told conversation', () => {
  let breach: Breach
  beforeAll(() => {
    breach = firstBreach(
      'someone',
      [{ file: 'shared/steps.yaml', find: '    page: lost-contact\n', put: '' }],
      'silence-is-paged',
    )
  })

  it('lasts as long as the rule allows, with the question asked again and every page of the ladder on the way', () => {
    const told = tell({ ...breach, resume: 'return' })
    expect(told.isShown).toBe(true)
    expect(told.wanted).toEqual([{ sense: 'must', what: { pages: ['lost-contact'] } }])
    // The clinic's setting left-silent, as shipped: 20 minutes.
    expect(told.acts.at(-1)).toEqual({ kind: 'wait', minutes: 20 })
    const last = told.entries.slice(told.turn)
    expect(last.filter(({ kind }) => kind === 'page').length).toBeGreaterThanOrEqual(1)
    for (const [index, { at }] of told.entries.entries())
      expect(at).toBeGreaterThanOrEqual(told.entries[index - 1]?.at ?? 0)
    const text = toldLines(told, breach.line).join('\n')
    expect(text).toMatch(/… 10 minutes later\.( The family has said)?/)
    expect(text).toMatch(/no clinician has answered|Amara Osei: AGAIN/)
  })
})

describe('time in a told conversation', () => {
  // Worked by hand: out at the earliest 5 min ago, may begin to close 60 min after that, way up to 15 min.
  it('comes to the minute that the answers give: 60 less 5 less 15 minutes', () => {
    const { line } = firstBreach('someone', [FAILED_CHECK], 'a-check-that-fails-is-danger')
    const flow = line.flows.flows.get('tube-out')
    if (flow === undefined) throw new Error('the shipped flow was expected')
    const flat = flatten(flow, line.flows)
    const way = wayTo(flat, 'leave-by-passed')
    const { acts, isShown } = tell({ line, flat, way, resume: 'return' })
    expect(isShown).toBe(true)
    const answers = acts.flatMap(act => ('values' in act ? act.values : []))
    expect(answers).toContain('just-now')
    expect(answers).toContain('up-to-15-minutes')
    const waited = acts.flatMap(act => (act.kind === 'wait' ? [act.minutes] : []))
    expect(waited.reduce((sum, minutes) => sum + minutes, 0)).toBe(40)
  })
})

/** Shortest moves that enter a step, without interruptions. */
function wayTo(flat: FlatFlow, step: string): readonly Move[] {
  const target = flat.nodeOf.get(step)
  let isEntered = false
  let last: Move | undefined
  try {
    explore(flat, {
      resume: 'return',
      corrections: 'none',
      interruptions: false,
      onMover(mover) {
        mover.onEntered = node => {
          if (node === target) isEntered = true
        }
      },
      onEdge({ move }) {
        if (!isEntered) return
        last = move
        throw new Error('found')
      },
    })
  } catch (error) {
    if (error instanceof WalkBroke && last !== undefined) return [...error.way, last]
    throw error
  }
  throw new Error(`nothing leads to "${step}"`)
}
