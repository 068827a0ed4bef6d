/** Every text a family reads, in every language, against the rules and lists of shared/lint*.yaml. */
import type { SourcesFile, Wording } from './document.ts'
import type { FlowSources, LintSources, Placed } from './flow-sources.ts'
import { checkCautions } from './lint-caution.ts'
import type { LintRules, LintWords } from './lint-document.ts'
import { type Silenced, type Silencing, silencingOf } from './lint-exceptions.ts'
import { forbiddingOf, lineLint, type ReadingLimits } from './lint-lines.ts'
import { actFinder } from './lint-phrases.ts'
import { formsOf } from './lint-text.ts'
import type { Problem } from './problem.ts'
import { readingFormulas, sentencesOf } from './reading.ts'
import { VARIABLES, variablesOf } from './wording.ts'
import { unknownId } from './yaml-places.ts'

/** What the check says of the words. */
export interface WordingReport {
  readonly problems: readonly Problem[]
  /** Findings that a clinic silenced. */
  readonly silenced: readonly Silenced[]
}

const CODES: Readonly<Record<string, string>> = {
  'reading-grade': 'READING_HARD',
  'long-word': 'READING_HARD',
  'sentence-length': 'TEXT_LONG',
  'mean-length': 'TEXT_LONG',
  'text-length': 'TEXT_LONG',
  'acts-together': 'ACTS_MANY',
  'acts-many': 'ACTS_MANY',
  'negated-question': 'QUESTION_NEGATED',
  'number-without-unit': 'UNIT_MISSING',
  'colour-alone': 'COLOUR_ALONE',
  'names-child': 'CHILD_NAMED',
}

/** One wording file, with what its texts are checked against. */
interface Page {
  readonly folder: string
  readonly language: string
  readonly wording: Placed<Wording>
  readonly isScreen: boolean
  readonly advice: SourcesFile['advice']
  /** A text that is read before another, by id: the shared one where the folder has none of its own. */
  readonly textOf: (id: string) => string | undefined
}

/** Checks all wording. Texts that are no message format are left to the check of their form. */
export function lintWording(sources: FlowSources, lint: LintSources, limits: ReadingLimits = {}): WordingReport {
  const pages = pagesOf(sources, lint)
  const rules = lint.rules.value
  const silencing = new Map(
    [...new Set(pages.map(({ folder }) => folder))].map(folder => [
      folder,
      silencingOf(lint.exceptions.get(folder), rules),
    ]),
  )
  const problems = [
    ...listFaults(sources, lint),
    ...checkCautions(sources, lint),
    ...pages.flatMap(page => pageProblems(page, sources, lint, limits, silencing.get(page.folder))),
    ...numbersLost(pages, rules),
  ]
  const about = [...silencing].flatMap(([folder, one]) =>
    one.problems(
      new Set(pages.filter(page => page.folder === folder).flatMap(page => Object.keys(page.wording.value))),
    ),
  )
  return {
    problems: [...problems, ...about],
    silenced: [...silencing.values()].flatMap(one => one.silenced()),
  }
}

function pagesOf(sources: FlowSources, lint: LintSources): Page[] {
  const shared = sources.sharedSources.value.advice
  const sharedText = (language: string) => (id: string) => sources.sharedWording.get(language)?.value[id]
  return [
    ...[...sources.sharedWording].map(([language, wording]) => ({
      folder: 'shared',
      language,
      wording,
      isScreen: false,
      advice: shared,
      textOf: sharedText(language),
    })),
    ...[...lint.screens].map(([language, wording]) => ({
      folder: 'shared',
      language,
      wording,
      isScreen: true,
      advice: {},
      textOf: () => undefined,
    })),
    ...sources.flows.flatMap(flow =>
      [...flow.wording].map(([language, wording]) => ({
        folder: flow.name,
        language,
        wording,
        isScreen: false,
        advice: { ...shared, ...flow.sources.value.advice },
        textOf: (id: string) => wording.value[id] ?? sharedText(language)(id),
      })),
    ),
  ]
}

function pageProblems(
  page: Page,
  sources: FlowSources,
  lint: LintSources,
  limits: ReadingLimits,
  silencing: Silencing | undefined,
): Problem[] {
  const words = lint.words.get(page.language)?.value
  if (words === undefined) return []
  const rules = lint.rules.value
  const linted = lineLint(rules, words, page.language, limits)
  const told = hazardsOf(sources, words, page.language)
  return Object.entries(page.wording.value).flatMap(([id, text]) => {
    const kind = kindOf(page, id)
    if (!isForFamilies(page, id, rules)) return []
    const beside = /^(?:option|label)\/([^/]+)/.exec(id)?.[1]
    const findings = linted({
      kind,
      text,
      beside: (beside === undefined ? undefined : page.textOf(`ask/${beside}`)) ?? '',
    })
    const missing = rules['tell-acts'].includes(kind) ? told(text).filter(tag => !tagsOf(page, id).includes(tag)) : []
    return [
      ...missing.map(tag => untagged(page, id, tag)),
      ...findings
        .filter(({ finding }) => finding in rules.findings)
        .filter(({ finding }) => silencing?.silences(id, finding, page.language) !== true)
        .map(({ finding, met }) => problemOf(page, id, finding, met, rules)),
    ]
  })
}

const kindOf = (page: Page, id: string): string => (page.isScreen ? 'screen' : (id.split('/')[0] ?? id))

