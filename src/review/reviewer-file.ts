/** Reviewers' scores as a file: CSV, one score a line, for whoever reviews elsewhere or reckons with other means. */
import { DISPOSITIONS } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'
import { isDate, localInstants, localParts } from '../time/local-instants.ts'
import { CsvBroken, type CsvRow, csvText, readCsv } from './csv.ts'
import type { Rubric } from './rubric.ts'
import { type ItemAnswer, mayNotScore, type Score, scoreFaults } from './score.ts'

const FIRST = ['case', 'reviewer', 'at', 'rubric', 'safe', 'should'] as const
const LAST = 'note'
export const NOTE_CHARACTERS_MAX = 1000

const headOf = (rubric: Rubric): readonly string[] => [...FIRST, ...rubric.items.map(({ id }) => id), LAST]

export function reviewerFile(rubric: Rubric, scores: readonly Score[]): string {
  const rows = scores.map(({ caseId, reviewer, at, answers, safe, should, note, rubric: version }) => [
    ...[caseId, reviewer, minuteText(at), version, safe ? 'safe' : 'unsafe', should],
    ...rubric.items.map(({ id }) => answers[id] ?? ''),
    note ?? '',
  ])
  return csvText([headOf(rubric), ...rows])
}

export interface FileFault {
  /** Line of the file, from 1. */
  readonly line: number
  readonly found: string
}

export interface ReadScores {
  /** What may be taken in, in the order of the file. */
  readonly scores: readonly Score[]
  readonly faults: readonly FileFault[]
}

/** What a file is read against. */
export interface ReviewOnRecord {
  readonly rubric: Rubric
  /** Scores there are of a case; undefined where the case is not drawn for review. */
  readonly scoresOf: (caseId: string) => readonly Score[] | undefined
  readonly isReviewer: (id: string) => boolean
  readonly now: Instant
}

/** The first column that is not as it should be; undefined where all are. */
function headFault(fields: readonly string[], expected: readonly string[]): string | undefined {
  if (fields.join() === expected.join()) return undefined
  if (fields.length === 0) return 'the file is empty'
  // As table programs write CSV where the comma is for decimals.
  const other = [';', '\t'].find(sign => fields.join().split(sign).length >= expected.length)
  if (other !== undefined)
    return `columns are parted by ${other === ';' ? 'semicolons' : 'tabs'}: save them parted by commas`
  const at = expected.findIndex((name, index) => fields[index] !== name)
  if (at === -1) return `there are ${fields.length} columns, and ${expected.length} were expected`
  return fields[at] === undefined
    ? `column ${at + 1}, "${expected[at]}", is missing`
    : `column ${at + 1} is "${fields[at].slice(0, 40)}", and "${expected[at]}" was expected`
}

/** Every line is looked at; one with a fault is left out and said, and the others are read on. */
export function readReviewerFile(text: string, record: ReviewOnRecord): ReadScores {
  if (/[\uFFFD\0]/.test(text))
    return { scores: [], faults: [{ line: 1, found: 'the file is not UTF-8 text: save it as CSV in UTF-8' }] }
  let rows: readonly CsvRow[]
  try {
    rows = readCsv(text.replace(/^\uFEFF/, ''))
  } catch (error) {
    if (!(error instanceof CsvBroken)) throw error
    return { scores: [], faults: [{ line: error.line, found: `${error.message}; nothing was read` }] }
  }
  const [head, ...lines] = rows
  const expected = headOf(record.rubric)
  const wrongHead = headFault(head?.fields ?? [], expected)
  if (wrongHead !== undefined)
    return {
      scores: [],
      faults: [{ line: 1, found: `${wrongHead}; the head was expected to be ${expected.join(',')}` }],
    }
  const scores: Score[] = []
  const faults: FileFault[] = []
  for (const { line, fields } of lines) {
    const read = scoreIn(fields, expected, record)
    const own = 'score' in read ? asRecorded(read.score, scores, record) : read.faults
    for (const found of own) faults.push({ line, found })
    if ('score' in read && own.length === 0) scores.push(read.score)
  }
  return { scores, faults }
}

