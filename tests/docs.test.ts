import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join, relative, resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { generatedPages, stalePages } from '../src/cli/docs.ts'
import { readFlowFiles } from '../src/cli/flow-files.ts'
import { DEMO_CLINIC, loadLine } from '../src/cli/load-line.ts'
import { keysTable } from '../src/cli/schema-table.ts'
import { readVignettes } from '../src/cli/vignette-file.ts'
import { runVignette } from '../src/cli/vignette-run.ts'
import { judged } from '../src/cli/vignettes.ts'
import { settingIds } from '../src/config/setting-definitions.ts'
import { flowSchema, sharedStepsSchema } from '../src/flow/document.ts'
import { loadFlows } from '../src/flow/load.ts'
import { instant } from '../src/time/instant.ts'
import { filesBelow, scan } from './house/source-scan.ts'
import { ROOT } from './support/clone.ts'

const page = (path: string) => readFileSync(join(ROOT, path), 'utf8')

/** Ids in code marks that open the rows of a page's tables; only those below `heading`, where one is given. */
function rowsOf(text: string, heading?: string): string[] {
  const section = heading === undefined ? text : sectionOf(text, heading)
  return [...section.matchAll(/^\| `([^`]+)` \|/gm)].map(([, id = '']) => id)
}

/** The lines from a second-level heading to the next. */
function sectionOf(text: string, heading: string): string {
  const start = text.indexOf(`\n## ${heading}\n`)
  if (start === -1) throw new Error(`no heading "## ${heading}"`)
  const end = text.indexOf('\n## ', start + 1)
  return text.slice(start, end === -1 ? undefined : end)
}

/** Texts in code that look like the code of an error, in files whose path `isRead`. */
function codesIn(isRead: (path: string) => boolean): string[] {
  const files = filesBelow(ROOT, 'src').filter(({ path }) => isRead(path) && path.endsWith('.ts'))
  const texts = files.map(scan).flatMap(file => file.literals.map(({ text }) => text))
  return [...new Set(texts.filter(text => /^[A-Z]{4,}(_[A-Z]+)*$|^[A-Z]+(_[A-Z]+)+$/.test(text)))].toSorted()
}

/** Kinds of a union of types written as `readonly kind: 'x'`, after the line that begins it. */
function kindsOf(path: string, type: string): string[] {
  const text = page(path)
  const start = text.indexOf(`export type ${type} =`)
  if (start === -1) throw new Error(`${path} has no type ${type}`)
  const rest = text.slice(start + 1)
  const end = rest.search(/^export /m)
  return [...rest.slice(0, end === -1 ? undefined : end).matchAll(/readonly kind: '([A-Za-z]+)'/g)].map(
    ([, kind = '']) => kind,
  )
}

