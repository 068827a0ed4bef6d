import { spawnSync } from 'node:child_process'
import { readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { AS_NODE_20, cloneWith, ROOT, run, withOwnNode } from './support/clone.ts'
import { missingLines } from './support/missing.ts'

const folders: string[] = []

afterEach(() => {
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true })
})

function kept(folder: string): string {
  folders.push(folder)
  return folder
}

/** Runs vitest with the reporter over one test file; what the reporter wrote and how vitest ended. */
async function closingLineOf(test: string): Promise<{ line: string; code: number | null }> {
  const folder = kept(
    cloneWith(['tests/support/closing-line.ts'], {
      'tests/a.test.ts': test,
      'tests/vitest.config.ts': `
import { ClosingLine } from './support/closing-line.ts'
export default { test: { include: ['tests/*.test.ts'], reporters: [new ClosingLine()], pool: 'forks' } }`,
    }),
  )
  symlinkSync(join(ROOT, 'node_modules'), join(folder, 'node_modules'))
  const file = join(folder, 'line')
  writeFileSync(file, 'nothing was written')
  const vitest = join(ROOT, 'node_modules/vitest/vitest.mjs')
  const ended = await run([vitest, 'run', '--root', folder, '--config', 'tests/vitest.config.ts'], {
    CLOSING_LINE_FILE: file,
  })
  return { line: readFileSync(file, 'utf8').trim(), code: ended.code }
}

const HEAD = `import { beforeAll, describe, expect, it } from 'vitest'\n`

describe('the closing line of vitest', () => {
  const cases: [what: string, test: string, line: string, code: number][] = [
    [
      'counts passed and skipped tests',
      `it('a', () => {}); it.skip('b', () => {})`,
      '1 passed, 0 failed, 1 skipped',
      0,
    ],
    ['counts a failed test', `it('a', () => expect(1).toBe(2)); it('b', () => {})`, '1 passed, 1 failed, 0 skipped', 1],
    [
      'counts an unhandled rejection beside passed tests',
      `it('a', async () => { void Promise.reject(new Error('lost')); await new Promise(r => setTimeout(r, 50)) })`,
      '1 passed, 1 failed, 0 skipped',
      1,
    ],
    [
      'counts a file that cannot be read',
      `import './not-there.ts'; it('a', () => {})`,
      '0 passed, 1 failed, 0 skipped',
      1,
    ],
    [
      'counts a set-up that failed, whose tests never ran',
      `describe('s', () => { beforeAll(() => { throw new Error('no') }); it('a', () => {}) }); it('b', () => {})`,
      '1 passed, 1 failed, 1 skipped',
      1,
    ],
  ]
  for (const [what, test, line, code] of cases) {
    it(what, async () => expect(await closingLineOf(HEAD + test)).toEqual({ line, code }))
  }
})

/** A clone whose lint, types and tests end as told. */
function cloneEnding(ends: { lint?: number; types?: number; tests?: string }): string {
  const script = `
import { writeFileSync } from 'node:fs'
const write = line => writeFileSync(process.env.CLOSING_LINE_FILE, line + '\\n')
${ends.tests ?? `write('5 passed, 0 failed, 0 skipped')`}`
  return kept(
    cloneWith(['tests/run.js', 'tests/support/missing.ts'], {
      'node_modules/@biomejs/biome/bin/biome': `process.exit(${ends.lint ?? 0})`,
      'node_modules/typescript/bin/tsc': `process.exit(${ends.types ?? 0})`,
      'node_modules/vitest/vitest.mjs': script,
    }),
  )
}

const lastLine = (out: string) => out.trimEnd().split('\n').at(-1)

