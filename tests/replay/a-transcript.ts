import { createHmac } from 'node:crypto'
import type { Line } from '../../src/case/line.ts'
import { canonicalText } from '../../src/flow/content.ts'
import { type Hash, lineWriter } from '../../src/replay/chain.ts'
import { editionOf } from '../../src/replay/edition.ts'
import { KEEPS_ALL, type Names } from '../../src/replay/names.ts'
import { type Read, type Reading, readingOf } from '../../src/replay/reading.ts'
import { caseLines } from '../../src/replay/record.ts'
import { type NewLine, TRANSCRIPT_VERSION } from '../../src/replay/transcript.ts'
import { sha256 } from '../../src/runtime/system-clock.ts'
import { hours, type Instant, instant } from '../../src/time/instant.ts'
import { NIGHT } from '../support/a-line.ts'
import type { CaseTalk } from '../support/case-talk.ts'

export const hash: Hash = sha256

const keyed = (text: string) => createHmac('sha256', 'a key of the test').update(text).digest('hex').slice(0, 12)

/** Names as an export makes them, with a key of the test. */
export const HIDDEN: Names = {
  case: id => `c-${keyed(id)}`,
  family: (channel, chat) => `f-${keyed(`${channel} ${chat}`)}`,
  person: id => `p-${keyed(id)}`,
  personName: () => 'somebody of the clinic',
  clinic: () => 'the clinic',
  number: () => '+12125550100',
  words: said => (said === '' ? '' : '[taken out]'),
  familyNumber: (_caseId, number) => `number-${keyed(number)}`,
}

/** The lines of a transcript of these talks, all on one line of the clinic. Without a line end. */
export function transcriptOf(
  line: Line,
  talks: readonly CaseTalk[],
  { names = KEEPS_ALL, hashes }: { names?: Names; hashes?: ReadonlyMap<string, string> } = {},
): string[] {
  const writer = lineWriter(hash)
  const content = editionOf(line, names)
  const edition = hash(canonicalText(content))
  const kept = names === KEEPS_ALL
  const lines: NewLine[] = [
    {
      kind: 'transcript',
      version: TRANSCRIPT_VERSION,
      madeAt: instant(NIGHT + hours(24)),
      software: 'test',
      kept: kept ? ['words', 'names', 'numbers'] : [],
      ...(kept ? { purpose: 'a test' } : {}),
    },
    { kind: 'edition', edition, content: JSON.parse(JSON.stringify(content)) },
  ]
  const cases = talks.map(talk => {
    const { caseId, chat, concern, closed } = talk.state
    const flow = hashes?.get(concern)
    return caseLines(
      {
        ...chat,
        closed,
        ...(flow === undefined ? {} : { flow }),
        steps: talk.log.map(({ event, at, effects }, index) => ({ seq: index + 1, at, event, effects })),
        sent: [],
      },
      { names: { ...names, caseId }, keepsNames: kept, keepsTexts: kept, editionAt: () => edition },
    )
  })
  const inOrder = cases.toSorted((a, b) => (nameOf(a) < nameOf(b) ? -1 : 1)).flat()
  const steps = inOrder.filter(one => one.kind === 'step').length
  return [...lines, ...inOrder, { kind: 'end' as const, cases: talks.length, steps }].map(one => writer.write(one))
}

const nameOf = (lines: readonly NewLine[]): string => {
  const [first] = lines
  return first?.kind === 'case' ? first.case : ''
}

/** Reads lines to the end: the reading, what was whole, and every fault. */
export function readAll(
  lines: readonly (string | undefined)[],
  now: Instant = instant(NIGHT + hours(48)),
): { reading: Reading; whole: NonNullable<Read['whole']>[]; faults: Read['faults'][number][]; leftOut: number } {
  const reading = readingOf({ hash, now, canonical: canonicalText })
  const reads = [...lines.map(line => reading.take(line)), reading.end()]
  return {
    reading,
    whole: reads.flatMap(({ whole }) => whole ?? []),
    faults: reads.flatMap(({ faults }) => faults),
    leftOut: reads.reduce((sum, { leftOut }) => sum + leftOut, 0),
  }
}

/** Writes lines anew with a right chain: for a file that is wrong and whose chain is not. */
export function rechained(lines: readonly Readonly<Record<string, unknown>>[]): string[] {
  const writer = lineWriter(hash)
  return lines.map(({ line: _line, chain: _chain, ...rest }) => writer.write(rest as unknown as NewLine))
}

export const parsed = (lines: readonly string[]): Record<string, unknown>[] =>
  lines.map(line => JSON.parse(line) as Record<string, unknown>)
