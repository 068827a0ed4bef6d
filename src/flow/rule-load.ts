/** From the texts of the rules folder to checked rules, or every problem found with its place and the nearest valid id. */
import { DISPOSITIONS, type FactDocument } from './document.ts'
import type { FlowSet } from './flow-set.ts'
import type { FlowFiles } from './load.ts'
import type { Problem } from './problem.ts'
import {
  CONCERNS,
  CONDITION_WORDS,
  type Condition,
  type Happening,
  HISTORY,
  type Rule,
  type RuleDocument,
  type RuleSet,
  type RulesFile,
  rulesFileSchema,
} from './rule-document.ts'
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from './steps.ts'
import { checkShape, type PlacedYaml, readYaml, unknownId } from './yaml-places.ts'

const FOLDER = 'rules/'
const MOMENTS = ['leave-by', 'closure-soonest', 'closure-latest', 'closure-overdue', 'arrival']
const ISO_LENGTH = /^P(?=.)(\d+D)?(T(?=.)(\d+H)?(\d+M)?(\d+S)?)?$/

/**
 * Reads every YAML file of the rules folder against a loaded set of flows. No folder: no rules.
 *
 * @param lengths  ids of the settings that are lengths of time
 */
export function loadRules(
  files: FlowFiles,
  set: FlowSet,
  lengths: readonly string[],
): { rules?: RuleSet; problems: Problem[] } {
  const shipped = knownIn(set, lengths)
  const problems: Problem[] = []
  const documents: { readonly yaml: PlacedYaml; readonly value: RulesFile }[] = []
  const rules: Rule[] = []
  const worse: Record<string, readonly (readonly string[])[]> = {}
  for (const [file, text] of [...files].filter(([path]) => path.startsWith(FOLDER) && path.endsWith('.yaml'))) {
    const { yaml, problems: syntax } = readYaml(file, text)
    problems.push(...syntax)
    if (yaml === undefined) continue
    const shaped = checkShape(yaml, rulesFileSchema)
    problems.push(...shaped.problems)
    if (shaped.value !== undefined) documents.push({ yaml, value: shaped.value })
  }
  const own = documents.flatMap(({ value }) => Object.keys(value.sources ?? {}))
  const known = { ...shipped, sources: new Set([...shipped.sources, ...own]) }
  for (const { yaml, value } of documents) {
    for (const [id, document] of Object.entries(value.rules ?? {})) {
      if (rules.some(rule => rule.id === id)) problems.push(ruleTwice(yaml, id))
      problems.push(...checkRule(yaml, id, document, known))
      rules.push({ ...document, id })
    }
    for (const [fact, groups] of Object.entries(value.worse ?? {})) {
      problems.push(...checkOrder(yaml, fact, groups, known))
      worse[fact] = groups
    }
  }
  if (problems.some(problem => problem.severity === 'problem')) return { problems }
  return { rules: { rules, worse }, problems }
}

function ruleTwice(yaml: PlacedYaml, id: string): Problem {
  return {
    code: 'RULE_TWICE',
    file: yaml.file,
    ...yaml.place(['rules', id], true),
    found: `a second rule "${id}"`,
    expected: 'one rule of each id in all files of the folder',
    severity: 'problem',
  }
}

interface Known {
  readonly set: FlowSet
  readonly tags: readonly string[]
  readonly hazardous: readonly string[]
  readonly advice: readonly string[]
  readonly reasons: readonly string[]
  readonly alarms: readonly string[]
  readonly facts: Readonly<Record<string, FactDocument>>
  readonly sources: ReadonlySet<string>
  readonly lengths: readonly string[]
}

function knownIn(set: FlowSet, lengths: readonly string[]): Known {
  const flows = [...set.flows.values()]
  const steps = flows.flatMap(flow => [...flow.steps.values()])
  const alarms = [...steps.flatMap(step => step.alarms.map(alarm => alarm.name)), SILENT_ASK, SILENT_PAGE]
  return {
    set,
    tags: Object.keys(set.tags),
    hazardous: Object.entries(set.tags).flatMap(([id, tag]) => (tag.hazardous === true ? [id] : [])),
    advice: [...new Set(flows.flatMap(flow => [...flow.advice.keys()]))],
    reasons: [...new Set(steps.flatMap(step => step.page ?? []))],
    alarms: [...new Set([...alarms, UNANSWERED, LEFT])],
    facts: set.facts,
    sources: new Set(flows.flatMap(flow => [...flow.sources.keys()])),
    lengths,
  }
}

