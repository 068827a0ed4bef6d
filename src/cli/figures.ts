import { mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Line } from '../case/line.ts'
import { staffLine } from '../case/line.ts'
import { flowPicture } from '../modelcheck/pictures/graph.ts'
import { sheetsOf } from '../modelcheck/pictures/svg.ts'
import type { CaseSummary } from '../review/case-summary.ts'
import { csvText } from '../review/csv.ts'
import { cellText, type FigureTable } from '../review/figure-table.ts'
import { abandonedBySteps, type FigureNames, figuresOf } from '../review/figures.ts'
import { reportPage } from '../review/report-page.ts'
import { roundedTables } from '../review/rounding.ts'
import { toldAlone } from '../review/suppression.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { figureNames } from './figure-names.ts'
import { fromData, fromTranscripts } from './figures-source.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { toBeWritten } from './places-said.ts'
import { filesIn, readLine } from './replay.ts'
import { wholeFile } from './transcript-file.ts'

export const figuresCommand: Command = {
  name: 'figures',
  summary: "a clinic's figures from transcripts or its data folder: tables, CSV, JSON, or a page to print",
  usage: [
    'smallhours figures FILES… | --data FOLDER   [--month 2026-03] [--clinic FOLDER] [--flows FOLDER]',
    '                   [--csv FOLDER] [--html FILE] [--pictures] [--json]',
    '    Counts below 5 are not shown, nor what would give them away. --csv writes a file a table. --pictures lays over the',
    '    pictures of the flows where families gave up. A month keeps the charts of the year before it.',
    '    0: every case was counted; 1: some could not be gone through, or a file is not as it was written.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      data: { type: 'string' },
      month: { type: 'string' },
      csv: { type: 'string' },
      html: { type: 'string' },
      pictures: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    if ((values.data === undefined) === (positionals.length === 0))
      throw new CalledWrongly('transcripts or --data FOLDER was expected, one of the two')
    if (values.month !== undefined && !/^\d{4}-(0[1-9]|1[0-2])$/.test(values.month))
      throw new CalledWrongly(`--month ${values.month}: a month such as 2026-03 was expected`)
    for (const path of [values.html ?? [], values.csv ?? []].flat()) toBeWritten(path)
    const loaded = readLine(values.clinic, values.flows)
    if (loaded === undefined) return 1
    const source =
      values.data === undefined
        ? await fromTranscripts(filesIn(positionals), loaded)
        : await fromData(values.data, loaded)
    const line = staffLine(loaded.line)
    const { month } = values
    const lacking = nothingToCount(source.summaries, month)
    if (lacking !== undefined) {
      complain(`figures: ${lacking}`)
      return 1
    }
    const tables = monthFigures(source.summaries, month, figureNames(line))
    if (values.json) print(JSON.stringify({ month, leftOut: source.leftOut, faults: source.faults, tables }))
    else if (values.csv === undefined && values.html === undefined) print(tables.map(tableText).join('\n\n'))
    if (values.csv !== undefined) writeCsv(values.csv, tables)
    if (values.html !== undefined) {
      const own = month === undefined ? source.summaries : source.summaries.filter(one => one.month === month)
      const pictures = values.pictures ? abandonedPictures(line, own) : []
      const page = wholeFile(values.html)
      page.write(reportPage({ ...reportHead(line, month, source), tables, pictures }))
      page.finish()
      print(values.html)
    }
    return source.leftOut + source.faults === 0 ? 0 : 1
  },
}

/** Why there are no figures; undefined where there are. */
function nothingToCount(summaries: readonly CaseSummary[], month: string | undefined): string | undefined {
  if (summaries.length === 0) return 'no closed case could be counted, so there are no figures'
  if (month === undefined || summaries.some(one => one.month === month)) return undefined
  const months = summaries.map(one => one.month).toSorted()
  return `no case of ${month} was counted; there are cases from ${months[0]} to ${months.at(-1)}`
}

/** Figures of all, rounded, or of a month with the charts of the twelve months that end with it. */
export function monthFigures(
  summaries: readonly CaseSummary[],
  month: string | undefined,
  names: FigureNames,
): readonly FigureTable[] {
  if (month === undefined) return roundedTables(figuresOf(summaries, names))
  const from = `${Number(month.slice(0, 4)) - 1}${month.slice(4)}`
  return figuresOf(
    summaries.filter(one => one.month === month),
    names,
    summaries.filter(one => one.month > from && one.month <= month),
  )
}

function reportHead(
  line: Line,
  month: string | undefined,
  source: { summaries: readonly CaseSummary[]; leftOut: number },
) {
  const { clinic } = line
  return {
    title: `${clinic.name}: figures ${month === undefined ? 'of all cases' : `of ${month}`}`,
    notes: [
      ...(clinic.demonstration ? ['A demonstration: clinic, families and cases are invented.'] : []),
      ...(source.leftOut === 0 ? [] : [`${source.leftOut} cases could not be gone through and are in no figure.`]),
      month === undefined
        ? 'Counts are rounded to the nearest five and need not add up, so that no month’s small numbers come back by subtraction. Counts from 1 to 4 are not shown.'
        : 'Counts from 1 to 4 are not shown, nor others by which they could be worked out within one table.',
      'Figures say what happened, not why. They support and never replace the clinic’s own judgement and local rules on safety.',
    ],
  }
}

/** Every flow with the share of families that gave up laid over the step at which they did. */
function abandonedPictures(line: Line, cases: readonly CaseSummary[]) {
  const steps = abandonedBySteps(cases)
  return [...line.flows.flows.values()].flatMap(flow => {
    const own = (step: string) => steps.get(`${flow.concern}/${step}`)
    const overlay = {
      title: 'How many came to a step, and how many gave up there; below 5: not shown. Pale: nobody came there',
      markOf: (step: string) => {
        const at = own(step)
        if (at === undefined || at.count === 0) return undefined
        return toldAlone(at.count) === 'hidden' || toldAlone(at.of) === 'hidden'
          ? '< 5 gave up'
          : `${at.count} of ${at.of} gave up`
      },
      isPale: (step: string) => own(step) === undefined,
    }
    const picture = flowPicture(flow, line.flows, line.language)
    return sheetsOf(picture, overlay).map(({ number, of, svg }) => ({
      title: `Where families gave up: ${picture.title}, sheet ${number} of ${of}`,
      svg,
    }))
  })
}

/** A table for a terminal: words to the left, numbers to the right. */
export function tableText({ title, says, head, rows }: FigureTable): string {
  const cells = [head, ...rows.map(row => row.map(cell => String(cellText(cell))))]
  const widths = head.map((_, column) => Math.max(...cells.map(row => (row[column] ?? '').length)))
  const lines = cells.map(row =>
    row
      .map((cell, column) => (column === 0 ? cell.padEnd(widths[0] ?? 0) : cell.padStart(widths[column] ?? 0)))
      .join('  '),
  )
  return [title, says, ...lines.map(line => `  ${line.trimEnd()}`)].join('\n')
}

/** The folder has its name when every table is in it. */
function writeCsv(folder: string, tables: readonly FigureTable[]): void {
  const part = mkdtempSync(`${folder}.part-`)
  try {
    for (const { id, head, rows } of tables)
      writeFileSync(join(part, `${id}.csv`), csvText([head, ...rows.map(row => row.map(cellText))]))
    renameSync(part, folder)
  } finally {
    rmSync(part, { recursive: true, force: true })
  }
  for (const { id } of tables) print(join(folder, `${id}.csv`))
}
