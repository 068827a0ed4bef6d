/** What the shipped flows ask, say and decide, as a page a nurse can read, with its pictures. */
import type { Rule } from '../flow/rule-document.ts'
import { loadRules } from '../flow/rule-load.ts'
import {
  type Box,
  type Exit,
  flowPicture,
  type Part,
  type Picture,
  sharedPicture,
} from '../modelcheck/pictures/graph.ts'
import type { QuestionFigure } from '../modelcheck/rules/findings.ts'
import { type Instant, instant } from '../time/instant.ts'
import { contentOf, type FlowFigures, storedFigures } from './check-figures.ts'
import { pictureFiles } from './draw.ts'
import { readFlowFiles } from './flow-files.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from './load-line.ts'
import { cell } from './schema-table.ts'

export interface ClinicPage {
  /** Path under docs/clinic. */
  readonly file: string
  readonly text: string
}

const AT: Instant = instant(0)

/** The report and the pictures it shows. Empty where the flows cannot be read: the check says why. */
export function clinicPages(): readonly ClinicPage[] {
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: AT })
  if (loaded === undefined) return []
  const names = [...loaded.line.flows.flows.keys(), 'shared']
  const pictures = names.flatMap(name => pictureFiles(loaded, name))
  return [
    { file: 'flow-report.md', text: `${reportParts(loaded, pictures).join('\n\n')}\n` },
    ...pictures.map(({ file, text }) => ({ file: `pictures/${file}`, text })),
  ]
}

function reportParts(loaded: LoadedLine, pictures: readonly { readonly file: string }[]): readonly string[] {
  const { flows, language } = loaded.line
  const files = readFlowFiles()
  const rules = loadRules(files, flows, Object.keys(loaded.line.settings)).rules?.rules ?? []
  const figures = storedFigures()
  const isFresh = figures?.content === contentOf(files)
  return [
    '<!-- Made by `npm run docs`. Do not edit by hand: change the flows, and run that again. -->',
    '# What the flows ask, say and decide',
    '**No clinician has reviewed these flows.** They are a demonstration, made from published sources. A clinic changes and approves its own ([approval](approval.md)), and its protocol, its clinicians and the emergency services come first.',
    `Each flow stands here in words, part by part, as in its picture. A picture is one or more A3 sheets to print: ${pictureLinks(pictures)}.`,
    ...[...flows.flows.values()].flatMap(flow => {
      const own = figures?.flows.filter(one => one.flow === flow.concern) ?? []
      const picture = flowPicture(flow, flows, language)
      return [
        `## ${picture.title}`,
        ...askedParts(picture),
        ...rulesParts(rules, own, isFresh),
        ...figureParts(own, isFresh),
      ]
    }),
    ...sharedParts(sharedPicture(flows, language)),
    ...NOT_CHECKED,
  ]
}

function pictureLinks(pictures: readonly { readonly file: string }[]): string {
  return pictures
    .filter(({ file }) => file.endsWith('.html'))
    .map(({ file }) => `[${file.replace('.html', '')}](pictures/${file})`)
    .join(', ')
}

// ---- What is asked, and what leads where ----

function askedParts(picture: Picture): readonly string[] {
  return ['### What is said and asked, and what leads where', ...picture.parts.flatMap(part => partText(part, picture))]
}

function sharedParts(picture: Picture): readonly string[] {
  return [
    '## Shared by all flows',
    'Danger, a wish for a person and "we cannot get there" lead here from anywhere.',
    ...picture.parts.flatMap(part => partText(part, picture)),
  ]
}

function partText(part: Part, picture: Picture): readonly string[] {
  const entry = picture.entries.find(({ step }) => step === part.head)
  const note = entry?.when ?? (part.number === 1 ? 'The beginning' : undefined)
  return [
    `**Part ${part.number}, \`${shortId(part.head)}\`**${note === undefined ? '' : ` – ${note}.`}`,
    part.boxes.map(box => boxText(box, picture)).join('\n'),
  ]
}

function boxText(box: Box, picture: Picture): string {
  const lines = box.lines.map(({ kind, text }) =>
    kind === 'decides'
      ? `Decided: **${text}**.`
      : kind === 'asks'
        ? `**${text}**`
        : kind === 'pages'
          ? `Page: *${text}*`
          : text,
  )
  const exits = box.exits.map(exit => `  - ${exit.isTimed ? '◷ ' : ''}${exit.text} → ${whereTo(exit, picture)}`)
  const rests =
    box.rests === undefined ? [] : [`  - ${box.rests === 'waits' ? 'The talk waits here.' : 'The talk ends here.'}`]
  return [`- \`${shortId(box.id)}\`: ${lines.join(' ')}`, ...exits, ...rests].join('\n')
}

