import { z } from 'zod'
import { nearestId, type Problem } from '../flow/problem.ts'
import type { PlacedYaml } from '../flow/yaml-places.ts'

export type Path = readonly (string | number)[]

/** What may be said of a problem beside its code and place. */
export interface Remark {
  readonly nearest?: string | undefined
  /** Place it at the key instead of the value. */
  readonly key?: boolean
  readonly severity?: Problem['severity']
}

/**
 * Reads a file part by part, so that a fault in one person hides nothing about the next. Every fault becomes a problem
 * with its place; a part at fault is undefined and the reading goes on.
 */
export interface PartReader {
  readonly problems: readonly Problem[]
  /** Adds a problem; the same one at the same place is told once. */
  report(path: Path, code: string, found: string, expected: string, remark?: Remark): void
  valueAt(path: Path): unknown
  /** The part at `path` in the shape asked for. */
  part<T>(path: Path, schema: z.ZodType<T>): T | undefined
  /** Keys of the map at `path`; none when it is absent. Anything but a map is a problem. */
  keys(path: Path): readonly string[]
  /** Number of items of the list at `path`; 0 when it is absent. Anything but a list is a problem. */
  count(path: Path): number
}

export function partReader(yaml: PlacedYaml): PartReader {
  const problems: Problem[] = []
  const told = new Set<string>()
  const report: PartReader['report'] = (path, code, found, expected, remark = {}) => {
    const { line, column } = yaml.place(path, remark.key ?? false)
    const mark = `${line}:${column} ${code} ${found}`
    if (told.has(mark)) return
    told.add(mark)
    const nearest = remark.nearest === undefined ? {} : { nearest: remark.nearest }
    problems.push({
      code,
      file: yaml.file,
      line,
      column,
      found,
      expected,
      ...nearest,
      severity: remark.severity ?? 'problem',
    })
  }
  const valueAt = (path: Path) => valueWithin(yaml.value, path)
  return {
    problems,
    report,
    valueAt,
    part: (path, schema) => {
      const result = schema.safeParse(valueAt(path))
      if (result.success) return result.data
      for (const issue of result.error.issues) reportIssue(report, valueAt, path, schema, issue)
      return undefined
    },
    keys: path => {
      const value = valueAt(path)
      if (value === undefined || value === null) return []
      if (typeof value === 'object' && !Array.isArray(value)) return Object.keys(value)
      report(path, 'WRONG_VALUE', `${shown(value)} at ${pathText(path)}`, 'a map: one "name: value" a line, indented')
      return []
    },
    count: path => {
      const value = valueAt(path)
      if (value === undefined || value === null) return 0
      if (Array.isArray(value)) return value.length
      report(path, 'WRONG_VALUE', `${shown(value)} at ${pathText(path)}`, 'a list: each line starting with "- "')
      return 0
    },
  }
}

function reportIssue(
  report: PartReader['report'],
  valueAt: PartReader['valueAt'],
  path: Path,
  schema: z.ZodType,
  issue: z.core.$ZodIssue,
): void {
  const here = [...path, ...(issue.path as (string | number)[])]
  if (issue.code === 'unrecognized_keys') {
    const known = issue.path.length === 0 && schema instanceof z.ZodObject ? Object.keys(schema.shape) : []
    for (const key of issue.keys) {
      const nearest = nearestId(key, known)
      const expected = known.length === 0 ? issue.message : `one of: ${known.join(', ')}`
      report([...here, key], 'UNKNOWN_KEY', `unknown key "${key}"`, expected, { key: true, nearest })
    }
    return
  }
  const value = valueAt(here)
  const missing = value === undefined
  report(
    here,
    missing ? 'MISSING' : 'WRONG_VALUE',
    `${missing ? 'nothing' : shown(value)} at ${pathText(here)}`,
    issue.message,
  )
}

function valueWithin(value: unknown, path: Path): unknown {
  let here = value
  for (const step of path) {
    if (here === null || typeof here !== 'object' || !Object.hasOwn(here, step)) return undefined
    here = (here as Record<string | number, unknown>)[step]
  }
  return here
}

/** A value as the reader of an error wants to see it: one line, not long. */
export function shown(value: unknown): string {
  const text = JSON.stringify(value) ?? String(value)
  return text.length > 80 ? `${text.slice(0, 77)}…` : text
}

/** `rota.first.monday[0].from`; "the top" for the whole file. */
export function pathText(path: Path): string {
  if (path.length === 0) return 'the top of the file'
  return path.map((step, index) => (typeof step === 'number' ? `[${step}]` : index === 0 ? step : `.${step}`)).join('')
}
