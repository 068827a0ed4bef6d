import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { readVignettes, type Vignette } from '../../src/cli/vignette-file.ts'
import { runVignette } from '../../src/cli/vignette-run.ts'
import { judged } from '../../src/cli/vignettes.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { instant } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { printOf, readPinnedWays } from '../support/pinned-ways.ts'
import { readOnce } from '../support/read-once.ts'
import { AS_IT_WAS, lineOn, playedSituations, waysOf } from '../support/situation-ways.ts'

const at = instant(Date.parse('2026-03-01T07:00:00Z'))
const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at })
if (loaded === undefined) throw new Error('the demonstration cannot be loaded')
const shipped: LoadedLine = loaded
const { vignettes, problems } = readVignettes([join(ROOT, 'tests/vignettes')], shipped.line)

/** The shipped flows with one fault: whatever the first replies say also carries a tag it must not. */
function alsoTagged(tag: string): LoadedLine {
  const path = 'shared/sources.yaml'
  const files = readFlowFiles()
  const text = files.get(path) ?? ''
  const broken = text.replace(/^( {2}danger-ring: *\{? *(?:\n\s+)?tags: \[)/m, `$1${tag}, `)
  expect(broken, 'the fault was planted').not.toBe(text)
  const { set, problems } = loadFlows(new Map([...files, [path, broken]]), readOnce)
  if (set === undefined) throw new Error(problems.map(problem => problem.found).join('; '))
  return { ...shipped, line: { ...shipped.line, flows: set } }
}

const pinned = readPinnedWays()
const onItsTables = lineOn(shipped, shipped.line.flows)
const LOOK_AND_KEEP =
  'these go otherwise than when they were last looked at: if that is meant, `npm run long -- --only ways` keeps them'

const failuresOf = async (loaded: LoadedLine, vignette: Vignette) =>
  judged(vignette, await runVignette(loaded, vignette)).failures

describe('vignettes through the whole bot', () => {
  it('are read without a problem', () => expect(problems).toEqual([]))

  it.each(vignettes.map(vignette => [vignette.id, vignette] as const))('%s', async (_id, vignette) => {
    const { run, situations } = await playedSituations(shipped, vignette)
    expect(judged(vignette, run).failures).toEqual([])
    const otherwise = situations.flatMap(situation => {
      const kept = pinned.get(situation.id)
      const ways = [...waysOf(situation, onItsTables, new Set(kept?.keys()))]
      const gone = [...(kept?.keys() ?? [AS_IT_WAS])].filter(name => !ways.some(way => way.name === name))
      const changed = ways.filter(way => kept?.get(way.name) !== printOf(way))
      return [
        ...gone.map(name => `${situation.id}, ${name}: there is no such way`),
        ...changed.map(({ name, told }) => [`${situation.id}, ${name}:`, ...told].join('\n  ')),
      ]
    })
    expect(otherwise, LOOK_AND_KEEP).toEqual([])
  })

  it('have every way kept that is listed, and no other', () => {
    const ids = new Set(vignettes.map(({ id }) => id))
    expect([...pinned.keys()].filter(id => !ids.has(id.replace(/\/\d+$/, '')))).toEqual([])
    expect(vignettes.filter(({ id }) => pinned.get(id)?.has(AS_IT_WAS) !== true).map(({ id }) => id)).toEqual([])
  })
})

describe('a forbidden tag', () => {
  const forbidden = [...new Set(vignettes.flatMap(vignette => vignette.expect.never))].sort()
  it.each(forbidden)('"%s" said where it must not be fails the vignette that forbids it', async tag => {
    const vignette = vignettes.find(one => one.expect.never.includes(tag))
    if (vignette === undefined) throw new Error(`no vignette forbids "${tag}"`)
    expect(await failuresOf(alsoTagged(tag), vignette)).toContain(`"${tag}" was advised`)
  })
})
