import { Duration } from 'luxon'
import { z } from 'zod'
import { type FactDocument, factsFileSchema } from '../flow/document.ts'
import type { FlowFiles } from '../flow/load.ts'
import { readYaml } from '../flow/yaml-places.ts'
import { instant } from '../time/instant.ts'
import { readDate, readDuration, readMoment } from '../time/phrases.ts'
import { isUnsure } from '../understand/choice.ts'
import { type Lexicon, lexiconIn } from '../understand/lexicon.ts'
import { timeIn } from '../understand/moment.ts'
import { readingOf } from '../understand/pattern.ts'
import { plainOf } from '../understand/plain.ts'
import { type Ends, type TimeKind, type TimeVerdict, timeFigures, timeVerdict } from '../understand/time-figures.ts'
import { tokensOf } from '../understand/token.ts'
import { CalledWrongly, complain, print } from './command.ts'
import { labelledLines } from './labelled-lines.ts'

const UNUSABLE = 'unusable'

const lineSchema = z.object({
  id: z.string(),
  lang: z.string().default('en'),
  question: z.string(),
  text: z.string(),
  askedAt: z.iso.datetime({ offset: true }),
  zone: z.string(),
  interval: z.union([z.tuple([z.string(), z.string()]), z.literal(UNUSABLE)]),
})
export type TimeLine = z.infer<typeof lineSchema>

export const readTimeLines = (file: string): TimeLine[] =>
  labelledLines(file, lineSchema, 'id, lang, question, text, askedAt, zone and interval')

export interface TimeRow {
  readonly id: string
  readonly verdict: TimeVerdict
  /** As read: ISO instants, or ISO durations of a length; null where it is asked again. */
  readonly read: readonly [string, string] | null
}

/** Prints figures and rows; 1 when words were read milder than they are. */
export function timesCommand(
  file: string,
  files: FlowFiles,
  lexicons: ReadonlyMap<string, Lexicon>,
  isJson: boolean,
): 0 | 1 {
  const facts = factsIn(files)
  const rows = readTimeLines(file).map(line => timeRow(line, facts, lexicons))
  const figures = timeFigures(rows.map(({ verdict }) => verdict))
  if (isJson) print(JSON.stringify({ figures, rows }))
  else {
    print(`right ${figures.right}, asked ${figures.asked}, unsafe ${figures.unsafe}, wide ${figures.wide}`)
    for (const { id, verdict } of rows) if (verdict === 'unsafe') complain(`read milder than it is: ${id}`)
  }
  return figures.unsafe === 0 ? 0 : 1
}

export function factsIn(files: FlowFiles): Readonly<Record<string, FactDocument>> {
  const { yaml } = readYaml('shared/facts.yaml', files.get('shared/facts.yaml') ?? '')
  return factsFileSchema.parse(yaml?.value).facts
}

const KINDS: Readonly<Record<string, TimeKind>> = { moment: 'moment', date: 'date', length: 'length' }

/** Reads the words as the answer to the question, as a family's are read. "Not sure" counts as asked again. */
export function timeRow(
  line: TimeLine,
  facts: Readonly<Record<string, FactDocument>>,
  lexicons: ReadonlyMap<string, Lexicon>,
): TimeRow {
  const kind = KINDS[facts[line.question]?.kind ?? '']
  if (kind === undefined)
    throw new CalledWrongly(
      `${line.id}: "${line.question}" is no question about a time: a moment, date or length of flows/shared/facts.yaml was expected`,
    )
  const read = readAs(kind, line, lexiconIn(lexicons, line.lang))
  const write = kind === 'length' ? (ms: number) => Duration.fromMillis(ms).rescale().toISO() : isoInstant
  return {
    id: line.id,
    verdict: timeVerdict(kind, labelOf(kind, line), read),
    read: read === undefined ? null : [write(read.from), write(read.to)],
  }
}

const isoInstant = (ms: number): string => new Date(ms).toISOString()

function labelOf(kind: TimeKind, { id, interval }: TimeLine): Ends | undefined {
  if (interval === UNUSABLE) return undefined
  const [from, to] = interval.map(text => (kind === 'length' ? Duration.fromISO(text).toMillis() : Date.parse(text)))
  if (from === undefined || to === undefined || Number.isNaN(from) || Number.isNaN(to))
    throw new CalledWrongly(
      `${id}: interval ${interval.join(' – ')}: two ISO instants, or ISO durations for a length, were expected`,
    )
  return { from, to }
}

function readAs(kind: TimeKind, line: TimeLine, lexicon: Lexicon): Ends | undefined {
  const plain = plainOf(line.text)
  if (isUnsure(readingOf(tokensOf(plain), lexicon.vocabulary), lexicon)) return undefined
  const accepts = kind === 'length' ? 'duration' : kind
  const context = { at: instant(Date.parse(line.askedAt)), zone: line.zone, language: line.lang }
  const timed = timeIn(plain, accepts, { readMoment, readDate, readDuration }, context)
  if (timed.kind === 'misread') return undefined
  const { answer } = timed
  if (answer.kind === 'moment') return { from: answer.earliest, to: answer.latest }
  return answer.kind === 'length' ? { from: answer.atLeastMs, to: answer.atMostMs } : undefined
}
