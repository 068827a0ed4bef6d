import type { Finding } from './finding.ts'
import { unitOf } from './imports.ts'
import type { Literal, Scan } from './source-scan.ts'

const LEFT_OVERS: readonly (readonly [pattern: RegExp, instead: string])[] = [
  [/\b(FIX[M]E|XX[X]|TOD[O]|HAC[K])\b/g, 'finish it, or say plainly what is not done and where a reader looks'],
  [/\b(it|test|describe|suite)\.(onl[y])\b/g, 'run one test with `npm test -- PATH -t NAME`; the others count too'],
  [/\bdebugge[r]\b/g, 'remove it'],
  [/(?<![\w.])\/(work|Users)\/\w+/g, 'no path of one machine: use one relative to the repository'],
]

/** Marks left by unfinished work, in any text. */
export function leftOvers(files: readonly { path: string; text: string }[]): Finding[] {
  return files.flatMap(({ path, text }) =>
    text
      .split('\n')
      .flatMap((content, index) =>
        LEFT_OVERS.flatMap(([pattern, instead]) =>
          [...content.matchAll(pattern)].map(found => ({ path, line: index + 1, found: `"${found[0]}"`, instead })),
        ),
      ),
  )
}

const SPEAKING = new Set(['case', 'flow', 'understand', 'runtime'])

/**
 * Sentences in code that could reach a family: longer than 60 characters, with a full stop and at least five words.
 * Meant for programmers or clinics, and so left alone: what is thrown, what describes a field of a
 * file, and problem files (what is wrong with a flow).
 */
export function clinicalText(files: readonly Scan[]): Finding[] {
  return files
    .filter(file => SPEAKING.has(unitOf(file.path)) && !/\/problem[^/]*\.ts$/.test(file.path))
    .flatMap(file => {
      const apart = rangesApart(file.code)
      const isApart = ({ at }: Literal) => apart.some(([from, to]) => at > from && at < to)
      return file.literals
        .filter(literal => isSentence(literal.text) && !isApart(literal))
        .map(literal => ({
          path: file.path,
          line: file.lineOf(literal.at),
          found: `a sentence in code ("${literal.text.slice(0, 40)}…")`,
          instead: 'a text id here, the words under flows/, where a clinician approves them',
        }))
    })
}

function isSentence(text: string): boolean {
  return text.length > 60 && /[a-z)…]\.(\s|$)/.test(text) && text.split(/\s+/).length >= 5
}

/** From each `throw`, `.describe` and `.refine` to the bracket that closes it. */
function rangesApart(code: string): [from: number, to: number][] {
  return [...code.matchAll(/\bthrow\b|\.(describe|refine)\(/g)].map(({ index }) => {
    let depth = 0
    for (let at = code.indexOf('(', index); at !== -1 && at < code.length; at++) {
      if (code[at] === '(') depth++
      if (code[at] === ')' && --depth === 0) return [index, at]
    }
    return [index, index]
  })
}

/** Ids that code may not name, each with what it is the id of. */
export type ApprovedIds = ReadonlyMap<string, string>

/** Ids of advice and of safety rules written into code, bare or as a text id: which of them holds is the flow's to say. */
export function approvedIds(files: readonly Scan[], ids: ApprovedIds): Finding[] {
  return files.flatMap(file =>
    file.literals.flatMap(({ at, text }) => {
      const id = text.replace(/^(say|stop)\//, '')
      const owner = ids.get(id)
      if (owner === undefined) return []
      const instead = 'read it from the flow: code knows tags and facts, never one piece of advice or one rule'
      return [{ path: file.path, line: file.lineOf(at), found: `the id "${id}" of ${owner}`, instead }]
    }),
  )
}

/**
 * The ids of flows that code may not name: advice that asks for an act (a notice is the line's own to say), and safety
 * rules. A word that is also a tag, which code does know, is left out.
 *
 * @param documents parsed files of flows/, by path
 */
export function approvedIdsIn(documents: ReadonlyMap<string, unknown>): ApprovedIds {
  const ids = new Map<string, string>()
  const tags = new Set<string>()
  for (const [path, document] of documents) {
    if (path.endsWith('tags.yaml')) for (const tag of Object.keys(entriesOf(document, 'tags'))) tags.add(tag)
    if (path.endsWith('sources.yaml')) {
      for (const [id, advice] of Object.entries(entriesOf(document, 'advice'))) {
        const asked = entriesOf(advice, 'tags')
        if (Array.isArray(asked) && asked.length > 0) ids.set(id, `advice in ${path}`)
      }
    }
    if (path.startsWith('flows/rules/')) for (const rule of rulesIn(document)) ids.set(rule, `a rule in ${path}`)
  }
  for (const tag of tags) ids.delete(tag)
  return ids
}

function entriesOf(value: unknown, key: string): object {
  const inner = isObject(value) ? value[key] : undefined
  return typeof inner === 'object' && inner !== null ? inner : {}
}

/** Values of every `rule:` at any depth. */
function rulesIn(value: unknown): string[] {
  if (!isObject(value)) return []
  const own = typeof value.rule === 'string' ? [value.rule] : []
  return [...own, ...Object.values(value).flatMap(rulesIn)]
}

function isObject(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null
}
