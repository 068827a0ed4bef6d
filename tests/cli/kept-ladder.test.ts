import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { ladderKept } from '../../src/cli/kept-ladder.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { pagingAtOnce } from '../../src/modelcheck/model/ladder.ts'
import { instant } from '../../src/time/instant.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-ladder-'))
afterAll(() => rmSync(folder, { recursive: true }))

const loaded = loadLine({ clinicDir: DEMO_CLINIC, at: instant(0) }).loaded as LoadedLine

/** How often the ladder was walked. */
function walker() {
  let walks = 0
  const walk = () => {
    walks += 1
    return [{ people: walks, urgency: 'urgent' as const, states: 1, transitions: 1, findings: [] }]
  }
  return { walk, walks: () => walks }
}

describe('the walk of the call-out ladder', () => {
  it('is kept until something it depends on changes', () => {
    const { walk, walks } = walker()
    const kept = (of: LoadedLine, isAfresh = false) => ladderKept(of, isAfresh, walk, folder)[0]?.people
    expect([kept(loaded), kept(loaded), walks()]).toEqual([1, 1, 1])
    const slower = { ...loaded, line: { ...loaded.line, settings: { ...loaded.line.settings, 'left-check': 1 } } }
    expect([kept(slower as LoadedLine), walks()]).toEqual([2, 2])
    expect(kept(loaded)).toBe(1)
    const { flows } = loaded.line.flows
    const [[id, first] = []] = [...flows].filter(([, flow]) => flow.concern === pagingAtOnce(loaded.line.flows))
    if (id === undefined || first === undefined) throw new Error('no flow pages at once')
    const set = { ...loaded.line.flows, flows: new Map(flows).set(id, { ...first, unanswered: 'elsewhere' }) }
    expect([kept({ ...loaded, line: { ...loaded.line, flows: set } } as LoadedLine), walks()]).toEqual([3, 3])
  })

  it('is made anew where it is asked for', () => {
    const { walk, walks } = walker()
    ladderKept(loaded, true, walk, folder)
    ladderKept(loaded, true, walk, folder)
    expect(walks()).toBe(2)
  })
})