describe('npm test', () => {
  const cases: [what: string, ends: Parameters<typeof cloneEnding>[0], line: string, code: number][] = [
    ['passes where every step passes', {}, '5 passed, 0 failed', 0],
    ['counts a failed lint as a failure', { lint: 1 }, '5 passed, 1 failed', 1],
    ['counts failed types as a failure', { types: 2 }, '5 passed, 1 failed', 1],
    [
      'adds them up',
      { lint: 1, types: 1, tests: `write('4 passed, 3 failed, 2 skipped'); process.exit(1)` },
      '4 passed, 5 failed, 2 skipped',
      1,
    ],
    [
      'does not believe 0 failed of tests that ended badly',
      { tests: `write('5 passed, 0 failed, 0 skipped'); process.exit(1)` },
      '5 passed, 1 failed',
      1,
    ],
    [
      'counts tests that died without a word',
      { tests: `process.kill(process.pid, 'SIGKILL')` },
      '0 passed, 1 failed',
      1,
    ],
    ['counts a run of no test', { tests: `write('0 passed, 0 failed, 0 skipped')` }, '0 passed, 1 failed', 1],
  ]
  for (const [what, ends, line, code] of cases) {
    it(what, async () => {
      const ended = await run([join(cloneEnding(ends), 'tests/run.js')], { CI: '' })
      expect(lastLine(ended.out)).toBe(line)
      expect(ended.code).toBe(code)
    })
  }

  it("passes itself on to the clone's Node 24 when started by an older one", async () => {
    const folder = withOwnNode(cloneEnding({}))
    const ended = await run([...AS_NODE_20, join(folder, 'tests/run.js')], { CI: '' })
    expect(lastLine(ended.out)).toBe('5 passed, 0 failed')
  })

  it('asks for npm ci where there is no Node 24', async () => {
    const ended = await run([...AS_NODE_20, join(cloneEnding({}), 'tests/run.js')], { CI: '' })
    expect(ended.err).toContain('run "npm ci"')
    expect(ended).toMatchObject({ code: 2, out: '0 passed, 1 failed\n' })
  })

  const nothing = { PATH: '', CHROMIUM: '/not/there' }

  it('says what was left out and how to get it', async () => {
    const ended = await run([join(cloneEnding({}), 'tests/run.js')], { ...nothing, CI: '' })
    expect(ended.out.match(/^left out: .*apt-get install/gm)).toHaveLength(3)
    expect(lastLine(ended.out)).toBe('5 passed, 0 failed')
  })

  it('with CI=true counts each program that is missing as a failure', async () => {
    const ended = await run([join(cloneEnding({}), 'tests/run.js')], { ...nothing, CI: 'true' })
    expect(lastLine(ended.out)).toBe('5 passed, 3 failed')
    expect(ended.code).toBe(1)
  })
})

it('a program that is here is not among those left out', () => {
  const program = { name: 'x', tests: 'the x tests', get: 'apt-get install x' }
  expect(missingLines([{ ...program, path: '/usr/bin/x' }])).toEqual([])
  expect(missingLines([{ ...program, path: undefined }])).toEqual(['left out: the x tests (no x; apt-get install x)'])
})

describe('the end of a CI run', () => {
  const cases: [what: string, log: string, status: string, line: string, code: number][] = [
    [
      'repeats the last closing line',
      '1 passed, 1 failed\nmore\n9 passed, 0 failed\nbye',
      '0',
      '9 passed, 0 failed',
      0,
    ],
    ['keeps what was skipped', '9 passed, 0 failed, 2 skipped\n', '0', '9 passed, 0 failed, 2 skipped', 0],
    ['fails where tests failed', '9 passed, 2 failed\n', '1', '9 passed, 2 failed', 1],
    ['fails where a command failed though no test did', '9 passed, 0 failed\n', '1', '9 passed, 1 failed', 1],
    ['fails where there is no closing line', 'npm ci went wrong\n', '1', '0 passed, 1 failed', 1],
    [
      'fails where there is none and all seems well',
      'said 3 passed, 0 failed in passing',
      '0',
      '0 passed, 1 failed',
      1,
    ],
    ['fails where no test ran', '0 passed, 0 failed\n', '0', '0 passed, 1 failed', 1],
  ]
  for (const [what, log, status, line, code] of cases) {
    it(what, () => {
      const folder = kept(cloneWith([], { log }))
      const close = spawnSync(process.execPath, [join(ROOT, '.ci/close.js'), join(folder, 'log'), status])
      expect(lastLine(String(close.stdout))).toBe(line)
      expect(close.status).toBe(code)
    })
  }
})
