/** The reference pages that are made from schemas and data, so that page and program cannot say two things. */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { type Definition, settingDefinitions } from '../config/setting-definitions.ts'
import { ALARM_SETTINGS } from '../flow/check.ts'
import {
  adviceSchema,
  type FactDocument,
  type FactsFile,
  factsFileSchema,
  flowSchema,
  type SourcesFile,
  sharedStepsSchema,
  sourcesFileSchema,
  stepSchema,
  type TagsFile,
  tagsFileSchema,
  type Wording,
  wordingSchema,
} from '../flow/document.ts'
import { VARIABLES } from '../flow/wording.ts'
import { readYaml } from '../flow/yaml-places.ts'
import { authorisationPage } from './authorisation-page.ts'
import { argumentsOf, type Command, complain, print } from './command.ts'
import { readFlowFiles } from './flow-files.ts'
import { clinicPages } from './flow-report.ts'
import { rulesPage } from './rules-page.ts'
import { cell, keysTable, refusals } from './schema-table.ts'
import { transcriptPage } from './transcript-page.ts'

const REFERENCE = fileURLToPath(new URL('../../docs/reference', import.meta.url))
const MADE = '<!-- Made by `npm run docs`. Do not edit by hand: change what it is made from, and run that again. -->'

export const docsCommand: Command = {
  name: 'docs',
  summary: 'writes the reference pages that are made from schemas and flows; with --check only compares them',
  usage: 'smallhours docs [--check] [--json]',
  async run(args) {
    const { values } = argumentsOf(args, {
      check: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const stale = [...stalePages(), ...staleClinicPages()]
    if (!values.check) for (const page of stale) write(page)
    const files = stale.map(({ file }) => file)
    if (values.json) print(JSON.stringify({ pages: allPages().map(({ file }) => file), stale: files }))
    else if (files.length === 0) print('The generated pages are fresh.')
    else if (values.check) complain(`Not fresh: ${files.join(', ')}. Run "npm run docs".`)
    else print(`Written: ${files.join(', ')}.`)
    return values.check && files.length > 0 ? 1 : 0
  },
}

function write({ file, text }: GeneratedPage): void {
  const path = join(REFERENCE, file)
  mkdirSync(dirname(path), { recursive: true })
  writeFileSync(path, text)
}

/** The reference pages, and those for clinics, by their path from docs/reference. */
function allPages(): readonly GeneratedPage[] {
  return [...generatedPages(), ...clinicPages().map(({ file, text }) => ({ file: `../clinic/${file}`, text }))]
}

/** The flows in words and pictures, where they are not as they would be written now. */
export function staleClinicPages(): readonly GeneratedPage[] {
  return allPages().filter(page => page.file.startsWith('../clinic/') && isStale(page))
}

export interface GeneratedPage {
  /** File name under docs/reference. */
  readonly file: string
  readonly text: string
}

/** Pages whose file is missing or says something else than it would say now. */
export function stalePages(): readonly GeneratedPage[] {
  return generatedPages().filter(isStale)
}

function isStale({ file, text }: GeneratedPage): boolean {
  const path = join(REFERENCE, file)
  return !existsSync(path) || readFileSync(path, 'utf8') !== text
}

/** Every page, as it would be written now. */
export function generatedPages(): readonly GeneratedPage[] {
  const page = (file: string, ...parts: readonly string[]) => ({ file, text: `${[MADE, ...parts].join('\n\n')}\n` })
  const flows = flowTexts()
  return [
    page('flow-language.md', ...flowLanguage()),
    page('settings.md', ...settingsPage()),
    page('facts.md', ...factsPage(flows.facts, flows.words)),
    page('tags.md', ...tagsPage(flows.tags, flows.folders)),
    page('advice-sources.md', ...adviceSources(flows.folders)),
    page('authorisation.md', ...authorisationPage()),
    page('transcript.md', ...transcriptPage()),
    page('../rules/rules.md', ...rulesPage(readFlowFiles())),
  ]
}

// ---- The flow language ----

function flowLanguage(): readonly string[] {
  const rules = [
    ...refusals(stepSchema, {}),
    ...refusals(stepSchema, { ask: 'x', wait: true }),
    ...refusals(stepSchema, { wait: true, alarms: [{ name: 'x', go: 'x' }] }),
    ...refusals(adviceSchema, { tags: ['x'] }),
  ]
  const list = (lines: readonly string[]) => lines.map(line => `- ${line}`).join('\n')
  return [
    '# The flow language',
    'A flow is what the line says and asks for one concern. It is YAML 1.2: `yes`, `no`, `on` and `off` are words. How to read and change one, with an example: [flows.md](../clinic/flows.md). What the checker refuses: [errors.md](errors.md).',
    'An *id* is lower case with single hyphens (`keep-tube`). A *step* is a step of the same flow, or `shared/` and a step of `flows/shared/steps.yaml`; inside that file the `shared/` is left out.',
    '## `NAME/flow.yaml`',
    'The folder is named for the concern.',
    keysTable(flowSchema),
    '`silence`:',
    keysTable(flowSchema, ['silence']),
    '## A step',
    'One way of writing them serves `NAME/flow.yaml` and `flows/shared/steps.yaml`. On entering a step this is done in order: `decide`, `say`, `page`, `note`, `alarms`, `cancel`, then `ask`.',
    keysTable(sharedStepsSchema, ['steps', '*']),
    'An alarm is a stored moment at which the talk moves on by itself. It survives a restart.',
    keysTable(stepSchema, ['alarms', '*']),
    `\`after\` is one of ${ALARM_SETTINGS.map(id => `\`${id}\``).join(', ')}.`,
    'A row of `route`:',
    keysTable(stepSchema, ['route', '*']),
    'Beyond the tables, these are refused unless they hold:',
    list(rules),
    '## Conditions',
    'A condition names facts, each with the values that fit. It may name facts of [facts.md](facts.md) that are chosen from a list, derived facts, and the switches under `policies`. A number or a time is cut into bands first. Every fact also has the values `unsure` and `not-asked`; a derived fact has `not-asked`. Rows are tried from the top. The last has no condition, so there is always a way on.',
    '## `shared/facts.yaml`',
    keysTable(factsFileSchema),
    'A fact:',
    keysTable(factsFileSchema, ['facts', '*']),
    'A derived fact:',
    keysTable(factsFileSchema, ['derived', '*']),
    '## `sources.yaml`, in each flow and in `shared`',
    'A source:',
    keysTable(sourcesFileSchema, ['sources', '*']),
    'A piece of advice:',
    keysTable(sourcesFileSchema, ['advice', '*']),
    '## `shared/tags.yaml`',
    keysTable(tagsFileSchema, ['tags', '*']),
    '## `wording.LANGUAGE.yaml`, in each flow and in `shared`',
    'One line a text: its id, then the words in ICU MessageFormat. A flow’s own line stands in place of the shared one of the same id.',
    [
      '| id | what it is |',
      '|---|---|',
      '| `say/ADVICE` | advice or a notice; needed for each in `sources.yaml` |',
      '| `stop/ADVICE` | said first when that advice no longer holds; left out, it lapses in silence |',
      '| `ask/FACT`, `why/FACT` | a question, and why it is asked, in at most eight words |',
      '| `option/FACT/VALUE` | a button |',
      '| `label/FACT` | the fact’s name in a list of answers and on the handover |',
      '| `reason/PAGE` | what a page says for that reason |',
      '| `note/NOTE` | a note for the clinic’s day |',
    ].join('\n'),
    `Words in braces are filled in when the text is sent: ${VARIABLES.map(name => `\`{${name}}\``).join(', ')}.`,
  ]
}

// ---- Settings ----

function settingsPage(): readonly string[] {
  const shown = (raw: unknown) => (Array.isArray(raw) ? `[${raw.join(', ')}]` : String(raw))
  const rows = Object.entries(settingDefinitions).map(([id, found]) => {
    const definition: Definition = found
    const { kind, shipped, least, most, unit, means } = definition
    const bounds = least === undefined ? '' : `\`${least}\` to \`${most}\``
    const value = `\`${shown(shipped)}\`${unit === undefined ? '' : ` ${unit}`}`
    return `| \`${id}\` | ${KINDS[kind]} | ${value} | ${bounds} | ${cell(means)} |`
  })
  return [
    '# Settings',
    'Figures and switches a clinic may set under `settings` in its [clinic file](../clinic/clinic-file.md), and a vignette under `policy`. Shipped values are a cautious starting point from published sources. They must be reviewed by the clinic’s own clinicians. Published bodies disagree about several of them.',
    'Bounds are inclusive. They catch a wrong unit or a lost digit. A value inside them is not thereby right.',
    ['| id | kind | shipped | bounds | what it decides |', '|---|---|---|---|---|', ...rows].join('\n'),
  ]
}