describe('generated pages', () => {
  it('say what their schemas and flows say now (else: npm run docs)', () =>
    expect(stalePages().map(({ file }) => file)).toEqual([]))

  it('are eight, each with a heading and at least one table, and say that they are made', () => {
    expect(generatedPages().map(({ file }) => file)).toEqual([
      'flow-language.md',
      'settings.md',
      'facts.md',
      'tags.md',
      'advice-sources.md',
      'authorisation.md',
      'transcript.md',
      '../rules/rules.md',
    ])
    for (const { text } of generatedPages()) {
      expect(text).toMatch(/^<!-- Made by `npm run docs`/)
      expect(text).toMatch(/^# /m)
      expect(text).toMatch(/^\|---/m)
    }
  })

  it('have every row of a table whole: as many cells as its head', () => {
    for (const { file, text } of generatedPages()) {
      let cells = 0
      for (const line of text.split('\n')) {
        if (!line.startsWith('|')) cells = 0
        else {
          const count = line.replaceAll('\\|', '').split('|').length
          if (cells !== 0) expect(count, `${file}: ${line}`).toBe(cells)
          cells = count
        }
      }
    }
  })

  it('name every key of a flow and of a step', () => {
    expect(rowsOf(keysTable(flowSchema))).toEqual(Object.keys(flowSchema.shape))
    const step = rowsOf(keysTable(sharedStepsSchema, ['steps', '*']))
    for (const key of ['say', 'decide', 'page', 'alarms', 'ask', 'route', 'wait', 'end']) expect(step).toContain(key)
  })

  it('fail aloud when a schema no longer has the map a table is made from', () => {
    expect(() => keysTable(flowSchema, ['gone'])).toThrow('"gone"')
    expect(() => keysTable(flowSchema, ['concern'])).toThrow('no map with named keys')
  })
})

describe('written pages and code agree, both ways, on', () => {
  const errors = page('docs/reference/errors.md')

  it('codes of errors', () => {
    const inCode = codesIn(path => /^src\/(flow|config)\/|^src\/cli\/vignette/.test(path))
    expect(inCode.length).toBeGreaterThan(40)
    expect(rowsOf(errors).toSorted()).toEqual(inCode)
  })

  it('events', () => {
    const kinds = kindsOf('src/case/event.ts', 'CaseEvent')
    expect(kinds).toContain('pageAcknowledged')
    expect(rowsOf(page('docs/reference/events-and-effects.md'), 'Events')).toEqual(kinds)
  })

  it('effects', () => {
    const kinds = kindsOf('src/case/effect.ts', 'Effect')
    expect(kinds).toContain('closeCase')
    expect(rowsOf(page('docs/reference/events-and-effects.md'), 'Effects')).toEqual(kinds)
  })

  it('settings', () => expect(rowsOf(page('docs/reference/settings.md'))).toEqual(settingIds))

  it('what the log says of faults', () => {
    const text = page('src/runtime/fault.ts')
    const union = text.slice(text.indexOf('export type FaultCode'), text.indexOf('/** Something that needs'))
    const codes = [...union.matchAll(/\| '([a-z-]+)'/g)].map(([, code = '']) => code)
    expect(codes).toContain('case-parked')
    expect(rowsOf(page('docs/operating/when-it-fails.md'), 'The log').toSorted()).toEqual(
      [
        ...codes,
        'http-fault',
        'cases-purged',
        'calendar-taken',
        'calendar-held',
        'calendar-failed',
        'clinic-file-taken',
        'clinic-file-refused',
      ].toSorted(),
    )
  })

  it('commands', () => {
    const commands = [...page('src/cli/commands.ts').matchAll(/^ {2}'?([a-z-]+)'?: async/gm)].map(
      ([, name = '']) => name,
    )
    expect(commands).toContain('serve')
    const named = [...sectionOf(page('README.md'), 'Commands').matchAll(/^\| `npx smallhours ([a-z-]+)/gm)]
    expect([...new Set(named.map(([, name]) => name))].toSorted()).toEqual(commands.toSorted())
  })

  it('scripts of package.json', () => {
    const scripts = Object.keys(JSON.parse(page('package.json')).scripts)
    const guide = page('DEVELOPERS.md')
    const isNamed = (script: string) => guide.includes(`npm run ${script}\``) || guide.includes(`npm ${script}\``)
    expect(scripts.filter(script => !isNamed(script))).toEqual([])
  })
})

describe('the first page', () => {
  const lines = page('README.md').split('\n')

  it('has each of the two ways to begin alone on its line, in a code block of its own', () => {
    for (const command of ['npm ci && npm start', 'npm ci && npm test']) {
      const at = lines.indexOf(command)
      expect(lines.slice(at - 1, at + 2), command).toEqual(['```', command, '```'])
    }
  })

  it('has the cautions before the first command', () => {
    const text = lines.join('\n')
    const start = text.indexOf('```')
    const needed = [
      /not approved for care/,
      /not a medical device/,
      /never replaces/,
      /Nobody clinical has reviewed/,
      /emergency number now/,
    ]
    for (const words of needed) {
      const found = text.search(words)
      expect(found, String(words)).toBeGreaterThan(0)
      expect(found, String(words)).toBeLessThan(start)
    }
  })
})

describe('hazards', () => {
  const text = page('docs/safety/hazards.md')
  const ids = [...text.matchAll(/^\| (H\d+) \|/gm)].map(([, id = '']) => id)

  it('are numbered without a gap, each once, each waiting for its score', () => {
    expect(ids.length).toBeGreaterThanOrEqual(20)
    expect(ids).toEqual(ids.map((_, index) => `H${index + 1}`))
    for (const line of text.split('\n').filter(one => /^\| H\d+ \|/.test(one))) {
      expect(line.split('|').length, line.slice(0, 20)).toBe(8)
    }
  })

  it('name files that exist, and at least one test each', () => {
    for (const line of text.split('\n').filter(one => /^\| H\d+ \|/.test(one))) {
      const files = [...line.matchAll(/`((?:src|tests|flows|docs|deploy)\/[^`]+)`/g)].map(([, path = '']) => path)
      expect(files.filter(path => !existsSync(join(ROOT, path)), line)).toEqual([])
      expect(
        files.some(path => path.startsWith('tests/')),
        line.slice(0, 20),
      ).toBe(true)
    }
  })
})

/** The fenced blocks of a page that are marked as YAML, in order. */
function yamlBlocks(text: string): string[] {
  return [...text.matchAll(/^```yaml\n([\s\S]*?)^```/gm)].map(([, block = '']) => block)
}

describe('the worked example of a changed flow', () => {
  const [step = '', route = '', changed = '', words = '', advice = '', vignette = ''] = yamlBlocks(
    page('docs/clinic/flows.md'),
  )
  const shipped = readFlowFiles()
  const ownFlow = shipped.get('tube-out/flow.yaml')?.replace(step, changed) ?? ''
  const withStep = new Map(shipped).set('tube-out/flow.yaml', ownFlow)
  const whole = new Map(withStep)
    .set('tube-out/wording.en.yaml', `${shipped.get('tube-out/wording.en.yaml')}\n${words}`)
    .set('tube-out/sources.yaml', `${shipped.get('tube-out/sources.yaml')?.trimEnd()}\n${advice}`)

  it('starts from steps that are shipped as they stand there', () => {
    expect(shipped.get('tube-out/flow.yaml')).toContain(step)
    expect(shipped.get('tube-out/flow.yaml')).toContain(route)
    expect(changed).not.toBe(step)
  })

  it('is refused half done, with the two errors that the page shows', () => {
    const said = loadFlows(withStep).problems.map(({ code, found }) => `${code}: ${found}`)
    const shown = [...page('docs/clinic/flows.md').matchAll(/^tube-out\/flow\.yaml:\d+:\d+ (.*); …$/gm)]
    expect(said).toEqual(shown.map(([, text]) => text))
    expect(said).toHaveLength(2)
  })

  it('is taken when it is done', () => expect(loadFlows(whole).problems).toEqual([]))

  it('comes out as its vignette says, which the shipped flow does not show', async () => {
    const clinicDir = mkdtempSync(join(tmpdir(), 'smallhours-docs-'))
    try {
      copyFileSync(join(DEMO_CLINIC, 'clinic.yaml'), join(clinicDir, 'clinic.yaml'))
      mkdirSync(join(clinicDir, 'flows', 'tube-out'), { recursive: true })
      for (const name of ['flow', 'wording.en', 'sources'])
        writeFileSync(join(clinicDir, 'flows', 'tube-out', `${name}.yaml`), whole.get(`tube-out/${name}.yaml`) ?? '')
      const file = join(clinicDir, 'nights.yaml')
      writeFileSync(file, vignette)
      const { loaded } = loadLine({ clinicDir, at: instant(Date.parse('2026-03-01T00:00:00Z')) })
      if (loaded === undefined) throw new Error('the changed flow does not load')
      const { vignettes, problems } = readVignettes([file], loaded.line)
      expect(problems).toEqual([])
      const [only] = vignettes
      if (only === undefined) throw new Error('the page has no vignette')
      const run = await runVignette(loaded, only)
      expect(judged(only, run)).toMatchObject({ failures: [], pass: true })
      expect(run.conversation.join('\n')).toContain("Take the clinic's blue card.")
    } finally {
      rmSync(clinicDir, { recursive: true })
    }
  })
})

it('every shipped line that puts a tube in, holds an opening open or restarts feed can be taken back aloud', () => {
  const { set } = loadFlows(readFlowFiles())
  const acts = ['puts-into-site', 'hold-open', 'replace-tube', 'restarts-feed']
  const lines = [...(set?.flows.values() ?? [])].flatMap(flow =>
    [...flow.advice].flatMap(([id, { tags }]) => (tags.some(tag => acts.includes(tag)) ? [{ flow, id }] : [])),
  )
  expect(lines.length).toBeGreaterThanOrEqual(4)
  const silent = lines.filter(({ flow, id }) => flow.wording.get('en')?.has(`stop/${id}`) !== true)
  expect(silent.map(({ id }) => id)).toEqual([])
})

/** Every Markdown page of the repository, as paths. */
const pages = ['README.md', 'DEVELOPERS.md', ...markdownBelow('docs')]

function markdownBelow(folder: string): string[] {
  return readdirSync(join(ROOT, folder), { withFileTypes: true, recursive: true })
    .filter(entry => entry.isFile() && entry.name.endsWith('.md'))
    .map(entry => relative(ROOT, join(entry.parentPath, entry.name)))
    .toSorted()
}

/** The name a heading can be linked by: lower case, hyphens for spaces, no other signs. */
function anchorOf(heading: string): string {
  return heading
    .trim()
    .toLowerCase()
    .replace(/[^\p{L}\p{N}\s_-]/gu, '')
    .replace(/\s/g, '-')
}

describe('links', () => {
  for (const path of pages) {
    it(`of ${path} lead somewhere`, () => {
      const text = page(path)
      // Words of families and addresses of sources stand in pages made from flows as they are.
      const prose = text.replace(/^```[\s\S]*?^```/gm, '').replace(/`[^`]*`/g, '')
      const broken = [...prose.matchAll(/\[[^\]]*\]\(([^)\s]+)\)/g)]
        .map(([, target = '']) => target)
        .filter(target => !/^[a-z]+:/.test(target))
        .filter(target => {
          const [file = '', anchor] = target.split('#')
          const full = file === '' ? join(ROOT, path) : resolve(ROOT, dirname(path), file)
          if (!existsSync(full)) return true
          if (anchor === undefined) return false
          const headings = [...readFileSync(full, 'utf8').matchAll(/^#+ (.+)$/gm)].map(([, heading = '']) => heading)
          return !headings.map(anchorOf).includes(anchor)
        })
      expect(broken).toEqual([])
    })
  }

  it('of pages reach every page from the first', () => {
    const reached = new Set<string>()
    const waiting = ['README.md']
    for (let path = waiting.pop(); path !== undefined; path = waiting.pop()) {
      if (reached.has(path)) continue
      reached.add(path)
      for (const [, target = ''] of page(path).matchAll(/\]\(([^)\s#]+)[^)]*\)/g)) {
        const full = relative(ROOT, resolve(ROOT, dirname(path), target))
        if (pages.includes(full)) waiting.push(full)
        else waiting.push(...pages.filter(each => dirname(each) === full))
      }
    }
    expect(pages.filter(path => !reached.has(path))).toEqual([])
  })

  it('that lead nowhere are found', () => {
    expect(anchorOf('What is not built yet')).toBe('what-is-not-built-yet')
    expect(anchorOf('How to add …')).toBe('how-to-add-')
  })
})
