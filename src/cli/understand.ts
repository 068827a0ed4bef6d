import { join } from 'node:path'
import { z } from 'zod'
import { explain } from '../understand/explain.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import { type LabelledMessage, type MessageRow, messageFigures } from '../understand/message-figures.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { labelledLines } from './labelled-lines.ts'
import { lexiconsAmong } from './lexicons.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { timesCommand } from './understand-times.ts'

const lineSchema = z.object({
  id: z.string(),
  lang: z.string().default('en'),
  text: z.string(),
  concern: z.union([z.string(), z.array(z.string())]),
  danger: z.array(z.string()).default([]),
})
export type LabelledLine = z.infer<typeof lineSchema>

export const readMessages = (file: string): LabelledLine[] =>
  labelledLines(file, lineSchema, 'id, lang, text, concern and danger')

export const understandCommand: Command = {
  name: 'understand',
  summary: 'holds the reading of messages, or of words about time, against labelled lines',
  usage: 'smallhours understand [--times] FILE.jsonl [--clinic FOLDER] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      times: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const [file, ...more] = positionals
    if (file === undefined || more.length > 0) throw new CalledWrongly('one file of labelled lines was expected')
    const files = readFlowFiles(SHIPPED_FLOWS, join(values.clinic, 'flows'))
    const lexicons = lexiconsAmong(files)
    if (values.times) return timesCommand(file, files, lexicons, values.json)
    return messagesCommand(readMessages(file), lexicons, values.json)
  },
}

/** Prints figures and rows; 1 when a danger sign is missed. */
function messagesCommand(
  labelled: readonly LabelledLine[],
  lexicons: ReadonlyMap<string, Lexicon>,
  isJson: boolean,
): 0 | 1 {
  const rows = labelled.map(line => rowOf(line, lexicons))
  const figures = messageFigures(labelled, rows)
  const { danger, concern } = figures
  if (isJson) print(JSON.stringify({ figures, rows }))
  else {
    print(`danger: recall ${danger.recall}, precision ${danger.precision}`)
    print(`concern: right ${concern.right}, asked ${concern.asked}, wrong ${concern.wrong}`)
    for (const id of danger.missed) complain(`missed danger in ${id}`)
  }
  return danger.missed.length === 0 ? 0 : 1
}

/** A line in a language without a lexicon is not guessed at: buttons are shown. */
export function rowOf(
  line: LabelledMessage & { readonly lang: string; readonly text: string },
  lexicons: ReadonlyMap<string, Lexicon>,
): MessageRow {
  const lexicon = lexicons.get(line.lang)
  if (lexicon === undefined)
    return { id: line.id, concern: null, danger: [], because: [`no lexicon for "${line.lang}"`] }
  const { concerns, danger, because } = explain(line.text, lexicon)
  return { id: line.id, concern: concerns.length > 1 ? concerns : (concerns[0] ?? null), danger, because }
}