const KINDS: Readonly<Record<Definition['kind'], string>> = {
  length: 'length of time',
  calendar: 'length on the calendar',
  switch: 'on or off',
  answer: 'yes or no',
  number: 'number',
  range: 'two numbers',
  steps: 'three lengths of time',
}

// ---- Facts ----

function factsPage(facts: FactsFile, words: Wording): readonly string[] {
  const ids = (values: readonly string[]) => values.map(value => `\`${value}\``).join(', ')
  const values = ({ values: listed, taps, kind }: FactDocument) =>
    listed === undefined ? (taps === undefined ? kindOf(kind) : ids(Object.keys(taps))) : ids(listed)
  const rows = Object.entries(facts.facts).map(([id, fact]) => {
    const unsure = fact['unsure-acts-as']
    return `| \`${id}\` | ${kindOf(fact.kind)} | ${values(fact)} | ${unsure === undefined ? 'itself' : `\`${unsure}\``} | ${cell(words[`ask/${id}`] ?? '')} |`
  })
  const derived = Object.entries(facts.derived).map(
    ([id, fact]) => `| \`${id}\` | ${ids(fact.values)} | ${fact.from.length === 0 ? 'the call-out' : ids(fact.from)} |`,
  )
  const policies = Object.entries(facts.policies).map(([id, listed]) => `| \`${id}\` | ${ids(listed)} |`)
  return [
    '# Facts',
    'What a case may know. Made from `flows/shared/facts.yaml` and the shipped English wording. "Not sure" is accepted for every question and is never a reassurance: the column says which value it counts as in a condition. *Itself* means that only a condition that lists `unsure` fits.',
    ['| fact | kind | values or buttons | "not sure" acts as | question |', '|---|---|---|---|---|', ...rows].join(
      '\n',
    ),
    'A fact without a question is filled by a step, or waits for a concern that is not built yet.',
    '## Derived facts',
    'Worked out from answers and the clock. A caregiver is never asked for one.',
    ['| fact | values | from |', '|---|---|---|', ...derived].join('\n'),
    '## Switches of the clinic that a condition may read',
    ['| setting | values |', '|---|---|', ...policies].join('\n'),
  ]
}