function whereTo({ to, elsewhere }: Exit, picture: Picture): string {
  if (to === undefined) return elsewhere ?? 'nowhere'
  const part = picture.partOf.get(to)
  return part === undefined ? `\`${shortId(to)}\`` : `\`${shortId(to)}\` (part ${part.number})`
}

const shortId = (id: string): string => id.replace(/^shared\//, '')

// ---- Rules and figures ----

function rulesParts(rules: readonly Rule[], own: readonly FlowFigures[], isFresh: boolean): readonly string[] {
  if (own.length === 0) return []
  const looked = new Set(own.flatMap(one => one.rules))
  const broken = new Set(own.flatMap(one => one.broken))
  const rows = rules
    .filter(({ id }) => looked.has(id))
    .map(({ id, means, reason }) => {
      const seen = own.flatMap(one => one.witnesses[id] ?? [])
      const verdict = broken.has(id) ? '**breaks**' : seen.length === 0 ? 'never comes up here' : 'holds'
      const first = seen.length === 0 ? '' : String(Math.min(...seen))
      return `| \`${id}\` | ${cell(means)} | ${cell(reason)} | ${verdict} | ${first} |`
    })
  const others = [...broken].filter(id => !looked.has(id))
  return [
    '### Rules',
    isFresh ? LOOKED : STALE,
    [
      '| rule | what must hold | why | found | shortest conversation in which it matters, in turns |',
      '|---|---|---|---|---|',
      ...rows,
    ].join('\n'),
    ...(others.length === 0
      ? []
      : [`What holds for every flow and **breaks** here: ${others.map(id => `\`${id}\``).join(', ')}.`]),
  ]
}

const LOOKED =
  'Walked by `npx smallhours check`, in every order of answers, silence, interruptions, changes of mind and time that its picture of the flow has.'
const STALE =
  '**These figures are of an earlier state of the flows or rules.** `npx smallhours check --figures docs/figures/flows.json` walks them anew, then `npm run docs`.'

function figureParts(own: readonly FlowFigures[], isFresh: boolean): readonly string[] {
  if (own.length === 0)
    return ['No figures yet: `npx smallhours check --figures docs/figures/flows.json`, then `npm run docs`.']
  const rows = own.map(({ policies, states, transitions, questions }) => {
    const on = Object.entries(policies).flatMap(([id, value]) => (value === 'off' ? [] : [`\`${id}\``]))
    const name = on.length === 0 ? 'everything off, as shipped' : `${on.join(', ')} on`
    return `| ${name} | ${count(states)} | ${count(transitions)} | ${figure(questions.toAdvice)} | ${figure(questions.toDecision)} | ${figure(questions.toRest)} |`
  })
  const notes = [...new Set(own.flatMap(one => one.notWhole ?? []))]
  return [
    '### How many questions',
    `For a family that answers each question as it comes, one tap each (two where several may be ticked, or a typed time is read back): fewest, middle and most, over all ways of answering. The most is exact. The middle: half of all ways need no more, where answers that nothing tells apart are one and each way counts once, however rare it is at night.${isFresh ? '' : ' Of an earlier state, too.'}`,
    [
      '| switches of the clinic | situations walked | steps between them | questions to the first advice | to the decision | to the last |',
      '|---|---|---|---|---|---|',
      ...rows,
    ].join('\n'),
    ...notes,
  ]
}

const count = (value: number): string => value.toLocaleString('en')

const figure = ({ best, median, worst }: QuestionFigure): string =>
  best === -1 ? 'never' : `${best} · ${median} · ${worst}`

const NOT_CHECKED = [
  '## What was checked, and what was not',
  [
    'Checked: that no order of answers, silence, interruptions, changes of mind and time breaks a rule in the table; that every question can be answered with "not sure"; that talk never goes in a circle or stops without an end; that nothing decided becomes milder by itself; that silence always leads to a page.',
    'The walk is over a picture of the flow in which answers that nothing tells apart are one, and every limit of time may come in any order. The picture is held to the running bot by tests. Where it is wider than the bot, a conversation may be reported that the bot cannot have; the report then says so.',
    'Not checked: whether a rule is right, whether the rules are enough, whether an advice helps, whether families understand the words, and whether anybody answers a page. Clinicians judge the first three; the others show only in use.',
  ]
    .map(line => `- ${line}`)
    .join('\n'),
]