const isForFamilies = (page: Page, id: string, rules: LintRules): boolean =>
  rules['read-by-families'].includes(kindOf(page, id)) &&
  !(page.isScreen && rules['screens-apart'].some(start => id.startsWith(start)))

const adviceOf = (id: string): string => id.replace(/^say\//, '')
const tagsOf = (page: Page, id: string): readonly string[] =>
  (id.startsWith('say/') ? page.advice[adviceOf(id)]?.tags : undefined) ?? []

function problemOf(page: Page, id: string, finding: string, met: string, rules: LintRules): Problem {
  const entry = rules.findings[finding]
  return {
    code: CODES[finding] ?? 'WORDS_BARRED',
    file: page.wording.yaml.file,
    ...page.wording.yaml.place([id]),
    found: `"${id}" (${finding}): ${met}`,
    expected: entry?.expected ?? 'other words',
    severity: entry?.severity ?? 'problem',
  }
}

function untagged(page: Page, id: string, tag: string): Problem {
  return {
    code: 'TAG_MISSING',
    file: page.wording.yaml.file,
    ...page.wording.yaml.place([id]),
    found: `"${adviceOf(id)}" tells someone to do what "${tag}" means`,
    expected: `the tag "${tag}" on the advice, or other words`,
    severity: 'problem',
  }
}

/** Hazardous tags of which a text tells somebody to do the act. */
function hazardsOf(sources: FlowSources, words: LintWords, language: string): (text: string) => string[] {
  const pairs = Object.entries(sources.tags.value.tags).flatMap(([tag, one]) =>
    one.hazardous === true ? (one.words?.[language] ?? []).map(pair => ({ tag, pair })) : [],
  )
  const told = actFinder(
    pairs.map(({ pair }) => pair),
    forbiddingOf(words),
  )
  return text => {
    const met = new Set(formsOf(text).flatMap(sentencesOf).flatMap(told))
    return [...new Set(pairs.filter(({ pair }) => met.has(pair)).map(({ tag }) => tag))]
  }
}

/** Texts that have lost a number to ring which the same text has in another language. */
function numbersLost(pages: readonly Page[], rules: LintRules): Problem[] {
  return pages.flatMap(page => {
    const others = pages.filter(one => one !== page && one.folder === page.folder && one.isScreen === page.isScreen)
    if (others.length === 0) return []
    return Object.entries(page.wording.value).flatMap(([id, text]) => {
      if (!isForFamilies(page, id, rules)) return []
      const own = variablesIn(text)
      const lost = new Set(
        others.flatMap(other =>
          variablesIn(other.wording.value[id] ?? '').filter(
            name => rules.numbers.includes(name) && !own.includes(name),
          ),
        ),
      )
      return [...lost].map(name => ({
        code: 'NUMBER_LOST',
        file: page.wording.yaml.file,
        ...page.wording.yaml.place([id]),
        found: `"${id}" has no {${name}} in ${page.language}, and has it in another language`,
        expected: rules.findings['number-lost']?.expected ?? 'the same numbers in every language',
        severity: 'problem' as const,
      }))
    })
  })
}

function variablesIn(text: string): string[] {
  try {
    return variablesOf(text)
  } catch {
    return []
  }
}

/** What is wrong with the lists themselves, and languages that have words and no list, or hazards that no word gives away. */
function listFaults(sources: FlowSources, lint: LintSources): Problem[] {
  const findings = Object.keys(lint.rules.value.findings)
  const spoken = new Set([
    ...sources.sharedWording.keys(),
    ...lint.screens.keys(),
    ...sources.flows.flatMap(flow => [...flow.wording.keys()]),
  ])
  const without = [...spoken].filter(language => !lint.words.has(language))
  return [
    ...without.map(language => ({
      code: 'FILE_MISSING',
      file: `shared/lint.${language}.yaml`,
      line: 1,
      column: 1,
      found: `no lists for the words in ${language}`,
      expected: `a file shared/lint.${language}.yaml: without it nothing in ${language} is checked`,
      severity: 'problem' as const,
    })),
    ...[...spoken].flatMap(language => hazardsUnknown(sources, language)),
    ...[...lint.words].flatMap(([language, placed]) => [
      ...Object.keys(placed.value.barred)
        .filter(id => !findings.includes(id))
        .map(id => unknownId(placed.yaml, ['barred', id], 'finding', id, findings, true)),
      ...Object.keys(placed.value.samples)
        .filter(id => !(VARIABLES as readonly string[]).includes(id))
        .map(id => unknownId(placed.yaml, ['samples', id], 'variable', id, VARIABLES, true)),
      ...Object.keys(placed.value.reading)
        .filter(id => readingFormulas[id as keyof typeof readingFormulas].language !== language.slice(0, 2))
        .map(id => ({
          ...unknownId(placed.yaml, ['reading', id], 'formula', id, [], true),
          expected: `a formula for ${language}`,
        })),
    ]),
  ]
}

function hazardsUnknown(sources: FlowSources, language: string): Problem[] {
  return Object.entries(sources.tags.value.tags)
    .filter(([, tag]) => tag.hazardous === true && (tag.words?.[language]?.length ?? 0) === 0)
    .map(([id]) => ({
      code: 'TAG_WORDLESS',
      file: sources.tags.yaml.file,
      ...sources.tags.yaml.place(['tags', id], true),
      found: `no words in ${language} give the hazardous act "${id}" away`,
      expected: `a list under "words" for ${language}`,
      severity: 'problem' as const,
    }))
}
