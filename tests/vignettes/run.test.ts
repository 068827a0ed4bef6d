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
import { readOnce } from '../support/read-once.ts'

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

const failuresOf = async (loaded: LoadedLine, vignette: Vignette) =>
  judged(vignette, await runVignette(loaded, vignette)).failures

describe('vignettes through the whole bot', () => {
  it('are read without a problem', () => expect(problems).toEqual([]))

  it.each(vignettes.map(vignette => [vignette.id, vignette] as const))('%s', async (_id, vignette) => {
    expect(await failuresOf(shipped, vignette)).toEqual([])
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
