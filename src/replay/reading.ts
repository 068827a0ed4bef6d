/**
 * Reads a transcript one text line at a time and keeps one case in memory. What is wrong is told by line; a case that something
 * is wrong with is left out, and reading goes on with the next. What makes every later line doubtful ends the reading.
 */
import type { Instant } from '../time/instant.ts'
import { chainIn, chainOf, type Hash, NO_CHAIN } from './chain.ts'
import {
  type CaseLine,
  type EditionLine,
  type FlowsLine,
  LINE_SCHEMAS,
  type LineKind,
  type SentLine,
  type StepLine,
  TRANSCRIPT_VERSION,
  type TranscriptHead,
  type TranscriptLine,
} from './transcript.ts'

/** One case as a transcript has it. */
export interface RecordedCase {
  /** Number of its first line. */
  readonly line: number
  readonly head: CaseLine
  readonly steps: readonly StepLine[]
  readonly sent: readonly SentLine[]
}

export type FaultCode =
  | 'not-a-transcript'
  | 'other-version'
  | 'encoding'
  | 'line-ending'
  | 'too-long'
  | 'not-json'
  | 'shape'
  | 'altered'
  | 'chain-broken'
  | 'missing'
  | 'repeated'
  | 'reordered'
  | 'out-of-place'
  | 'future'
  | 'time-backwards'
  | 'unknown-edition'
  | 'case-twice'
  | 'counts'
  | 'cut-off'

export interface TranscriptFault {
  /** Place of the line in the file, from 1. */
  readonly place: number
  readonly code: FaultCode
  /** One sentence: what is wrong and what was expected. Holds none of the line's words. */
  readonly found: string
  /** Nothing after it is read. */
  readonly ends?: true
}

export interface Read {
  readonly faults: readonly TranscriptFault[]
  /** A case that is whole and has no fault; given when the first line after it is read. */
  readonly whole?: RecordedCase
  /** Cases left out because of faults: 0 or 1. */
  readonly leftOut: number
}

/** What the lines read so far tell of the cases to come. */
export interface ReadSoFar {
  readonly head: TranscriptHead | undefined
  readonly editions: ReadonlyMap<string, EditionLine>
  /** Flows that the file brings, by their hash. */
  readonly flows: ReadonlyMap<string, FlowsLine>
}

export interface Reading extends ReadSoFar {
  /** @param text  one line without its `\n`, as it was decoded; `undefined` where it is no UTF-8 */
  take(text: string | undefined): Read
  /** After the last line. */
  end(): Read
  /** Chain of the last line: what a file is known by. */
  readonly chain: string
  /** Nothing more is taken. */
  readonly isOver: boolean
}

export interface ReadingOptions {
  readonly hash: Hash
  /** Lines from later than this are a fault. */
  readonly now: Instant
  /** The text of canonical JSON, for the hashes of editions and flows. */
  readonly canonical: (value: unknown) => string
}

/** Characters of one line that are read; the longest are those that bring flows. */
export const LINE_MOST = 8_000_000

/** A case while it is being read. */
interface Open {
  head: CaseLine
  line: number
  steps: StepLine[]
  sent: SentLine[]
  isFaulty: boolean
}

/** A clock a few minutes ahead of ours is no forgery. */
const AHEAD_MS = 300_000

