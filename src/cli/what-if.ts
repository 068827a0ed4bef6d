import { statSync } from 'node:fs'
import { availableParallelism } from 'node:os'
import { canonicalText, flowContent } from '../flow/content.ts'
import { contentChanges } from '../flow/content-changes.ts'
import { type Group, grouping } from '../replay/groups.ts'
import { otherRuns } from '../replay/other-run.ts'
import type { RecordedCase } from '../replay/reading.ts'
import { baseOf, judged, sideBySide } from '../replay/what-if.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, CalledWrongly, type Command, complain, countText, print, wholeNumber } from './command.ts'
import type { ShelvedFlows } from './flow-shelf.ts'
import { DEMO_CLINIC } from './load-line.ts'
import type { Changes } from './other-line.ts'
import { folderSaid, toBeWritten } from './places-said.ts'
import { filesIn, withoutFlow } from './replay.ts'
import { AROUND } from './replay-around.ts'
import { faultText, told, wholeFile } from './transcript-file.ts'
import { type LinesOfCase, type WhatIfAsked, type WhatIfLines, whatIfLines } from './what-if-lines.ts'
import {
  type Example,
  notComparedLines,
  outcomeText,
  rangeTexts,
  type Shown,
  type WhatIfReport,
  whatIfPage,
} from './what-if-page.ts'
import { judgedAlone, judgedTogether, type Posed } from './what-if-together.ts'

export const whatIfCommand: Command = {
  name: 'what-if',
  summary: 'which recorded cases changed flows, settings or rota would have ended otherwise: less careful first',
  usage: [
    'smallhours what-if FILES… --flows FOLDER | --settings ID=VALUE… | --rota CLINIC  (one or several together)',
    '                   [--html FILE] [--examples NUMBER] [--clinic FOLDER] [--data FOLDER] [--cores NUMBER] [--json]',
    '    The families and clinicians do what they did. What nobody was asked is answered in every way.',
    '    --cores: cores it may use, all and at most 6 unless said; 1 where the machine answers families as well.',
    '    0: no case would have ended less carefully; 1: some would, or a file is not as it was written.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      settings: { type: 'string', multiple: true, default: [] },
      rota: { type: 'string' },
      data: { type: 'string' },
      html: { type: 'string' },
      examples: { type: 'string', default: '3' },
      cores: { type: 'string' },
      json: { type: 'boolean', default: false },
    })
    const files = filesIn(positionals)
    const examples = wholeNumber('--examples', values.examples, 0, EXAMPLES_MOST)
    if (values.flows === undefined && values.settings.length === 0 && values.rota === undefined)
      throw new CalledWrongly('what would be other was expected: --flows, --settings or --rota')
    if (values.html !== undefined) toBeWritten(values.html)
    if (values.data !== undefined) folderSaid('--data', values.data)
    const cores = values.cores === undefined ? undefined : wholeNumber('--cores', values.cores, 1, CORES_MOST)
    const { clinic, flows, settings, rota, data } = values
    const asked: WhatIfAsked = {
      ...{ clinic, settings },
      ...(flows === undefined ? {} : { flows }),
      ...(rota === undefined ? {} : { rota }),
      ...(data === undefined ? {} : { data }),
    }
    const lines = whatIfLines(asked)
    if (lines === undefined) return 1
    const found = await whatIf(files, lines, examples, cases => {
      const helpers = helpersFor(files, cores)
      return helpers === 0 ? judgedAlone(cases) : judgedTogether(cases, asked, helpers)
    })
    const what = [
      ...(values.flows === undefined ? [] : [`flows of ${values.flows}`]),
      ...values.settings.map(one => `setting ${one}`),
      ...(values.rota === undefined ? [] : [`rota of ${values.rota}`]),
    ].join('; ')
    const report: WhatIfReport = {
      what: `Recorded cases against: ${what}.`,
      totals: found.groups.totals,
      groups: found.groups.groups.map(shownOf),
      others: found.groups.others,
      cannotAnswer: cannotAnswer(found.compared, lines.changes),
    }
    if (values.html !== undefined) writePage(values.html, report)
    if (values.json) print(JSON.stringify({ ...jsonOf(report), faults: found.faults, withoutFlow: found.withoutFlow }))
    else print(textOf(report).join('\n'))
    return report.totals.lowered + found.faults + found.withoutFlow === 0 ? 0 : 1
  },
}

const PROGRESS_EVERY = 5_000

/** Below this many bytes of transcripts helpers would be started for longer than they help. A packed one counts as unpacked. */
const TOGETHER_BYTES = 8_000_000
const PACKED = 8
/** One core reads; with more helpers than it can give cases to, each would only hold its flows in memory. */
const HELPERS_MOST = 6
const CORES_MOST = 32
const EXAMPLES_MOST = 1_000

function helpersFor(files: readonly string[], cores: number | undefined): number {
  const most = cores ?? Math.min(availableParallelism(), HELPERS_MOST)
  if (most < 2) return 0
  const bytes = files.reduce((sum, file) => sum + statSync(file).size * (file.endsWith('.gz') ? PACKED : 1), 0)
  return cores === undefined && bytes < TOGETHER_BYTES ? 0 : most
}

interface Kept {
  readonly recorded: RecordedCase
  readonly lines: LinesOfCase
}

