import type { Finding } from './finding.ts'
import { isPageScript, resolved } from './imports.ts'
import type { Scan } from './source-scan.ts'

/** Where the outside starts, and what is started beside it: everything else in src is reached from these. */
export const ENTRY_POINTS = [
  'src/cli/smallhours.js',
  'src/cli/check-helper.ts',
  'src/cli/figures-helper.ts',
  'src/cli/measured-families.ts',
  'src/cli/what-if-helper.ts',
]

/**
 * What has tests of its own and is still waited for: by flows of concerns still to come, by pages of the clinic. Each
 * names who will; a file that is reached, or gone, must leave this list.
 */
export const AWAITED: Readonly<Record<string, string>> = {
  'src/clinical/fasting.ts': 'fasting limits of a plan on the child’s record',
  'src/clinical/fluids.ts': 'fluid need: feed-trouble',
}

/** Files that no entry point reaches through imports. Page scripts are served, not imported. */
export function unreached(
  files: readonly Scan[],
  entries: readonly string[] = ENTRY_POINTS,
  awaited: Readonly<Record<string, string>> = {},
): Finding[] {
  const byPath = new Map(files.map(file => [file.path, file]))
  const reached = new Set<string>()
  const waiting = [...entries]
  for (let path = waiting.pop(); path !== undefined; path = waiting.pop()) {
    if (reached.has(path)) continue
    reached.add(path)
    for (const { from } of byPath.get(path)?.imports ?? []) {
      if (from.startsWith('.')) waiting.push(resolved(path, from))
    }
  }
  const stale = Object.keys(awaited).filter(path => reached.has(path) || !byPath.has(path))
  const dead = files
    .filter(({ path }) => !path.endsWith('.d.ts'))
    .map(({ path }) => path)
    .filter(path => !reached.has(path) && !isPageScript(path) && awaited[path] === undefined)
  return [...dead, ...stale].map(path => ({
    path,
    line: 1,
    found: `nothing that ${entries.join(', ')} starts imports this file`,
    instead: 'use it, delete it, or move it to tests/support if only tests need it',
  }))
}

/** Files beside code (page scripts, pictures, SQL, Lua) that no code names, by themselves or by their folder. */
export function unnamed(paths: readonly string[], files: readonly Scan[]): Finding[] {
  const words = files.flatMap(file => file.literals.map(literal => literal.text))
  return paths
    .filter(path => {
      const [folder = '', name = ''] = path.split('/').slice(-2)
      return !words.some(word => word.includes(name) || word.split('/').includes(folder))
    })
    .map(path => ({ path, line: 1, found: 'no code names this file or its folder', instead: 'use it or delete it' }))
}

const BANNED_FOLDERS = new Set([
  'utils',
  'util',
  'helpers',
  'helper',
  'common',
  'misc',
  'lib',
  'types',
  'interfaces',
  'enums',
])

/** Folders named for nothing, names that are not kebab-case, and code more than two folders below src. */
export function misplaced(paths: readonly string[]): Finding[] {
  return paths.flatMap(path => {
    const folders = path.split('/').slice(0, -1)
    const name = path.split('/').at(-1) ?? ''
    const findings: Finding[] = []
    const banned = folders.find(folder => BANNED_FOLDERS.has(folder))
    const say = (found: string, instead: string) => findings.push({ path, line: 1, found, instead })
    if (banned !== undefined) say(`the folder name "${banned}"`, 'put the file into the folder that owns the idea')
    if (BANNED_FOLDERS.has(name.split('.')[0] ?? '')) say(`the file name "${name}"`, 'name the file for its idea')
    if (/\.(ts|js)$/.test(name) && !/^[a-z0-9]+(-[a-z0-9]+)*(\.[a-z]+)*\.(ts|js)$/.test(name)) {
      say(`the file name "${name}"`, 'use kebab-case: elapsed-time.ts')
    }
    if (path.startsWith('src/') && name.endsWith('.ts') && folders.length > 3) {
      say(`code ${folders.length - 1} folders below src`, 'keep to two: src/folder/adapter/file.ts')
    }
    return findings
  })
}

const TOP_LEVEL =
  'README.md DEVELOPERS.md package.json package-lock.json tsconfig.json src flows tests deploy docs'.split(' ')

/** What stands at the top of the repository and does not belong, and what is missing there. Dotfiles are not seen. */
export function topLevel(names: readonly string[]): Finding[] {
  const visible = names.filter(name => !name.startsWith('.') && name !== 'node_modules')
  const extra = visible.filter(name => !TOP_LEVEL.includes(name))
  const missing = TOP_LEVEL.filter(name => !visible.includes(name))
  return [
    ...extra.map(name => ({
      path: name,
      line: 1,
      found: 'stands at the top level',
      instead: 'put it into the folder it serves, package.json or a dotfile',
    })),
    ...missing.map(name => ({
      path: name,
      line: 1,
      found: 'is missing',
      instead: `write it: ${TOP_LEVEL.join(', ')}`,
    })),
  ]
}
