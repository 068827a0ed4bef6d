import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { type Finding, findingText } from './house/finding.ts'
import { strayPackages, wrongDirections } from './house/imports.ts'
import { AWAITED, ENTRY_POINTS, misplaced, topLevel, unnamed, unreached } from './house/places.ts'
import { ambientClocks, CLOCK_READERS, impurities } from './house/purity.ts'
import { filesBelow, type Scan, scan } from './house/source-scan.ts'
import { approvedIds, approvedIdsIn, clinicalText, leftOvers } from './house/words.ts'
import { ROOT } from './support/clone.ts'

const isCode = (path: string) => /\.(ts|js)$/.test(path)
const isText = (path: string) => /(\.(ts|js|yaml|yml|json|md|sql|lua|css|html|svg|sh|promela|pml)|\/[^.]+)$/.test(path)

const everything = ['src', 'tests', 'flows', 'deploy', 'docs', '.ci'].flatMap(folder => filesBelow(ROOT, folder))
const src = everything.filter(({ path }) => path.startsWith('src/'))
const code = src.filter(({ path }) => isCode(path)).map(scan)
const flows = new Map(
  everything
    .filter(({ path }) => path.startsWith('flows/') && path.endsWith('.yaml'))
    .map(({ path, text }): [string, unknown] => [path, parse(text)]),
)
const installed = Object.keys(JSON.parse(readFileSync(join(ROOT, 'package.json'), 'utf8')).dependencies)

/** Fails with one line a finding. */
function none(findings: readonly Finding[]): void {
  expect(findings.map(findingText)).toEqual([])
}

