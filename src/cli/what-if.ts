import { existsSync } from 'node:fs'
import type { Line } from '../case/line.ts'
import { canonicalText, flowContent } from '../flow/content.ts'
import { contentChanges } from '../flow/content-changes.ts'
import { editionIn } from '../replay/edition.ts'
import { type Group, grouping } from '../replay/groups.ts'
import { otherRuns } from '../replay/other-run.ts'
import type { Reading } from '../replay/reading.ts'
import { onTables } from '../replay/table-kernel.ts'
import { baseOf, type Differing, judged, sideBySide } from '../replay/what-if.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { type FlowShelf, flowShelf, type ShelvedFlows } from './flow-shelf.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { type Changes, clinicSaid, otherLine, settingsSaid } from './other-line.ts'
import { filesIn, flowsFor, linesOf, readLine, withoutFlow } from './replay.ts'
import { AROUND } from './replay-around.ts'
import { faultText } from './transcript.ts'
import { told, wholeFile } from './transcript-file.ts'
import {
  counted,
  type Example,
  notComparedLines,
  outcomeText,
  rangeTexts,
  type WhatIfReport,
  whatIfPage,
} from './what-if-page.ts'

export const whatIfCommand: Command = {
  name: 'what-if',
  summary: 'which recorded cases changed flows, settings or rota would have ended otherwise: less careful first',
  usage: [
    'smallhours what-if FILES… --flows FOLDER | --settings ID=VALUE… | --rota CLINIC  (one or several together)',
    '                   [--html FILE] [--examples NUMBER] [--clinic FOLDER] [--data FOLDER] [--json]',
    '    The families and clinicians do what they did. What nobody was asked is answered in every way.',
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
      json: { type: 'boolean', default: false },
    })
    const files = filesIn(positionals)
    const examples = Number(values.examples)
    if (!Number.isInteger(examples) || examples < 0)
      throw new CalledWrongly(`--examples ${values.examples}: a whole number was expected`)
    if (values.flows === undefined && values.settings.length === 0 && values.rota === undefined)
      throw new CalledWrongly('what would be other was expected: --flows, --settings or --rota')
    if (values.html !== undefined && existsSync(values.html))
      throw new CalledWrongly(`--html ${values.html} is there already: name another file`)
    const loaded = readLine(values.clinic, undefined)
    const changed = values.flows === undefined ? undefined : readLine(values.clinic, values.flows)
    if (loaded === undefined || (values.flows !== undefined && changed === undefined)) return 1
    const settings = settingsSaid(values.settings)
    const clinic = clinicSaid(values.rota)
    const changes: Changes = {
      ...(changed === undefined
        ? {}
        : { flows: { set: onTables(changed.line.flows), hashes: changed.line.hashes ?? new Map() } }),
      ...(settings === undefined ? {} : { settings }),
      ...(clinic === undefined ? {} : { clinic }),
      ...(values.data === undefined ? {} : { data: values.data }),
    }
    const shelf = flowShelf({ loaded, ...(values.data === undefined ? {} : { data: values.data }) }, onTables)
    const found = await whatIf(files, shelf, changes, examples)
    const what = [
      ...(values.flows === undefined ? [] : [`flows of ${values.flows}`]),
      ...values.settings.map(one => `setting ${one}`),
      ...(values.rota === undefined ? [] : [`rota of ${values.rota}`]),
    ].join('; ')
    const report: WhatIfReport = {
      what: `Recorded cases against: ${what}.`,
      totals: found.groups.totals,
      groups: found.groups.groups,
      others: found.groups.others,
      cannotAnswer: cannotAnswer(found.compared, changes),
    }
    if (values.html !== undefined) writePage(values.html, report, found.exampleOf)
    if (values.json) print(JSON.stringify({ ...jsonOf(report), faults: found.faults, withoutFlow: found.withoutFlow }))
    else print(textOf(report).join('\n'))
    return report.totals.lowered + found.faults + found.withoutFlow === 0 ? 0 : 1
  },
}

const PROGRESS_EVERY = 5_000

