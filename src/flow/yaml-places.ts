import { type Document, isMap, isScalar, LineCounter, parseAllDocuments } from 'yaml'
import type { ZodError, ZodType } from 'zod'
import { nearestId, type Problem } from './problem.ts'

/** A parsed YAML 1.2 file that remembers where each value stands. */
export interface PlacedYaml {
  readonly file: string
  readonly value: unknown
  /** Line and column of the value at `path`; of its key when `key` is true. The nearest parent when it is absent. */
  place(path: readonly PropertyKey[], key?: boolean): { line: number; column: number }
}

const MOST_SYNTAX_PROBLEMS = 20

/** Reads one YAML document. Syntax errors, warnings, directives and duplicate keys are problems, all reported. */
export function readYaml(file: string, text: string): { yaml?: PlacedYaml; problems: Problem[] } {
  const lines = new LineCounter()
  const documents = parseAllDocuments(text, { lineCounter: lines, uniqueKeys: true, prettyErrors: false })
  const document = (documents as Document[])[0]
  const problems: Problem[] = []
  const add = (offset: number, found: string, expected: string) => {
    const { line, col } = lines.linePos(offset)
    problems.push({ code: 'YAML_SYNTAX', file, line, column: col, found, expected, severity: 'problem' })
  }
  if (/^%/m.test(text)) add(Math.max(0, text.search(/^%/m)), 'a % directive', 'plain YAML 1.2 with no directive')
  if (documents.length > 1)
    add((documents as Document[])[1]?.range?.[0] ?? 0, 'a second document', 'one document a file')
  if (document === undefined || document.contents === null) {
    if (problems.length === 0) add(0, 'an empty file', 'a YAML map')
    return { problems }
  }
  for (const fault of [...document.errors, ...document.warnings].slice(0, MOST_SYNTAX_PROBLEMS)) {
    add(fault.pos[0], fault.message.split('\n')[0] ?? 'unreadable YAML', 'YAML that can be read one way only')
  }
  if (problems.length > 0) return { problems }
  try {
    const value: unknown = document.toJS({ maxAliasCount: 20 })
    return { yaml: { file, value, place: placer(document, lines) }, problems }
  } catch (cause) {
    add(0, cause instanceof Error ? cause.message : 'an alias that cannot be followed', 'no aliases')
    return { problems }
  }
}

function placer(document: Document, lines: LineCounter): PlacedYaml['place'] {
  return (path, key = false) => {
    const keys = path.map(part => (typeof part === 'symbol' ? String(part) : part))
    for (let length = keys.length; length >= 0; length--) {
      const offset = offsetAt(document, keys.slice(0, length), key && length === keys.length)
      if (offset !== undefined) {
        const { line, col } = lines.linePos(offset)
        return { line, column: col }
      }
    }
    return { line: 1, column: 1 }
  }
}

function offsetAt(document: Document, path: (string | number)[], key: boolean): number | undefined {
  const last = path.at(-1)
  if (key && last !== undefined) {
    const parent = path.length === 1 ? document.contents : document.getIn(path.slice(0, -1), true)
    if (!isMap(parent)) return undefined
    const pair = parent.items.find(item => isScalar(item.key) && String(item.key.value) === String(last))
    return isScalar(pair?.key) ? pair.key.range?.[0] : undefined
  }
  const node = path.length === 0 ? document.contents : document.getIn(path, true)
  return (node as { range?: [number, number, number] } | undefined)?.range?.[0]
}

/** Checks a placed file against a schema; every issue becomes a problem with its place. */
export function checkShape<T>(yaml: PlacedYaml, schema: ZodType<T>): { value?: T; problems: Problem[] } {
  const result = schema.safeParse(yaml.value)
  if (result.success) return { value: result.data, problems: [] }
  return { problems: shapeProblems(yaml, result.error) }
}

function shapeProblems(yaml: PlacedYaml, error: ZodError): Problem[] {
  return error.issues.flatMap(issue => {
    if (issue.code === 'unrecognized_keys') {
      return issue.keys.map(key => ({
        code: 'UNKNOWN_KEY',
        file: yaml.file,
        ...yaml.place([...issue.path, key], true),
        found: `unknown key "${key}"`,
        expected: issue.message,
        severity: 'problem' as const,
      }))
    }
    const found = valueAt(yaml.value, issue.path)
    return [
      {
        code: found === undefined ? 'MISSING' : 'WRONG_VALUE',
        file: yaml.file,
        ...yaml.place(issue.path),
        found:
          found === undefined
            ? `nothing at "${issue.path.join('.')}"`
            : `${JSON.stringify(found)?.slice(0, 80)} at "${issue.path.join('.')}"`,
        expected: issue.message,
        severity: 'problem' as const,
      },
    ]
  })
}

function valueAt(value: unknown, path: readonly PropertyKey[]): unknown {
  let here = value
  for (const part of path)
    here = here === null || typeof here !== 'object' ? undefined : (here as Record<PropertyKey, unknown>)[part]
  return here
}

/** A problem for an id that is not among the valid ones, placed at `path`. */
export function unknownId(
  yaml: PlacedYaml,
  path: readonly PropertyKey[],
  kind: string,
  id: string,
  valid: Iterable<string>,
  key = false,
): Problem {
  const nearest = nearestId(id, valid)
  return {
    code: 'UNKNOWN_ID',
    file: yaml.file,
    ...yaml.place(path, key),
    found: `unknown ${kind} "${id}"`,
    expected: `a ${kind} that exists`,
    ...(nearest === undefined ? {} : { nearest }),
    severity: 'problem',
  }
}