describe('the house is tidy', () => {
  it('imports go only the way the table says, and only cli names an adapter', () => none(wrongDirections(code)))
  it('packages stay in their folders', () => none(strayPackages(code, installed)))
  it('what decides neither waits, nor reads a clock, nor draws chance', () => none(impurities(code)))
  it('clocks, timers and chance come from runtime/system-clock.ts', () => none(ambientClocks(code, CLOCK_READERS)))
  it('every file that may read a clock is there', () => {
    const paths = new Set(code.map(({ path }) => path))
    expect(Object.keys(CLOCK_READERS).filter(path => !paths.has(path))).toEqual([])
  })
  it('every code file is reached from an entry point', () => none(unreached(code, ENTRY_POINTS, AWAITED)))
  it('every other file in src is named by code', () => {
    const beside = src.filter(({ path }) => !path.endsWith('.ts') && (!isCode(path) || path.includes('/page/')))
    none(unnamed(pathsOf(beside), code))
  })
  it('files lie in folders named for the job, named in kebab-case, at most two below src', () =>
    none(misplaced(pathsOf(everything))))
  it('the top level is what the layout says', () => none(topLevel(readdirSync(ROOT))))
  it('nothing unfinished is left over', () => none(leftOvers(everything.filter(({ path }) => isText(path)))))
  it('every package the bot loads has its reason in docs/decisions, and no other has', () => {
    const page = everything.find(({ path }) => path.endsWith('-dependencies.md'))?.text ?? ''
    const rows = [...page.matchAll(/^\| `([^`]+)` \|/gm)].map(row => row[1])
    expect(rows.toSorted()).toEqual(installed.toSorted())
  })
  it('no sentence for a family stands in code', () => none(clinicalText(code)))
  it('no advice id and no rule id stands in code', () => {
    const ids = approvedIdsIn(flows)
    expect(ids.size).toBeGreaterThan(10)
    none(approvedIds(code, ids))
  })
})

function pathsOf(files: readonly { path: string }[]): string[] {
  return files.map(({ path }) => path)
}

// Each check is shown to fire: a planted sample that breaks the rule, beside one that keeps it.

/** A planted file. */
function file(path: string, ...lines: string[]): Scan {
  return scan({ path, text: lines.join('\n') })
}

/** `path:line` of each finding. */
function places(findings: readonly Finding[]): string[] {
  return findings.map(({ path, line }) => `${path}:${line}`)
}

describe('the import check', () => {
  const rows: [path: string, line: string, isAllowed: boolean][] = [
    ['src/time/span.ts', `import { type Instant } from './instant.ts'`, true],
    ['src/time/span.ts', `import { tract } from '../clinical/tract.ts'`, false],
    ['src/clinical/tract.ts', `import type { Instant } from '../time/instant.ts'`, true],
    ['src/clinical/tract.ts', `import { x } from '../flow/load.ts'`, false],
    ['src/oncall/rota.ts', `export { x } from '../clinical/tract.ts'`, false],
    ['src/flow/load.ts', `import { step } from '../case/step.ts'`, false],
    ['src/case/step.ts', `import { rungs } from '../oncall/ladder.ts'`, true],
    ['src/case/step.ts', `import type { Store } from '../store/store.ts'`, false],
    ['src/case/step.ts', `const x = await import('../runtime/worker.ts')`, false],
    ['src/understand/danger.ts', `import type { Misread } from '../case/event.ts'`, true],
    ['src/understand/danger.ts', `import type { Clinic } from '../oncall/clinic.ts'`, false],
    ['src/modelcheck/explore.ts', `import { step } from '../case/step.ts'`, true],
    ['src/modelcheck/explore.ts', `import { worker } from '../runtime/worker.ts'`, false],
    ['src/replay/replay.ts', `import { explore } from '../modelcheck/explore.ts'`, true],
    ['src/store/store.ts', `import { x } from './sqlite/sqlite-store.ts'`, false],
    ['src/store/sqlite/sqlite-store.ts', `import type { Store } from '../store.ts'`, true],
    ['src/store/sqlite/sqlite-store.ts', `import { seal } from '../seal.ts'`, true],
    ['src/store/sqlite/sqlite-store.ts', `import { x } from '../redis/redis-store.ts'`, false],
    ['src/store/sqlite/sqlite-store.ts', `import { step } from '../../flow/load.ts'`, false],
    ['src/channels/telegram/telegram.ts', `import { x } from '../webchat/webchat.ts'`, false],
    ['src/telegram/poll.ts', `import { x } from '../channels/web-page.ts'`, false],
    ['src/channels/webchat/webchat.ts', `import { x } from '../web-page.ts'`, true],
    ['src/channels/webchat/webchat.ts', `import { x } from '../../http/server.ts'`, false],
    ['src/pagers/smtp.ts', `import { fitPageText } from './pager.ts'`, true],
    ['src/pagers/smtp.ts', `import { x } from './webhook.ts'`, false],
    ['src/pagers/smtp/smtp.ts', `import { x } from '../webhook/webhook.ts'`, false],
    ['src/config/clinic-file.ts', `import { problemText } from '../flow/problem.ts'`, true],
    ['src/config/clinic-file.ts', `import { x } from '../case/step.ts'`, false],
    ['src/runtime/worker.ts', `import type { Pager } from '../pagers/pager.ts'`, true],
    ['src/runtime/worker.ts', `import { x } from '../store/sqlite/sqlite-store.ts'`, false],
    ['src/runtime/worker.ts', `import { x } from '../http/server.ts'`, false],
    ['src/http/server.ts', `import { x } from '../runtime/worker.ts'`, true],
    ['src/http/server.ts', `import { x } from '../channels/webchat/webchat.ts'`, false],
    ['src/cli/serve.ts', `import { x } from '../channels/webchat/webchat.ts'`, true],
    ['src/strange/thing.ts', `export const x = 1`, false],
  ]
  for (const [path, line, isAllowed] of rows) {
    it(`${isAllowed ? 'lets pass' : 'refuses'} ${path}: ${line}`, () => {
      const findings = wrongDirections([file(path, line)])
      expect(places(findings)).toEqual(isAllowed ? [] : [`${path}:1`])
    })
  }

  it('sees imports over several lines, and says where, what and what instead', () => {
    const lines = ['// import from', '', 'import {', '  type Store,', "} from '../store/store.ts'"]
    expect(wrongDirections([file('src/case/step.ts', ...lines)]).map(findingText)).toEqual([
      'src/case/step.ts:5 imports store (../store/store.ts); ' +
        'case may import time, clinical, flow, oncall: move the idea down, or pass the value in',
    ])
  })

  it('does not take comments or text for imports', () => {
    const lines = [
      "// import { x } from '../store/store.ts'",
      "/* import '../store/store.ts' */",
      'const a = `import x from "../store/store.ts"`',
      'const b = /import x from "..\\/store\\/store.ts"/',
    ]
    expect(wrongDirections([file('src/case/step.ts', ...lines)])).toEqual([])
  })
})

describe('the package check', () => {
  const rows: [path: string, name: string, isAllowed: boolean][] = [
    ['src/time/local.ts', 'luxon', true],
    ['src/case/step.ts', 'luxon', false],
    ['src/case/step.ts', 'xstate', true],
    ['src/flow/load.ts', '@formatjs/icu-messageformat-parser', true],
    ['src/oncall/rota.ts', 'luxon', false],
    ['src/runtime/worker.ts', 'grammy', false],
    ['src/telegram/poll.ts', 'grammy', true],
    ['src/channels/telegram/telegram.ts', 'grammy', false],
    ['src/pagers/telegram.ts', 'grammy', false],
    ['src/store/redis/redis-store.ts', 'ioredis', true],
    ['src/store/sqlite/sqlite-store.ts', 'ioredis', false],
    ['src/http/server.ts', 'hono/body-limit', true],
    ['src/runtime/worker.ts', 'hono', false],
    ['src/pagers/smtp/smtp.ts', 'nodemailer', true],
    ['src/http/server.ts', 'left-pad', false],
    ['src/runtime/worker.ts', 'node:fs', true],
  ]
  for (const [path, name, isAllowed] of rows) {
    it(`${isAllowed ? 'lets pass' : 'refuses'} ${name} in ${path}`, () => {
      const findings = strayPackages([file(path, `import { x } from '${name}'`)], installed)
      expect(places(findings)).toEqual(isAllowed ? [] : [`${path}:1`])
    })
  }

  it('refuses a package that only a developer has', () => {
    expect(places(strayPackages([file('src/case/step.ts', "import 'xstate'")], []))).toEqual(['src/case/step.ts:1'])
  })
})

describe('the purity check', () => {
  const impure = [
    "import { readFileSync } from 'node:fs'",
    'export async function f() {}',
    'const x = await y',
    'let p: Promise<void>',
    'const now = Date.now()',
    'const d = new Date(5)',
    'const d = new Date()',
    'const m = performance.now()',
    'const n = DateTime.now()',
    'const n = DateTime.local()',
    'Settings.now = () => 0',
    'const r = Math.random()',
    'setTimeout(f, 5)',
    // biome-ignore lint/suspicious/noTemplateCurlyInString: a planted line of code
    'const u = `${Math.random()}`',
    'const e = process.env.HOME',
    'console.log(1)',
    'fetch(url)',
  ]
  for (const folder of ['time', 'clinical', 'oncall', 'flow', 'case', 'understand', 'modelcheck', 'replay']) {
    it(`fires on every planted line in ${folder}`, () => {
      for (const line of impure) {
        expect(places(impurities([file(`src/${folder}/x.ts`, '', line)])), line).toEqual([`src/${folder}/x.ts:2`])
      }
    })
  }

  it('lets pass what only looks impure', () => {
    const lines = [
      '// await Date.now()',
      "const a = 'async process'",
      'const b = /Promise/.test(text)',
      'const c = DateTime.local(2026, 3, 1)',
      'const d = { process: 1 }',
      'const e = asynchronous',
    ]
    expect(impurities([file('src/case/x.ts', ...lines)])).toEqual([])
  })

  it('lets a flow be hashed in flow/approval.ts and nowhere else', () => {
    const line = "import { createHash } from 'node:crypto'"
    expect(impurities([file('src/flow/approval.ts', line)])).toEqual([])
    expect(places(impurities([file('src/flow/load.ts', line)]))).toEqual(['src/flow/load.ts:1'])
  })

  it('lets runtime wait, but only by the clock it is given', () => {
    const worker = file('src/runtime/worker.ts', 'await clock.sleep(5)', 'setTimeout(f, 5)', 'const id = randomUUID()')
    expect(places(ambientClocks([worker], {}))).toEqual(['src/runtime/worker.ts:2', 'src/runtime/worker.ts:3'])
    const allowed = { 'src/runtime/worker.ts': { uses: ['setTimeout'], because: 'planted' } }
    expect(places(ambientClocks([worker], allowed))).toEqual(['src/runtime/worker.ts:3'])
  })
})

describe('the checks of places', () => {
  it('finds a file that nothing reaches, and two that only reach each other', () => {
    const files = [
      file('src/cli/smallhours.js', "await import('./main.ts')"),
      file('src/cli/main.ts', "import type { A } from '../case/a.ts'"),
      file('src/case/a.ts', 'export const a = 1'),
      file('src/case/b.ts', "import { c } from './c.ts'"),
      file('src/case/c.ts', "import { b } from './b.ts'"),
    ]
    expect(places(unreached(files))).toEqual(['src/case/b.ts:1', 'src/case/c.ts:1'])
  })

  it('finds a script or a picture that no code names', () => {
    const files = [file('src/store/redis/redis-store.ts', "const folder = new URL('./scripts/', import.meta.url)")]
    const paths = ['src/store/redis/scripts/commit.lua', 'src/store/redis/other/old.lua']
    expect(places(unnamed(paths, files))).toEqual(['src/store/redis/other/old.lua:1'])
  })

  it('finds folders named for nothing, names out of style, and code too deep', () => {
    const good = ['src/store/redis/redis-store.ts', 'src/store/redis/scripts/commit.lua', 'tests/time/span.test.ts']
    expect(misplaced(good)).toEqual([])
    const bad = [
      'src/utils/text.ts',
      'tests/support/helpers/a.ts',
      'src/case/common.ts',
      'src/case/CaseState.ts',
      'src/case/case_state.ts',
      'src/store/redis/rows/alarm.ts',
    ]
    expect(places(misplaced(bad))).toEqual(bad.map(path => `${path}:1`))
  })

  it('finds what is too much and what is missing at the top level', () => {
    const names = ['.git', 'node_modules', 'README.md', 'package.json', 'package-lock.json', 'tsconfig.json', 'flows']
    const rest = ['src', 'tests', 'deploy', 'docs', 'vitest.config.ts']
    expect(places(topLevel([...names, ...rest]))).toEqual(['vitest.config.ts:1', 'DEVELOPERS.md:1'])
  })
})

describe('the checks of words', () => {
  it('finds what was left unfinished', () => {
    const bad = ['FIX' + 'ME later', 'TO' + 'DO: this', 'it.on' + 'ly(', 'describe.on' + 'ly(', 'see /wo' + 'rk/main/x']
    const text = ['all is well', ...bad, 'network/main and fixing it only once'].join('\n')
    expect(places(leftOvers([{ path: 'a.ts', text }]))).toEqual([2, 3, 4, 5, 6].map(line => `a.ts:${line}`))
  })

  const sentence = 'Keep the child calm and cover the site with something clean. Do not push anything into it.'

  it('finds a sentence for a family in code', () => {
    for (const folder of ['case', 'flow', 'understand', 'runtime']) {
      const planted = file(`src/${folder}/render.ts`, `const a = '${sentence}'`, `const b = \`${sentence} \${n}\``)
      expect(places(clinicalText([planted])), folder).toEqual([1, 2].map(line => `src/${folder}/render.ts:${line}`))
    }
  })

  it('leaves alone what is thrown, problems of a flow, patterns and comments', () => {
    const thrown = [`throw new InvariantBroken(`, `  \`\${id}: ${sentence}\`,`, `)`, `// '${sentence}'`]
    expect(clinicalText([file('src/case/state.ts', ...thrown)])).toEqual([])
    expect(clinicalText([file('src/flow/document.ts', `z.string().describe('${sentence}')`)])).toEqual([])
    expect(clinicalText([file('src/flow/problem.ts', `const a = '${sentence}'`)])).toEqual([])
    expect(clinicalText([file('src/flow/load.ts', `const a = /${sentence}/`)])).toEqual([])
  })

  it('still finds a sentence after a throw', () => {
    const lines = [`throw new Error('x')`, `const a = '${sentence}'`]
    expect(places(clinicalText([file('src/case/x.ts', ...lines)]))).toEqual(['src/case/x.ts:2'])
  })

  it('finds ids of advice and rules, but not of tags and notices', () => {
    const ids = approvedIdsIn(
      new Map<string, unknown>([
        ['flows/shared/tags.yaml', { tags: { 'hold-open': {} } }],
        [
          'flows/a/sources.yaml',
          { advice: { 'cover-it': { tags: ['x'] }, 'hold-open': { tags: ['x'] }, paged: { tags: [] } } },
        ],
        ['flows/rules/silence.yaml', { rules: [{ rule: 'silence-is-chased' }] }],
      ]),
    )
    const lines = [
      "f('cover-it')",
      "f('stop/cover-it')",
      "f('silence-is-chased')",
      "f('hold-open', 'paged', 'cover-it-all')",
    ]
    const found = approvedIds([file('src/case/x.ts', ...lines)], ids)
    expect(places(found)).toEqual([1, 2, 3].map(line => `src/case/x.ts:${line}`))
  })
})