interface LinesOfCase {
  readonly was: (edition: string) => Line
  readonly other: (edition: string) => Line
}

async function whatIf(files: readonly string[], shelf: FlowShelf, changes: Changes, examplesMost: number) {
  const groups = grouping(examplesMost)
  const linesOfExample = new WeakMap<Differing, LinesOfCase>()
  /** Flows that cases were opened under: what of them is worded otherwise is told. */
  const compared = new Set<ShelvedFlows>()
  let faults = 0
  let withoutFlows = 0
  for await (const { file, reading, faults: found, whole } of told(files, systemClock().now())) {
    for (const fault of found) complain(faultText(file, fault))
    faults += found.length
    if (whole === undefined) continue
    const flows = flowsFor(whole, reading, shelf, fault => complain(`${file}: ${fault}`))
    if (flows === undefined) {
      withoutFlows += 1
      if (withoutFlows <= 10) complain(`${file}: ${whole.head.case}: ${withoutFlow(whole)}`)
      continue
    }
    compared.add(flows)
    const was = linesOf(reading, flows)
    const other = othersOf(reading, flows, changes, was)
    const one = judged(whole, was, other, AROUND)
    if (one.kind === 'differs') linesOfExample.set(one, { was, other })
    groups.add(one)
    if (groups.totals.cases % PROGRESS_EVERY === 0)
      complain(`${groups.totals.cases.toLocaleString('en')} cases, ${groups.totals.lowered} less careful so far`)
  }
  const exampleOf = (one: Differing): Example | undefined => {
    const lines = linesOfExample.get(one)
    return lines === undefined ? undefined : exampleFrom(one, lines)
  }
  return { groups, faults, withoutFlow: withoutFlows, compared, exampleOf }
}

const OTHERS = new WeakMap<Reading, Map<object, Map<string, Line>>>()

/** The changed line of each edition of a file, made once. */
function othersOf(
  reading: Reading,
  flows: ShelvedFlows,
  changes: Changes,
  was: (edition: string) => Line,
): (edition: string) => Line {
  const bySet = OTHERS.get(reading) ?? new Map<object, Map<string, Line>>()
  OTHERS.set(reading, bySet)
  const made = bySet.get(flows) ?? new Map<string, Line>()
  bySet.set(flows, made)
  const { head, editions } = reading
  if (head === undefined) throw new Error('a case was read before the head of its file')
  return id => {
    const known = made.get(id)
    if (known !== undefined) return known
    const edition = editions.get(id)
    if (edition === undefined) throw new Error(`edition ${id} was looked for before it was read`)
    const fresh = otherLine(changes, head)(was(id), editionIn(edition))
    made.set(id, fresh)
    return fresh
  }
}

/** Run again with its steps kept; of several ways the one that ends least carefully is shown. */
function exampleFrom(one: Differing, { was, other }: LinesOfCase): Example | undefined {
  const { recorded, compared, isPartial } = one
  const editionAt = (index: number) => recorded.steps[Math.min(index, recorded.steps.length - 1)]?.edition ?? ''
  const base = baseOf(recorded, was, AROUND)
  if (typeof base === 'string') return undefined
  const { runs } = otherRuns(recorded.head, base, index => other(editionAt(index)), true)
  const order = ['ambulance', 'set-out', 'speak', 'tell-clinic', 'at-home', undefined]
  const shown = runs.toSorted((a, b) => order.indexOf(b.outcome.disposition) - order.indexOf(a.outcome.disposition))[0]
  return {
    ...{ case: recorded.head.case, direction: compared.direction, was: one.was, may: runs, isPartial },
    rows: shown === undefined ? [] : sideBySide(base, shown),
    wasLine: was(editionAt(0)),
    nowLine: other(editionAt(0)),
  }
}

function writePage(file: string, report: WhatIfReport, exampleOf: (one: Differing) => Example | undefined): void {
  const out = wholeFile(file)
  const examplesOf = (group: Group) => group.examples.flatMap(one => exampleOf(one) ?? [])
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
        `  ${counted(group.cases, 'case')}: ${group.lowered} less careful, ${group.raised} more careful, ${group.changed} otherwise`,
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