function checkRule(yaml: PlacedYaml, id: string, rule: RuleDocument, known: Known): Problem[] {
  const at = (...path: PropertyKey[]) => ['rules', id, ...path]
  const problems: Problem[] = []
  const each = (kind: string, found: readonly string[], valid: readonly string[], path: PropertyKey[]) => {
    found.forEach((value, index) => {
      if (!valid.includes(value)) problems.push(unknownId(yaml, [...path, index], kind, value, valid))
    })
  }
  const happening = (value: Happening | undefined, path: PropertyKey[]) => {
    if (value === undefined) return
    const acts = [...known.tags, ...known.advice.map(advice => `advice/${advice}`)]
    each('tag', value.says ?? [], acts, [...path, 'says'])
    if (Array.isArray(value.pages)) each('page reason', value.pages, known.reasons, [...path, 'pages'])
    if (Array.isArray(value.asks)) each('fact', value.asks, Object.keys(known.facts), [...path, 'asks'])
    if (Array.isArray(value.answers)) each('fact', value.answers, Object.keys(known.facts), [...path, 'answers'])
    if (Array.isArray(value.alarm)) each('alarm', value.alarm, known.alarms, [...path, 'alarm'])
  }
  const condition = (value: Condition | undefined, path: PropertyKey[]) => {
    for (const [on, listed] of Object.entries(value ?? {})) {
      const valid = validFor(on, known)
      if (valid === undefined) {
        const keys = [...CONDITION_WORDS, ...Object.keys(known.facts), ...Object.keys(known.set.derived)]
        problems.push(unknownId(yaml, [...path, on], 'fact', on, [...keys, ...Object.keys(known.set.policies)], true))
      } else if (Array.isArray(listed)) each(`value of "${on}"`, listed, valid, [...path, on])
      else if (!valid.includes(listed)) problems.push(unknownId(yaml, [...path, on], `value of "${on}"`, listed, valid))
    }
  }
  happening(rule.absence, at('absence'))
  happening(rule.existence, at('existence'))
  happening(rule.precedence?.of, at('precedence', 'of'))
  happening(rule.precedence?.needs, at('precedence', 'needs'))
  happening(rule.response?.after, at('response', 'after'))
  happening(rule.after, at('after'))
  happening(rule.before, at('before'))
  condition(rule.universality, at('universality'))
  condition(rule.while, at('while'))
  const { must } = rule.response ?? {}
  listOf(must).forEach((goal, index) => {
    const path = at('response', 'must', ...(Array.isArray(must) ? [index] : []))
    if ('holds' in goal) condition(goal.holds, [...path, 'holds'])
    else happening(goal, path)
  })
  listOf(rule.unless).forEach((value, index) => {
    const path = at('unless', ...(Array.isArray(rule.unless) ? [index] : []))
    condition(value, path)
    if (rule.while !== undefined && implies(rule.while, value)) problems.push(ruleEmpty(yaml, path))
  })
  each('flow', rule.flows ?? [], [...known.set.flows.keys(), ...CONCERNS], at('flows'))
  each('source', rule.sources ?? [], [...known.sources], at('sources'))
  const within = rule.response?.within
  if (typeof within === 'object' && !ISO_LENGTH.test(within.silent) && !known.lengths.includes(within.silent)) {
    problems.push(unknownId(yaml, at('response', 'within', 'silent'), 'length', within.silent, known.lengths))
  }
  return problems
}

/** One or several, as several. */
export function listOf<T>(value: T | readonly T[] | undefined): readonly T[] {
  return value === undefined ? [] : Array.isArray(value) ? value : [value as T]
}

/** Values a condition may list for a fact, derived fact, policy or word; undefined where there is no such. */
function validFor(on: string, known: Known): readonly string[] | undefined {
  switch (on) {
    case 'decided':
      return DISPOSITIONS
    case 'history':
      return HISTORY
    case 'armed':
      return [...known.alarms, ...MOMENTS]
    case 'said':
      return known.tags
    case 'in-force':
      return known.hazardous
  }
  const policy = known.set.policies[on]
  if (policy !== undefined) return policy
  const derived = known.set.derived[on]
  if (derived !== undefined) return [...derived.values, 'not-asked']
  const fact = known.facts[on]
  if (fact === undefined) return undefined
  const own = fact.values ?? []
  if (fact.kind === 'choice') return [...own, 'unsure', 'not-asked']
  return fact.kind === 'many' ? [...own, 'several', 'unsure', 'not-asked'] : [...own, 'answered', 'unsure', 'not-asked']
}

/** Whether one condition holds wherever the other does. */
function implies(stronger: Condition, weaker: Condition): boolean {
  return Object.entries(weaker).every(([on, values]) => {
    const own = stronger[on]
    return own !== undefined && listOf(own).every(value => listOf(values).includes(value))
  })
}

function ruleEmpty(yaml: PlacedYaml, path: PropertyKey[]): Problem {
  return {
    code: 'RULE_EMPTY',
    file: yaml.file,
    ...yaml.place(path),
    found: '"unless" holds wherever "while" does',
    expected: 'a rule that can apply: narrow "unless", or widen "while"',
    severity: 'problem',
  }
}

function checkOrder(yaml: PlacedYaml, fact: string, groups: readonly (readonly string[])[], known: Known): Problem[] {
  if (known.facts[fact] === undefined) {
    return [unknownId(yaml, ['worse', fact], 'fact', fact, Object.keys(known.facts), true)]
  }
  const valid = validFor(fact, known) ?? []
  return groups.flatMap((group, row) =>
    group.flatMap((value, column) =>
      valid.includes(value) ? [] : [unknownId(yaml, ['worse', fact, row, column], `value of "${fact}"`, value, valid)],
    ),
  )
}
