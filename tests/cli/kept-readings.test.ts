import { createHash } from 'node:crypto'
import { chmodSync, existsSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { KEPT_MOST_BYTES, keptReadings } from '../../src/cli/kept-readings.ts'
import { type Findings, loadFlows } from '../../src/flow/load.ts'
import type { Problem } from '../../src/flow/problem.ts'
import { readYaml } from '../../src/flow/yaml-places.ts'

const TEXT = 'fluids:\n  first: water\n'
const shipped = [...readFlowFiles()].filter(([path]) => path.endsWith('.yaml'))

let folder = ''
const file = () => join(folder, 'cache', 'readings')
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-readings-'))
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))

function keep(...texts: readonly string[]): void {
  const readings = keptReadings(file())
  for (const text of texts) readings.read('a.yaml', text)
  readings.keep()
}

const valueIn = (text: string) => keptReadings(file()).read('a.yaml', text).yaml?.value

/** Puts other words into what was kept. With `mended`, its digest is put right too: only whoever may write the file can do that. */
function spoil(from: string, to: string, mended: boolean): void {
  const [first = '', json = ''] = readFileSync(file(), 'utf8').split('\n')
  const spoilt = json.replace(from, to)
  expect(spoilt).not.toBe(json)
  const digest = mended ? createHash('sha256').update(spoilt).digest('hex') : first
  writeFileSync(file(), `${digest}\n${spoilt}`)
}

describe('flows that were read before', () => {
  it('give what reading them gives, every shipped file, with the same places', () => {
    const before = keptReadings(file())
    for (const [path, text] of shipped) before.read(path, text)
    before.keep()
    const after = keptReadings(file())
    expect(shipped.length).toBeGreaterThan(10)
    for (const [path, text] of shipped) {
      const kept = after.read(path, text)
      const fresh = readYaml(path, text)
      expect(kept.yaml?.value, path).toStrictEqual(fresh.yaml?.value)
      const key = Object.keys(fresh.yaml?.value as object).at(-1) ?? ''
      expect(kept.yaml?.place([key], true), path).toEqual(fresh.yaml?.place([key], true))
      expect(kept.problems).toEqual(fresh.problems)
    }
  })

  it('are taken from the file that was kept', () => {
    keep(TEXT)
    spoil('water', 'other', true)
    expect(valueIn(TEXT)).toEqual({ fluids: { first: 'other' } })
  })

  it('are read again when the kept file is damaged', () => {
    keep(TEXT)
    spoil('water', 'wates', false)
    expect(valueIn(TEXT)).toEqual({ fluids: { first: 'water' } })
    writeFileSync(file(), readFileSync(file()).subarray(0, 70))
    expect(valueIn(TEXT)).toEqual({ fluids: { first: 'water' } })
  })

  it.runIf(process.getuid?.() !== undefined)('are read again when others could have written the kept file', () => {
    keep(TEXT)
    spoil('water', 'other', true)
    for (const path of [file(), join(folder, 'cache')]) {
      const { mode } = statSync(path)
      chmodSync(path, mode | 0o002)
      expect(valueIn(TEXT), path).toEqual({ fluids: { first: 'water' } })
      chmodSync(path, mode)
    }
    expect(valueIn(TEXT)).toEqual({ fluids: { first: 'other' } })
  })

  it('are read again when one letter of the text is another', () => {
    keep(TEXT)
    expect(valueIn(TEXT.replace('water', 'Water'))).toEqual({ fluids: { first: 'Water' } })
  })

  it('tell a fault at every start', () => {
    const twice = 'a: 1\na: 2\n'
    keep(twice, TEXT)
    const { yaml, problems } = keptReadings(file()).read('a.yaml', twice)
    expect(yaml).toBeUndefined()
    expect(problems).toEqual(readYaml('a.yaml', twice).problems)
    expect(problems.length).toBeGreaterThan(0)
  })

  it('are not kept where JSON would give back something else', () => {
    for (const text of ['a: .nan\n', 'a: .inf\n', 'a: -0.0\n', 'a: !!set {b, c}\n']) {
      keep(text)
      const { yaml, problems } = keptReadings(file()).read('a.yaml', text)
      const fresh = readYaml('a.yaml', text)
      expect(yaml?.value, text).toStrictEqual(fresh.yaml?.value)
      expect(problems, text).toEqual(fresh.problems)
    }
  })

  it('lie where only the user who starts reads and writes', () => {
    keep(TEXT)
    expect(statSync(file()).mode & 0o777).toBe(0o600)
    expect(statSync(join(folder, 'cache')).mode & 0o777).toBe(0o700)
  })

  it('stay beside those of another start, and within one start are not read twice', () => {
    keep(TEXT)
    keep('b: 2\n')
    expect(readFileSync(file(), 'utf8')).toContain('water')
    const readings = keptReadings(file())
    let looks = 0
    const look = (): Findings => {
      looks += 1
      return { problems: [], silenced: [] }
    }
    readings.findings(['one clinic'], look)
    readings.findings(['one clinic'], look)
    expect(looks).toBe(1)
  })

  it('forget the oldest where there is no room for all', () => {
    const long = (letter: string) => `${letter}: ${letter.repeat(KEPT_MOST_BYTES / 2)}\n`
    keep(TEXT)
    keep(long('b'))
    keep(long('c'))
    const text = readFileSync(file(), 'utf8')
    expect(text.length).toBeLessThan(KEPT_MOST_BYTES)
    expect([text.includes('water'), text.includes('bbb'), text.includes('ccc')]).toEqual([false, false, true])
  })

  it('cost nothing but time where nothing can be kept', () => {
    writeFileSync(join(folder, 'cache'), 'a file stands where the folder would be')
    const readings = keptReadings(file())
    expect(readings.read('a.yaml', TEXT).yaml?.value).toEqual({ fluids: { first: 'water' } })
    expect(() => readings.keep()).not.toThrow()
    expect(existsSync(file())).toBe(false)
  })
})