async function whatIf(
  files: readonly string[],
  lines: WhatIfLines,
  examplesMost: number,
  verdicts: (cases: AsyncIterable<Posed>) => ReturnType<typeof judgedAlone>,
) {
  const groups = grouping<Kept>(examplesMost)
  /** Flows that cases were opened under: what of them is worded otherwise is told. */
  const compared = new Set<ShelvedFlows>()
  let faults = 0
  let withoutFlows = 0

  async function* cases(): AsyncGenerator<Posed> {
    for await (const { file, reading, faults: found, whole } of told(files, systemClock().now())) {
      for (const fault of found) complain(faultText(file, fault))
      faults += found.length
      if (whole === undefined) continue
      const flows = lines.flowsOf(whole, reading, fault => complain(`${file}: ${fault}`))
      if (flows === undefined) {
        withoutFlows += 1
        if (withoutFlows <= 10) complain(`${file}: ${whole.head.case}: ${withoutFlow(whole)}`)
        continue
      }
      compared.add(flows)
      yield { recorded: whole, file: reading, lines: lines.of(reading, flows) }
    }
  }

  for await (const { posed, verdict } of verdicts(cases())) {
    groups.add(verdict, { recorded: posed.recorded, lines: posed.lines })
    if (groups.totals.cases % PROGRESS_EVERY === 0)
      complain(`${groups.totals.cases.toLocaleString('en')} cases, ${groups.totals.lowered} less careful so far`)
  }
  return { groups, faults, withoutFlow: withoutFlows, compared }
}

/** Examples are judged again: only of them is it told what they may come to. */
const shownOf = (group: Group<Kept>): Group<Shown> => ({
  ...group,
  examples: group.examples.flatMap(({ recorded, lines }) => {
    const found = judged(recorded, lines.was, lines.other, AROUND)
    return found.kind === 'differs' ? [{ ...found, lines }] : []
  }),
})

/** Run again with its steps kept; of several ways the one that ends least carefully is shown. */
function exampleFrom({ recorded, compared, was, may, isPartial, lines }: Shown): Example | undefined {
  const editionAt = (index: number) => recorded.steps[Math.min(index, recorded.steps.length - 1)]?.edition ?? ''
  const base = baseOf(recorded, lines.was, AROUND)
  if (typeof base === 'string') return undefined
  const { runs } = otherRuns(recorded.head, base, index => lines.other(editionAt(index)), true)
  const order = ['ambulance', 'set-out', 'speak', 'tell-clinic', 'at-home', undefined]
  const shown = runs.toSorted((a, b) => order.indexOf(b.outcome.disposition) - order.indexOf(a.outcome.disposition))[0]
  return {
    ...{ case: recorded.head.case, direction: compared.direction, was, may, isPartial },
    rows: shown === undefined ? [] : sideBySide(base, shown),
    wasLine: lines.was(editionAt(0)),
    nowLine: lines.other(editionAt(0)),
  }
}

function writePage(file: string, report: WhatIfReport): void {
  const out = wholeFile(file)
  const examplesOf = (group: Group<Shown>) => group.examples.flatMap(one => exampleFrom(one) ?? [])
  for (const part of whatIfPage(report, examplesOf)) out.write(part)
  out.finish()
}

/** What replay says nothing about; texts that would read otherwise are counted, since nobody read them. */
function cannotAnswer(compared: ReadonlySet<ShelvedFlows>, { flows }: Changes): readonly string[] {
  const general = [
    'Layout, tone, drawings and the order of buttons: whether families would have understood them better or worse.',
    'What families would have done next on other advice, and how clinicians would have answered other pages.',
  ]
  if (flows === undefined) return general
  const worded = new Set<string>()
  for (const { set } of compared) {
    for (const concern of set.flows.keys()) {
      if (!flows.set.flows.has(concern)) continue
      const [was, now] = [set, flows.set].map(one =>
        JSON.parse(canonicalText(flowContent(one, concern, () => undefined))),
      )
      for (const { path, before, after } of contentChanges(was, now))
        if (path.startsWith('wording.') && before !== undefined && after !== undefined) worded.add(path.slice(8))
    }
  }
  return worded.size === 0
    ? general
    : [
        ...general,
        `How the ${worded.size} texts would be taken that say the same in other words: ${[...worded].toSorted().slice(0, 12).join(', ')}${worded.size > 12 ? ' …' : ''}.`,
      ]
}

function jsonOf({ what, totals, groups, others, cannotAnswer: unanswered }: WhatIfReport) {
  return {
    what,
    ...totals,
    groups: groups.map(({ examples, ...group }) => ({
      ...group,
      examples: examples.map(({ recorded, compared, was, may, isPartial }) => ({
        case: recorded.head.case,
        ...compared,
        was,
        may: may.map(({ outcome, explored, broken }) => ({
          outcome,
          explored,
          ...(broken === undefined ? {} : { broken }),
        })),
        isPartial,
      })),
    })),
    others,
    cannotAnswer: unanswered,
  }
}

function textOf({ what, totals, groups, others }: WhatIfReport): readonly string[] {
  return [
    what,
    `${totals.cases} cases: ${totals.differing} would have ended otherwise: ${totals.lowered} less carefully, ${totals.raised} more carefully, ${totals.changed} otherwise. ${totals.same} the same.`,
    ...notComparedLines(totals),
    ...groups.flatMap(group => {
      const [example] = group.examples
      return [
        '',
        `${group.concern}, ${group.cause}`,
        `  ${countText(group.cases, 'case')}: ${group.lowered} less careful, ${group.raised} more careful, ${group.changed} otherwise`,
        ...(example === undefined
          ? []
          : [
              `  such as ${example.recorded.head.case}`,
              `    Then: ${outcomeText(example.was)}`,
              ...rangeTexts(example.may).map(text => `    ${text}`),
            ]),
      ]
    }),
    ...(others > 0 ? ['', `${others} cases of further causes are counted above and not listed.`] : []),
  ]
}
