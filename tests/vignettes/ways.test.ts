import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { printOf, readPinnedWays } from '../support/pinned-ways.ts'
import { readOnce } from '../support/read-once.ts'
import { AS_IT_WAS, lineOn, playedSituations, shippedVignettes, type Way, waysOf } from '../support/situation-ways.ts'

// `run.test.ts` plays the kept ways of every vignette; here is what a way is, and that a flow spoilt in one place shows on one.

const { loaded, vignettes } = shippedVignettes()
const vignette = vignettes.find(({ id }) => id === 'clog-clears')
if (vignette === undefined) throw new Error('the vignette is gone')
const { run, situations } = await playedSituations(loaded, vignette)
const [situation] = situations
if (situation === undefined) throw new Error('the vignette opened no case')
const ways = [...waysOf(situation, lineOn(loaded, loaded.line.flows))]
const named = (all: readonly Way[], name: string) => all.find(way => way.name === name)

/** The ways with one text of the flow in place of another. */
function waysWith(from: string, to: string): readonly Way[] {
  const files = readFlowFiles()
  const text = files.get('clogged/flow.yaml') ?? ''
  expect(text.split(from), 'the text stands there once').toHaveLength(2)
  const { set, problems } = loadFlows(new Map([...files, ['clogged/flow.yaml', text.replace(from, to)]]), readOnce)
  if (set === undefined || situation === undefined) throw new Error(problems.map(({ found }) => found).join('; '))
  return [...waysOf(situation, lineOn(loaded, set))]
}

describe('the ways of a situation', () => {
  it('are a hundred and more, each with a name of its own, the vignette as it was among them', () => {
    expect(ways.length).toBeGreaterThan(100)
    expect(new Set(ways.map(({ name }) => name)).size).toBe(ways.length)
    const asItWas = named(ways, AS_IT_WAS)
    expect(asItWas?.told.some(line => line.includes(`decides ${run.decided}`))).toBe(true)
    for (const step of run.entered) expect(asItWas?.entered).toContain(step)
  })

  it('are the same each time', () => {
    const again = [...waysOf(situation, lineOn(loaded, loaded.line.flows))]
    expect(again.map(printOf)).toEqual(ways.map(printOf))
  })

  it('go on to the end: danger is heard, a family that falls silent is asked, then looked for', () => {
    const danger = ways.filter(({ name }) => name.includes('danger-signs'))
    expect(danger.some(({ told }) => told.some(line => line.includes('decides ambulance')))).toBe(true)
    const silent = named(ways, '1 silence/unsure')
    expect(silent?.told.some(line => line.includes('alarm silent-ask:'))).toBe(true)
    expect(silent?.told.some(line => line.includes('alarm silent-page:') && line.includes('pages '))).toBe(true)
  })

  it('are kept where they come to something new', () => {
    const kept = readPinnedWays().get(situation.id)
    expect(kept?.get(AS_IT_WAS)).toBe(printOf(named(ways, AS_IT_WAS) as Way))
    expect(kept?.size).toBeLessThan(ways.length)
  })
})

describe('a flow spoilt in one place', () => {
  const differing = (spoilt: readonly Way[]) =>
    spoilt.flatMap(way => {
      const before = named(ways, way.name)
      return before !== undefined && printOf(before) !== printOf(way) ? [way.name] : []
    })

  it('shows in the situation itself where it comes there', () => {
    expect(
      differing(waysWith('stop-feed, no-push, nothing-poked, look-along, danger-ring', 'stop-feed, danger-ring')),
    ).toContain(AS_IT_WAS)
  })

  it('shows where somebody answers otherwise, though the situation itself goes as before', () => {
    const found = differing(waysWith('say: [water-waits, worse-first-days]', 'say: [worse-first-days]'))
    expect(found).not.toContain(AS_IT_WAS)
    expect(found.some(name => name.includes('first-placed'))).toBe(true)
  })
})