describe('what was found in flows', () => {
  const files = readFlowFiles()
  const limits = { grade: 6 }
  const warning: Problem = {
    ...{ code: 'TEXT_LONG', file: 'a.yaml', line: 1, column: 2 },
    ...{ found: 'a', expected: 'b' },
    severity: 'warning',
  }
  let looks = 0
  const looking = (problems: Problem[]) => () => {
    looks += 1
    return { problems, silenced: [] }
  }

  /** What a start finds in what it is about. */
  function start(about: readonly unknown[], problems: Problem[]): Findings {
    const kept = keptReadings(file())
    const found = kept.findings(about, looking(problems))
    kept.keep()
    return found
  }

  beforeEach(() => {
    looks = 0
  })

  it('is what a look finds, in the shipped flows as in a flow with a hole', () => {
    const broken = new Map([...files, ['shared/tags.yaml', 'tags: {}\n']] as const)
    for (const some of [files, broken]) {
      const load = () => {
        const kept = keptReadings(file())
        const loaded = loadFlows(some, kept.read, limits, look => kept.findings([...some, limits], look))
        kept.keep()
        return loaded
      }
      const fresh = loadFlows(some, undefined, limits)
      for (const { problems, silenced, set } of [load(), load()]) {
        expect(problems).toEqual(fresh.problems)
        expect(silenced).toEqual(fresh.silenced)
        expect(set === undefined).toBe(fresh.set === undefined)
      }
    }
    expect(loadFlows(broken).set).toBeUndefined()
  })

  it('is told at every start, and looked for once', () => {
    expect(start([...files], [warning]).problems).toEqual([warning])
    expect(start([...files], []).problems).toEqual([warning])
    expect(looks).toBe(1)
  })

  it('is looked for again when one letter of one file, or a limit, is another', () => {
    start([...files, limits], [])
    start([...files, { grade: 5 }], [])
    const [path, text] = [...files][0] ?? ['', '']
    start([...new Map([...files, [path, `${text}#`]] as const), limits], [])
    expect(looks).toBe(3)
  })

  it('is looked for at every start while it keeps the flows from being served', () => {
    const fault: Problem = { ...warning, severity: 'problem' }
    start([...files], [fault])
    expect(start([...files], [fault]).problems).toEqual([fault])
    expect(looks).toBe(2)
  })
})