function kindOf(kind: FactDocument['kind']): string {
  const words = { many: 'one or several', moment: 'a moment', date: 'a date', length: 'a length of time' } as const
  return kind in words ? words[kind as keyof typeof words] : kind === 'phone' ? 'a telephone number' : kind
}

// ---- Tags and advice ----

interface Folder {
  readonly name: string
  readonly sources: SourcesFile
  readonly words: Wording
}

function tagsPage({ tags }: TagsFile, folders: readonly Folder[]): readonly string[] {
  const carriers = (tag: string) =>
    folders.flatMap(({ sources }) =>
      Object.entries(sources.advice).flatMap(([id, advice]) => (advice.tags.includes(tag) ? [`\`${id}\``] : [])),
    )
  const rows = Object.entries(tags).map(
    ([id, tag]) =>
      `| \`${id}\` | ${cell(tag.means)} | ${tag.hazardous === true ? 'yes' : ''} | ${carriers(id).join(', ')} |`,
  )
  return [
    '# Tags',
    'What a piece of advice makes someone do. Vignettes and safety rules speak of tags, never of words. A *hazardous* act can hurt when it is told at the wrong time: a text that tells someone to do it without carrying the tag is refused (`TAG_MISSING`).',
    ['| tag | the act | hazardous | shipped advice that carries it |', '|---|---|---|---|', ...rows].join('\n'),
  ]
}

