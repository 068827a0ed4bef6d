import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { type Line, type LineSettings, languagesOf } from '../case/line.ts'
import { type SettingFault, settingsWith } from '../config/settings.ts'
import { DISPOSITIONS } from '../flow/document.ts'
import { nearestId, type Problem } from '../flow/problem.ts'
import { checkShape, type PlacedYaml, readYaml, unknownId } from '../flow/yaml-places.ts'
import { CalledWrongly } from './command.ts'

const value = z.union([z.string(), z.number(), z.array(z.string())])
const answers = z.record(z.string(), value)
const disposition = z.enum(DISPOSITIONS)
const duration = z.string().regex(/^P(?=.)(\d+[YMWD])*(T(\d+[HMS])+)?$/, 'an ISO 8601 duration such as PT40M or P3W')

const vignetteSchema = z
  .strictObject({
    id: z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens'),
    title: z.string(),
    source: z.strictObject({
      title: z.string(),
      body: z.string().optional(),
      year: z.union([z.number(), z.string()]).optional(),
      address: z.string().optional(),
      locator: z.string().optional(),
      how: z.enum(['direct', 'derived', 'worked-case', 'case-report', 'practice']),
    }),
    at: z.iso.datetime({ offset: true, error: 'an instant with its zone, such as 2026-03-01T02:10:00Z' }),
    knows: answers.optional(),
    says: z.string().optional(),
    concern: z.string().optional(),
    language: z.string().optional(),
    answers: answers.default({}),
    policy: z.record(z.string(), z.unknown()).default({}),
    // biome-ignore lint/suspicious/noThenProperty: the vignette format names it so
    then: z
      .array(
        z.strictObject({
          after: duration,
          answer: answers.optional(),
          says: z.string().optional(),
          silent: z.literal(true).optional(),
        }),
      )
      .default([]),
    expect: z.strictObject({
      decides: z.union([disposition, z.array(disposition)]).optional(),
      'at-least': disposition.optional(),
      advises: z.array(z.string()).default([]),
      never: z.array(z.string()).default([]),
      pages: z.boolean().optional(),
      'leave-by': z.iso.datetime({ offset: true }).optional(),
      'questions-at-most': z.number().int().positive().optional(),
    }),
  })
  .refine(one => (one.says === undefined) !== (one.concern === undefined), 'exactly one of "says" and "concern"')

const fileSchema = z.array(vignetteSchema).min(1, 'at least one vignette')

export type Vignette = z.infer<typeof vignetteSchema> & { readonly settings: LineSettings }

/** Reads vignette files, or every YAML file of folders. Unknown ids, values and tags are problems with their place. */
export function readVignettes(paths: readonly string[], line: Line): { vignettes: Vignette[]; problems: Problem[] } {
  const problems: Problem[] = []
  const vignettes: Vignette[] = []
  const seen = new Set<string>()
  for (const file of paths.flatMap(filesAt)) {
    const { yaml, problems: syntax } = readYaml(file, readFileSync(file, 'utf8'))
    problems.push(...syntax)
    if (yaml === undefined) continue
    const { value: list, problems: shape } = checkShape(yaml, fileSchema)
    problems.push(...shape)
    list?.forEach((vignette, index) => {
      const before = problems.length
      if (seen.has(vignette.id))
        problems.push({
          code: 'ID_TWICE',
          file,
          ...yaml.place([index, 'id']),
          found: `vignette "${vignette.id}" a second time`,
          expected: 'an id of its own',
          severity: 'problem',
        })
      seen.add(vignette.id)
      problems.push(...idProblems(line, yaml, index, vignette))
      const { settings, faults } = settingsWith(line.settings as never, vignette.policy)
      problems.push(...faults.map(fault => policyProblem(yaml, index, fault)))
      if (problems.length === before) vignettes.push({ ...vignette, settings })
    })
  }
  return { vignettes, problems }
}

function filesAt(path: string): string[] {
  if (!existsSync(path)) throw new CalledWrongly(`${path}: a vignette file or a folder of them was expected`)
  if (!statSync(path).isDirectory()) return [path]
  return readdirSync(path)
    .filter(name => name.endsWith('.yaml'))
    .sort()
    .map(name => join(path, name))
}

function policyProblem(yaml: PlacedYaml, index: number, fault: SettingFault): Problem {
  return {
    code: fault.code,
    file: yaml.file,
    ...yaml.place([index, 'policy', fault.id]),
    found: fault.found,
    expected: fault.expected,
    ...(fault.nearest === undefined ? {} : { nearest: fault.nearest }),
    severity: 'problem',
  }
}

function idProblems(line: Line, yaml: PlacedYaml, index: number, vignette: z.infer<typeof vignetteSchema>): Problem[] {
  const { facts } = line.flows
  const problems: Problem[] = []
  const groups: [PropertyKey[], Record<string, unknown>][] = [
    [[index, 'knows'], vignette.knows ?? {}],
    [[index, 'answers'], vignette.answers],
    ...vignette.then.map((then, i): [PropertyKey[], Record<string, unknown>] => [
      [index, 'then', i, 'answer'],
      then.answer ?? {},
    ]),
  ]
  for (const [path, given] of groups) {
    for (const [fact, answer] of Object.entries(given)) {
      const document = facts[fact]
      if (document === undefined) {
        problems.push(unknownId(yaml, [...path, fact], 'fact', fact, Object.keys(facts), true))
        continue
      }
      const listed = document.values
      if (listed === undefined || document.kind === 'number') continue
      for (const [i, one] of (Array.isArray(answer) ? answer : [answer]).entries()) {
        const place = Array.isArray(answer) ? [...path, fact, i] : [...path, fact]
        if (one !== 'unsure' && !listed.includes(String(one)))
          problems.push(unknownId(yaml, place, `value of ${fact}`, String(one), [...listed, 'unsure']))
      }
    }
  }
  if (vignette.concern !== undefined && !line.flows.flows.has(vignette.concern))
    problems.push(unknownId(yaml, [index, 'concern'], 'concern', vignette.concern, line.flows.flows.keys()))
  const { language } = vignette
  if (language !== undefined && !languagesOf(line).includes(language))
    problems.push(unknownId(yaml, [index, 'language'], 'language', language, languagesOf(line)))
  for (const key of ['advises', 'never'] as const) {
    vignette.expect[key].forEach((tag, i) => {
      if (!(tag in line.flows.tags)) {
        const nearest = nearestId(tag, Object.keys(line.flows.tags))
        problems.push({
          code: 'UNKNOWN_ID',
          file: yaml.file,
          ...yaml.place([index, 'expect', key, i]),
          found: `unknown tag "${tag}"`,
          expected: 'a tag of shared/tags.yaml',
          ...(nearest === undefined ? {} : { nearest }),
          severity: 'problem',
        })
      }
    })
  }
  return problems
}
