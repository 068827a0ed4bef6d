import { readFileSync } from 'node:fs'
import { z } from 'zod'
import { systemClock } from '../runtime/system-clock.ts'
import { explain } from '../understand/explain.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'

const lineSchema = z.object({
  id: z.string(),
  lang: z.string().default('en'),
  text: z.string(),
  concern: z.union([z.string(), z.array(z.string())]),
  danger: z.array(z.string()).default([]),
})
type Labelled = z.infer<typeof lineSchema>

interface Row {
  readonly id: string
  /** Null: buttons are shown. Several: most urgent first. */
  readonly concern: string | readonly string[] | null
  readonly danger: readonly string[]
  readonly because: readonly string[]
}

export const understandCommand: Command = {
  name: 'understand',
  summary: 'holds the reading of first messages against labelled lines; exit 1 when a danger sign is missed',
  usage: 'smallhours understand FILE.jsonl [--clinic FOLDER] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      json: { type: 'boolean', default: false },
    })
    const [file] = positionals
    if (file === undefined) throw new CalledWrongly('a file of labelled lines was expected')
    const { loaded, problems } = loadLine({ clinicDir: values.clinic, at: systemClock().now() })
    if (loaded === undefined) {
      reportProblems(problems)
      return 1
    }
    const labelled = readLabelled(file)
    const rows = labelled.map(line => rowOf(line, loaded.lexicon, loaded.line.language))
    const figures = figuresOf(labelled, rows)
    if (values.json) print(JSON.stringify({ figures, rows }))
    else {
      print(`danger: recall ${figures.danger.recall}, precision ${figures.danger.precision}`)
      print(`concern: right ${figures.concern.right}, asked ${figures.concern.asked}, wrong ${figures.concern.wrong}`)
      for (const id of figures.danger.missed) complain(`missed danger in ${id}`)
    }
    return figures.danger.missed.length === 0 ? 0 : 1
  },
}

function readLabelled(file: string): Labelled[] {
  return readFileSync(file, 'utf8')
    .split('\n')
    .flatMap((text, index) => (text.trim() === '' ? [] : [labelledLine(file, text, index + 1)]))
}

function labelledLine(file: string, text: string, number: number): Labelled {
  try {
    return lineSchema.parse(JSON.parse(text))
  } catch (cause) {
    const why = cause instanceof z.ZodError ? z.prettifyError(cause) : 'not JSON'
    throw new CalledWrongly(
      `${file}:${number}: ${why}; one JSON object a line was expected, with id, text, concern and danger`,
    )
  }
}

/** Lines in another language than the lexicon's are not guessed at: buttons are shown. */
function rowOf(line: Labelled, lexicon: Lexicon, language: string): Row {
  if (line.lang !== language) return { id: line.id, concern: null, danger: [], because: [] }
  const { concerns, danger, because } = explain(line.text, lexicon)
  return { id: line.id, concern: concerns.length > 1 ? concerns : (concerns[0] ?? null), danger, because }
}

/**
 * Shares of signs, and numbers of lines. A line counts as missed when any of its signs is not found; a concern is right
 * when the one asked about first is among those labelled.
 */
export function figuresOf(labelled: readonly Labelled[], rows: readonly Row[]) {
  let found = 0
  let labelledSigns = 0
  let said = 0
  const missed: string[] = []
  const falseAlarms: string[] = []
  const concern = { right: 0, asked: 0, wrong: 0, rightOrAsked: 0 }
  labelled.forEach((line, index) => {
    const row = rows[index]
    if (row === undefined) return
    const hits = line.danger.filter(sign => row.danger.includes(sign)).length
    found += hits
    labelledSigns += line.danger.length
    said += row.danger.length
    if (hits < line.danger.length) missed.push(line.id)
    if (row.danger.some(sign => !line.danger.includes(sign))) falseAlarms.push(line.id)
    const [first] = [row.concern ?? []].flat()
    if (first === undefined) concern.asked++
    else if ([line.concern].flat().includes(first)) concern.right++
    else concern.wrong++
  })
  concern.rightOrAsked = concern.right + concern.asked
  return {
    danger: {
      recall: labelledSigns === 0 ? 1 : found / labelledSigns,
      precision: said === 0 ? 1 : found / said,
      missed,
      false: falseAlarms,
    },
    concern,
  }
}