export function readingOf({ hash, now, canonical }: ReadingOptions): Reading {
  const editions = new Map<string, EditionLine>()
  const flows = new Map<string, FlowsLine>()
  /** Name of the last case: they come in ascending order, so that one that comes twice is found without a memory of all. */
  let lastName = ''
  let head: TranscriptHead | undefined
  let place = 0
  let before = NO_CHAIN
  /** Number of the last line that could be read. */
  let number = 0
  /** Lines since then that could not be read: whether they were damaged or put in, the next that can be tells. */
  let unread = 0
  /** Chain of the last of them, where that much could be read. */
  let unreadChain: string | undefined
  let open: Open | undefined
  let isOver = false
  let isEnded = false
  /** Since the last line that fitted the chain. */
  let faultyBefore = false
  const counted = { cases: 0, steps: 0, caseLines: 0 }
  let faults: TranscriptFault[] = []

  const fault = (code: FaultCode, found: string, ends?: true) => {
    faults.push({ place, code, found, ...(ends === undefined ? {} : { ends }) })
    if (open !== undefined) open.isFaulty = true
    if (ends === true) isOver = true
  }

  /** Ends the case that is open; it is given where nothing is wrong with it. */
  function closed(): Pick<Read, 'whole' | 'leftOut'> {
    const ended = open
    open = undefined
    if (ended === undefined) return { leftOut: 0 }
    counted.cases += 1
    counted.steps += ended.steps.length
    if (!ended.isFaulty && ended.steps.length === 0) {
      faults.push({
        place: ended.line,
        code: 'missing',
        found: 'a case without a step: at least its opening was expected',
      })
      return { leftOut: 1 }
    }
    if (ended.isFaulty) return { leftOut: 1 }
    const { isFaulty: _not, ...whole } = ended
    return { whole, leftOut: 0 }
  }

  const done = (rest: Pick<Read, 'whole' | 'leftOut'> = { leftOut: 0 }): Read => {
    const found = faults
    faults = []
    return { faults: found, ...rest }
  }

  /** A line that fits on past those that could not be read shows that they were put in; otherwise they stood for lines of the file. */
  function pastUnread(body: string, chain: string, line: number): void {
    const isPutIn = line === number + 1 && chainOf(before, body, hash) === chain
    if (!isPutIn) {
      if (open !== undefined) open.isFaulty = true
      const stoodFor = Math.min(unread, Math.max(0, line - number - 1))
      number += stoodFor
      faultyBefore = stoodFor > 0 && unreadChain === undefined
      if (stoodFor > 0) before = unreadChain ?? before
    }
    unread = 0
    unreadChain = undefined
  }

  /** The line's text against the chain, and its number against the one before. False where it is not to be used. */
  function follows(body: string, chain: string, line: number): boolean {
    if (unread > 0) pastUnread(body, chain, line)
    const isIntact = chainOf(before, body, hash) === chain
    const expected = number + 1
    // The next line is judged by what this one says of itself: one altered line is one fault.
    if (line > number) before = chain
    if (line === expected) {
      number = line
      if (isIntact) {
        faultyBefore = false
        return true
      }
      // Behind a line that could not be read its chain cannot be known.
      if (faultyBefore) {
        faultyBefore = false
        fault('chain-broken', `line ${line} does not follow from a line that could be read`)
        return false
      }
      fault(
        'altered',
        `line ${line} is not as it was written, or the one before it is another than the one it followed`,
      )
      return false
    }
    faultyBefore = false
    if (line > expected) {
      number = line
      fault(
        'missing',
        line - expected === 1
          ? `line ${expected} is missing before line ${line}`
          : `lines ${expected} to ${line - 1} are missing before line ${line}`,
      )
      return false
    }
    fault(
      line === number ? 'repeated' : 'reordered',
      line === number ? `line ${line} stands here a second time` : `line ${line} stands where line ${expected} belongs`,
    )
    return false
  }

  function first(line: TranscriptLine): void {
    if (line.kind !== 'transcript') {
      fault('not-a-transcript', `a line "transcript" was expected first, and this is "${line.kind}"`, true)
      return
    }
    head = line
    if (line.kept.length > 0 && (line.purpose ?? '').trim() === '')
      fault('shape', 'words, names or numbers were kept, and no purpose is named')
    if (line.madeAt > now + AHEAD_MS) fault('future', 'the file says that it was made at an instant that has not come')
  }

  function isHashed(line: EditionLine | FlowsLine): boolean {
    const [named, content] = line.kind === 'edition' ? [line.edition, line.content] : [line.flows, line.content]
    if (hash(canonical(content)) === named) return true
    fault('altered', `the content of "${line.kind}" is not what its hash is of`)
    return false
  }

  function ofCase(line: StepLine | SentLine): void {
    if (open === undefined || open.head.case !== line.case) {
      fault('out-of-place', `a line "${line.kind}" of a case whose line "case" does not stand before it`)
      return
    }
    if (line.kind === 'sent') {
      open.sent.push(line)
      return
    }
    if (open.sent.length > 0) fault('out-of-place', 'a step after what was sent: all steps were expected first')
    const last = open.steps.at(-1)
    const expected = (last?.seq ?? 0) + 1
    if (line.seq !== expected)
      fault(
        line.seq < expected ? 'repeated' : 'missing',
        `step ${line.seq} of its case stands where step ${expected} was expected`,
      )
    if (last !== undefined && line.at < last.at)
      fault('time-backwards', `step ${line.seq} is earlier than the one before it`)
    if (line.at > now + AHEAD_MS) fault('future', `step ${line.seq} is at an instant that has not come`)
    if (!editions.has(line.edition)) fault('unknown-edition', 'a step names an edition that no line before it brings')
    if ((line.event.kind === 'caseOpened') !== (line.seq === 1))
      fault('out-of-place', 'the first step of a case, and no other, was expected to be "caseOpened"')
    open.steps.push(line)
  }

  function begun(line: CaseLine): void {
    counted.caseLines += 1
    open = { head: line, line: place, steps: [], sent: [], isFaulty: false }
    if (line.case === lastName) fault('case-twice', 'a case of this name stands before it')
    else if (line.case < lastName) fault('reordered', 'cases were expected in ascending order of their names')
    else lastName = line.case
    if (line.openedAt > now + AHEAD_MS) fault('future', 'the case was opened at an instant that has not come')
  }

  function taken(line: TranscriptLine): Read {
    switch (line.kind) {
      case 'transcript':
        fault('out-of-place', 'a second line "transcript": two files were put one behind the other', true)
        return done()
      case 'edition': {
        const ended = closed()
        if (isHashed(line)) editions.set(line.edition, line)
        return done(ended)
      }
      case 'flows': {
        const ended = closed()
        if (isHashed(line)) flows.set(line.flows, line)
        return done(ended)
      }
      case 'case': {
        const ended = closed()
        begun(line)
        return done(ended)
      }
      case 'step':
      case 'sent':
        ofCase(line)
        return done()
      case 'end': {
        const ended = closed()
        isEnded = true
        if (line.cases !== counted.caseLines || line.steps !== counted.steps)
          fault(
            'counts',
            `${line.cases} cases and ${line.steps} steps were written, ${counted.caseLines} and ${counted.steps} were read`,
          )
        return done(ended)
      }
    }
  }

  /** A line that tells nothing: what it stood for, the next line that can be read tells. */
  function unreadable(code: FaultCode, found: string, text = ''): Read {
    unread += 1
    unreadChain = chainIn(text)?.chain
    faults.push({ place, code, found, ...(head === undefined && place === 1 ? { ends: true } : {}) })
    if (head === undefined && place === 1) isOver = true
    return done()
  }

  return {
    take(raw) {
      if (isOver) return done()
      place += 1
      if (raw === undefined)
        return unreadable('encoding', 'bytes that are no UTF-8: the file is in another encoding, or damaged')
      if (isEnded) {
        fault('out-of-place', 'a line behind the end of the file', true)
        return done()
      }
      let text = raw
      if (place === 1 && text.startsWith('\uFEFF')) {
        fault('encoding', 'the file begins with a byte order mark: plain UTF-8 was expected')
        text = text.slice(1)
      }
      if (text.endsWith('\r')) {
        if (place === 1)
          fault('line-ending', 'lines end in carriage return and line feed: line feed alone was expected')
        text = text.slice(0, -1)
      }
      if (text.length > LINE_MOST)
        return unreadable('too-long', `a line of ${text.length} characters: ${LINE_MOST} at most were expected`)
      if (text.trim() === '') return unreadable('not-json', 'an empty line, which no transcript has')
      // Every other byte of a plain text in UTF-16 is zero.
      if (text.includes('\0')) return unreadable('encoding', 'not UTF-8: perhaps UTF-16, or no text at all')
      const parsed = parsedLine(text)
      if (parsed === undefined)
        return unreadable('not-json', 'no JSON object: the line is damaged, or this is no transcript', text)
      if (head === undefined && place === 1 && !isOurs(parsed)) {
        fault('not-a-transcript', 'the first line is no head of a transcript', true)
        return done()
      }
      if (place === 1 && Number(parsed.version) !== TRANSCRIPT_VERSION) {
        fault(
          'other-version',
          `version ${TRANSCRIPT_VERSION} was expected: read it with the release that wrote it`,
          true,
        )
        return done()
      }
      const chained = chainIn(text)
      const read = shaped(parsed)
      if (chained === undefined || 'fault' in read)
        return unreadable('shape', 'fault' in read ? read.fault : 'no chain at its end', text)
      if (!follows(chained.body, chained.chain, read.line.line)) {
        // What it says is not used; a case begins all the same, so that what follows is told of the right one.
        if (read.line.kind !== 'case') return done()
        const ended = closed()
        begun(read.line)
        if (open !== undefined) open.isFaulty = true
        return done(ended)
      }
      if (place === 1) {
        first(read.line)
        return done()
      }
      return taken(read.line)
    },
    end() {
      if (!isOver && !isEnded) {
        place += 1
        const isCut = open !== undefined
        fault(
          'cut-off',
          place === 1
            ? 'an empty file: a transcript has at least its head and its end'
            : `no line "end": the file was cut off after line ${place - 1}${isCut ? ', in a case' : ''}`,
        )
      }
      const ended = closed()
      isOver = true
      return done(ended)
    },
    get head() {
      return head
    },
    editions,
    flows,
    get chain() {
      return before
    },
    get isOver() {
      return isOver
    },
  }
}

