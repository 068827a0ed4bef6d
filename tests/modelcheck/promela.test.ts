import { spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { parse, stringify } from 'yaml'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { inPieces } from '../../src/modelcheck/referee/chunks.ts'
import { promelaOf } from '../../src/modelcheck/referee/promela.ts'
import { byteOf, namer } from '../../src/modelcheck/referee/words.ts'
import { spinPath } from '../support/missing.ts'
import { readAll } from '../support/referee.ts'

const HOSTILE = ['if', 'do', 'never', '3-days', 'accept', 'end', 'timeout', 'active', 'len', 'run']

/** The smaller flow with steps that are called like words of Promela and of C, or begin with a digit. */
function hostileFiles(): Map<string, string> {
  const files = new Map(readFlowFiles())
  const path = 'someone/flow.yaml'
  const flow = parse(files.get(path) ?? '') as { steps: Record<string, Record<string, unknown>>; start: string }
  const [first = ''] = HOSTILE
  const chain = HOSTILE.map((id, index): [string, Record<string, unknown>] => [
    id,
    { go: HOSTILE[index + 1] ?? flow.start },
  ])
  const steps = { ...Object.fromEntries(chain), ...flow.steps }
  return files.set(path, stringify({ ...flow, steps, start: first }))
}

describe('names in Promela', () => {
  it('are told apart where two ids would be written alike', () => {
    const name = namer('fact')
    expect(['a-b', 'a/b', 'a_b', 'a-b'].map(name)).toEqual(['fact_a_b', 'fact_a_b__2', 'fact_a_b__3', 'fact_a_b'])
  })

  it('never are a word of the language, nor begin with a digit', () => {
    for (const id of HOSTILE) expect(namer('into')(id)).toMatch(/^into_\w+$/)
  })

  it.skipIf(spinPath === undefined)('SPIN reads a flow whose steps are called "if", "do", "never" and "3-days"', () => {
    const { set } = readAll(hostileFiles())
    const flow = set.flows.get('someone')
    if (flow === undefined) throw new Error('there is no flow "someone"')
    const folder = mkdtempSync(join(tmpdir(), 'smallhours-referee-'))
    try {
      writeFileSync(join(folder, 'flow.pml'), promelaOf(flatten(flow, set)))
      const { status, stdout } = spawnSync(spinPath ?? 'spin', ['-a', 'flow.pml'], { cwd: folder, encoding: 'utf8' })
      expect([status, stdout]).toEqual([0, expect.not.stringMatching(/error/i)])
    } finally {
      rmSync(folder, { recursive: true, force: true })
    }
  })
})

describe('the byte of a fact', () => {
  it('tells 63 classes of answers at each status apart', () => {
    const bytes = [1, 2, 3].flatMap(status => Array.from({ length: 63 }, (_, index) => byteOf(status, index)))
    expect(new Set(bytes).size).toBe(189)
    expect([Math.min(...bytes), Math.max(...bytes)]).toEqual([65, 255])
  })
})

describe('what an event does, in pieces', () => {
  const section = (label: string, jump: string) => [`${label}:`, ...Array.from({ length: 700 }, () => 'x = 1;'), jump]
  const lines = inPieces([...section('a', 'goto c;'), ...section('b', 'goto a;'), ...section('c', 'next = 0;')])

  it('jumps inside a piece by a label, to another by a number', () => {
    expect(lines.filter(line => line.includes('d_step')).length).toBe(3)
    expect(lines.map(line => line.trim())).toEqual(
      expect.arrayContaining(['next = 3; goto out_0;', 'next = 1; goto out_1;']),
    )
  })

  it('goes on in the next piece where a section ends without a jump', () => {
    const through = inPieces([...section('a', 'x = 2;'), ...section('b', 'next = 0;')]).map(line => line.trim())
    expect(through).toContain('next = 2;')
  })
})