function adviceSources(folders: readonly Folder[]): readonly string[] {
  const shared = folders.find(({ name }) => name === 'shared')
  return [
    '# What each piece of advice rests on',
    '**No clinician has reviewed this page, the sources, or the wording.** A clinic reads each source itself, in the edition now in force, and approves or changes the advice. *Practice* is common practice with no source. *Own* is a rule of the line itself, such as how the bot names itself.',
    ...folders.flatMap(folder => [
      `## ${folder.name === 'shared' ? 'Shared by every flow' : `\`${folder.name}\``}`,
      ...adviceOf(folder),
      ...sourcesOf(folder, shared),
    ]),
  ]
}

function adviceOf({ sources, words }: Folder): readonly string[] {
  const rows = Object.entries(sources.advice).map(([id, advice]) => {
    const basis = [
      ...(advice['rests-on'] ?? []).map(source => `[${source}]`),
      ...(advice.practice === undefined ? [] : [`practice: ${advice.practice}`]),
      ...(advice.own === undefined ? [] : [`own: ${advice.own}`]),
    ]
    const tags = advice.tags.map(tag => `\`${tag}\``).join(', ')
    return `| \`${id}\` | ${cell(words[`say/${id}`] ?? '')} | ${tags} | ${cell(basis.join('; '))} |`
  })
  if (rows.length === 0) return ['No advice of its own.']
  return [['| advice | English words | tags | rests on |', '|---|---|---|---|', ...rows].join('\n')]
}

function sourcesOf({ sources, name }: Folder, shared: Folder | undefined): readonly string[] {
  const lines = Object.entries(sources.sources).map(([id, source]) => {
    const { title, body, year, address, locator, how } = source
    const parts = [title, body, year === undefined ? undefined : String(year), locator, address, how]
    return `- **[${id}]** ${parts.filter(part => part !== undefined).join('. ')}`
  })
  const cited = Object.values(sources.advice).flatMap(advice => advice['rests-on'] ?? [])
  const isFromShared = name !== 'shared' && cited.some(id => !(id in sources.sources) && shared !== undefined)
  const note = isFromShared ? ['Numbers that are not listed here stand under *Shared by every flow*.'] : []
  return lines.length === 0 ? note : ['Sources, under the numbers they are cited by:', lines.join('\n'), ...note]
}

// ---- Reading ----

interface FlowTexts {
  readonly facts: FactsFile
  readonly tags: TagsFile
  /** All shipped English texts. */
  readonly words: Wording
  /** Shared first, then each flow. */
  readonly folders: readonly Folder[]
}

function flowTexts(): FlowTexts {
  const files = readFlowFiles()
  const yamlAt = (path: string): unknown => {
    const { yaml, problems } = readYaml(path, files.get(path) ?? '')
    if (yaml === undefined)
      throw new Error(`flows/${path} cannot be read: ${problems[0]?.found}; run "smallhours check"`)
    return yaml.value
  }
  const names = [...new Set([...files.keys()].map(path => path.split('/')[0] ?? ''))]
  const flows = names.filter(name => files.has(`${name}/flow.yaml`)).toSorted()
  const folders = ['shared', ...flows].map(name => ({
    name,
    sources: sourcesFileSchema.parse(yamlAt(`${name}/sources.yaml`)),
    words: files.has(`${name}/wording.en.yaml`) ? wordingSchema.parse(yamlAt(`${name}/wording.en.yaml`)) : {},
  }))
  return {
    facts: factsFileSchema.parse(yamlAt('shared/facts.yaml')),
    tags: tagsFileSchema.parse(yamlAt('shared/tags.yaml')),
    words: Object.assign({}, ...folders.map(({ words }) => words)),
    folders,
  }
}