const isOurs = (parsed: Readonly<Record<string, unknown>>): boolean => parsed.kind === 'transcript'

function parsedLine(text: string): Readonly<Record<string, unknown>> | undefined {
  try {
    const value: unknown = JSON.parse(text)
    return typeof value === 'object' && value !== null && !Array.isArray(value)
      ? (value as Readonly<Record<string, unknown>>)
      : undefined
  } catch {
    return undefined
  }
}

function shaped(parsed: Readonly<Record<string, unknown>>): { line: TranscriptLine } | { fault: string } {
  const { kind } = parsed
  if (typeof kind !== 'string' || !Object.hasOwn(LINE_SCHEMAS, kind))
    return { fault: `a kind of line that is not known: ${Object.keys(LINE_SCHEMAS).join(', ')} were expected` }
  const read = LINE_SCHEMAS[kind as LineKind].safeParse(parsed)
  // As it was parsed: what is compared to the byte keeps the order of its keys.
  if (read.success) return { line: parsed as unknown as TranscriptLine }
  const [issue] = read.error.issues
  const where = issue === undefined || issue.path.length === 0 ? kind : `${kind}.${issue.path.join('.')}`
  return { fault: `${where.slice(0, 120)}: ${(issue?.message ?? 'not what was expected').slice(0, 200)}` }
}