function scoreIn(
  fields: readonly string[],
  head: readonly string[],
  record: ReviewOnRecord,
): { readonly score: Score } | { readonly faults: readonly string[] } {
  if (fields.length !== head.length)
    return { faults: [`${fields.length} fields stand there; ${head.length} were expected`] }
  const value = (name: string) => fields[head.indexOf(name)]?.trim() ?? ''
  const answers = Object.fromEntries(record.rubric.items.map(({ id }) => [id, value(id)]))
  const at = instantIn(value('at'))
  const should = DISPOSITIONS.find(one => one === value('should'))
  const note = value(LAST)
  const faults = [
    ...(at === undefined ? [`at: "${value('at').slice(0, 40)}" is no instant such as 2026-03-02T09:00Z`] : []),
    ...(at !== undefined && at > record.now ? ['at: lies in the future'] : []),
    ...(value('rubric') === String(record.rubric.version)
      ? []
      : [`rubric: version ${value('rubric').slice(0, 20) || 'none'}; ${record.rubric.version} is in force`]),
    ...(['safe', 'unsafe'].includes(value('safe')) ? [] : ['safe: "safe" or "unsafe" was expected']),
    ...(should === undefined ? [`should: one of ${DISPOSITIONS.join(', ')} was expected`] : []),
    ...scoreFaults(record.rubric, answers),
    ...noteFaults(note),
  ]
  if (faults.length > 0 || at === undefined || should === undefined) return { faults }
  return {
    score: {
      ...{ caseId: value('case'), reviewer: value('reviewer'), at, rubric: record.rubric.version },
      ...{ answers: answers as Record<string, ItemAnswer>, safe: value('safe') === 'safe', should },
      ...(note === '' ? {} : { note }),
    },
  }
}

/** A note is about the line, not about a child: what looks like a number or an address is refused. */
export function noteFaults(note: string): readonly string[] {
  if (note.length > NOTE_CHARACTERS_MAX) return [`note: longer than ${NOTE_CHARACTERS_MAX} characters`]
  if (/\d[\d\s().-]{5,}\d/.test(note))
    return ['note: a long number stands in it; numbers that tell who somebody is stay out']
  return /\S+@\S+/.test(note) ? ['note: an address stands in it; what tells who somebody is stays out'] : []
}

/** What stands against a score beside its own shape: who says it, of what, and what there is already. */
function asRecorded(score: Score, earlier: readonly Score[], record: ReviewOnRecord): readonly string[] {
  const { caseId, reviewer } = score
  const there = record.scoresOf(caseId)
  if (there === undefined) return [`case: "${caseId.slice(0, 40)}" is not drawn for review`]
  if (!record.isReviewer(reviewer)) return [`reviewer: "${reviewer.slice(0, 40)}" is nobody who reviews`]
  const why = mayNotScore([...there, ...earlier.filter(one => one.caseId === caseId)], reviewer)
  if (why === 'own') return [`reviewer: ${reviewer} has scored this case already; the first score stands`]
  return why === 'done' ? ['case: two agree, or a third has decided; no more scores are taken'] : []
}

/** To the minute: `2026-03-02T09:00Z`. */
export function minuteText(at: Instant): string {
  const { year, month, day, hour, minute } = localParts(at, 'UTC')
  const two = (part: number) => String(part).padStart(2, '0')
  return `${String(year).padStart(4, '0')}-${two(month)}-${two(day)}T${two(hour)}:${two(minute)}Z`
}

/** Reads what {@link minuteText} writes, with seconds or without. */
function instantIn(text: string): Instant | undefined {
  const [, year, month, day, hour, minute] =
    /^(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d)(?::\d\d(?:\.\d+)?)?Z$/.exec(text)?.map(Number) ?? []
  if (year === undefined || month === undefined || day === undefined || hour === undefined || minute === undefined)
    return undefined
  if (!isDate({ year, month, day }) || hour > 23 || minute > 59) return undefined
  return localInstants({ year, month, day, hour, minute }, 'UTC')[0]
}