describe('the scanner', () => {
  it('keeps every line and position', () => {
    // biome-ignore lint/suspicious/noTemplateCurlyInString: a planted line of code
    const text = "const a = 'x' // y\n/* z\n */ const b = `p${f('q')}r` / 2 / c\nconst d = /[/'\"]/g.test(`'`) && '\\''"
    const { code, literals, lineOf } = scan({ path: 'a.ts', text })
    expect(code).toHaveLength(text.length)
    expect(code.split('\n')).toHaveLength(4)
    expect(code).toContain("{f(' ')} ` / 2 / c")
    expect(literals.map(({ at, text: inside }) => [lineOf(at), inside])).toEqual([
      [1, 'x'],
      [3, 'p…r'],
      [3, 'q'],
      [4, "'"],
      [4, "\\'"],
    ])
  })

  it('finds in this repository as many imports as there are lines that end in one', () => {
    const tests = everything.filter(({ path }) => /^tests\/[^/]+\/[^/]+\.ts$/.test(path))
    const ends = (text: string) => text.match(/^(import|export|\}) .*from '[^']+'$|^import '[^']+'$/gm)?.length ?? 0
    for (const each of [...code, ...tests]) {
      const isSimple = !/import\(|`/.test(each.text)
      if (isSimple) expect(scan(each).imports.length, each.path).toBe(ends(each.text))
    }
  })
})
