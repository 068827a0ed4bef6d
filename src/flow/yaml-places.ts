import { type Document, isMap, isScalar, LineCounter, parseAllDocuments, visit } from 'yaml'
import { ZodArray, type ZodError, ZodObject, ZodOptional, ZodRecord, type ZodType } from 'zod'
import { nearestId, type Problem } from './problem.ts'

/** A parsed YAML 1.2 file that remembers where each value stands. */
export interface PlacedYaml {
  readonly file: string
  readonly value: unknown
  /** Line and column of the value at `path`; of its key when `key` is true. The nearest parent when it is absent. */
  place(path: readonly PropertyKey[], key?: boolean): { line: number; column: number }
}

const MOST_SYNTAX_PROBLEMS = 20

/** Reads the text of a file. The answer depends on nothing but the file's name and its text. */
export type YamlReader = (file: string, text: string) => { yaml?: PlacedYaml; problems: Problem[] }

/** A value that was read before from `text`, in which there was no fault. The text is read again for the first place asked for. */
export function placedLater(file: string, text: string, value: unknown): PlacedYaml {
  let read: PlacedYaml | undefined
  return {
    file,
    value,
    place(path, key) {
      read ??= readYaml(file, text).yaml
      return read?.place(path, key) ?? { line: 1, column: 1 }
    },
  }
}

/** Reads one YAML document. Syntax errors, warnings, directives, aliases and duplicate keys are problems, all reported. */
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
  visit(document, {
    Alias: (_key, alias) => add(alias.range?.[0] ?? 0, `an alias "*${alias.source}"`, 'the value itself, written out'),
  })
  if (problems.length > 0) return { problems }
  return { yaml: { file, value: document.toJS(), place: placer(document, lines) }, problems }
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

/**
 * Checks a placed file against a schema; every issue becomes a problem with its place. Where unknown keys are all that
 * is wrong the value without them is given too, so that what else is wrong with the file is reported as well.
 */
export function checkShape<T>(yaml: PlacedYaml, schema: ZodType<T>): { value?: T; problems: Problem[] } {
  const result = schema.safeParse(yaml.value)
  if (result.success) return { value: result.data, problems: [] }
  const problems = shapeProblems(yaml, schema, result.error)
  if (problems.some(problem => problem.code !== 'UNKNOWN_KEY')) return { problems }
  const again = schema.safeParse(withoutUnknown(yaml.value, result.error))
  if (again.success) return { value: again.data, problems }
  return { problems: [...problems, ...shapeProblems(yaml, schema, again.error)] }
}

function withoutUnknown(value: unknown, error: ZodError): unknown {
  const copy: unknown = structuredClone(value)
  for (const issue of error.issues) {
    if (issue.code !== 'unrecognized_keys') continue
    const parent = valueAt(copy, issue.path)
    if (parent !== null && typeof parent === 'object') for (const key of issue.keys) Reflect.deleteProperty(parent, key)
  }
  return copy
}

/** The keys that may stand in the map at `path`; none where any may. */
function keysAt(schema: unknown, path: readonly PropertyKey[]): string[] {
  if (schema instanceof ZodOptional) return keysAt(schema.unwrap(), path)
  const [first, ...rest] = path
  if (first === undefined) return schema instanceof ZodObject ? Object.keys(schema.shape) : []
  if (schema instanceof ZodObject) return keysAt(schema.shape[String(first)], rest)
  if (schema instanceof ZodRecord) return keysAt(schema.valueType, rest)
  return schema instanceof ZodArray ? keysAt(schema.element, rest) : []
}

function shapeProblems(yaml: PlacedYaml, schema: ZodType, error: ZodError): Problem[] {
  return error.issues.flatMap(issue => {
    if (issue.code === 'unrecognized_keys') {
      const known = keysAt(schema, issue.path)
      return issue.keys.map(key => {
        const nearest = nearestId(key, known)
        return {
          code: 'UNKNOWN_KEY',
          file: yaml.file,
          ...yaml.place([...issue.path, key], true),
          found: `unknown key "${key}"`,
          expected: known.length === 0 ? issue.message : `one of ${known.join(', ')}`,
          ...(nearest === undefined ? {} : { nearest }),
          severity: 'problem' as const,
        }
      })
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
    expected: `an existing ${kind}`,
    ...(nearest === undefined ? {} : { nearest }),
    severity: 'problem',
  }
}
