import { createHash } from 'node:crypto'
import type { Line } from '../case/line.ts'
import { canonicalText } from '../flow/content.ts'
import { lineWriter } from '../replay/chain.ts'
import { editionOf } from '../replay/edition.ts'
import { KEEPS_ALL, type Names } from '../replay/names.ts'
import { type NewLine, TRANSCRIPT_VERSION } from '../replay/transcript.ts'
import type { CaseRecord } from '../review/case-record.ts'
import { type CaseSummary, summaryOf } from '../review/case-summary.ts'
import { drawnYear } from '../review/drawn-year.ts'
import { recordLines } from '../review/record-lines.ts'
import { instant } from '../time/instant.ts'

/** Cases of any number: a small invented year, told again and again under new ids. Nothing of it is held but the small year. */
export interface ManyCases {
  /** Lines of a whole transcript, without their ends. */
  lines(count: number): Generator<string>
  summaries(count: number): Generator<CaseSummary>
}

const SEED = 'many-cases'
const YEAR = 2025

/** @param small  cases of the small year: a file of fewer is no repetition */
export function manyCases(line: Line, small: number): ManyCases {
  const records = [...drawnYear(line, { seed: SEED, year: YEAR, cases: small, hash })]

  return {
    *lines(count) {
      const writer = lineWriter(hash)
      const content = JSON.parse(JSON.stringify(editionOf(line, KEEPS_ALL)))
      const edition = hash(canonicalText(content))
      const drawn = records.map(record => JSON.stringify(recordLines(line, record, INVENTED, edition)))
      yield writer.write({
        ...{ kind: 'transcript', version: TRANSCRIPT_VERSION, madeAt: instant(Date.UTC(YEAR + 1, 0, 1)) },
        ...{ software: 'measure', kept: [] },
      })
      yield writer.write({ kind: 'edition', edition, content })
      let steps = 0
      for (const { record, index, round } of repeated(count)) {
        const again = renamed(record, drawn[index] ?? '[]', round)
        for (const one of JSON.parse(again) as readonly NewLine[]) yield writer.write(one)
        steps += record.steps.length
      }
      yield writer.write({ kind: 'end', cases: count, steps })
    },
    *summaries(count) {
      const drawn = records.map(record => JSON.stringify(summaryOf(() => line, record)))
      for (const { record, index, round } of repeated(count))
        yield JSON.parse(renamed(record, drawn[index] ?? '{}', round)) as CaseSummary
    },
  }

  function* repeated(count: number) {
    for (let told = 0; told < count; told += 1) {
      const index = told % records.length
      const record = records[index]
      if (record !== undefined) yield { record, index, round: Math.floor(told / records.length) }
    }
  }

  /** Ids begin with the number of the case in eight digits, so that they ascend as a transcript's have to. */
  function renamed({ caseId, family }: CaseRecord, text: string, round: number): string {
    const number = Number.parseInt(caseId.slice(0, 8), 16) + round * records.length
    return text
      .replaceAll(caseId, `${number.toString(16).padStart(8, '0')}${caseId.slice(8)}`)
      .replaceAll(family, `${round.toString(16).padStart(4, '0')}${family.slice(4)}`)
  }
}

/** Everybody in it is invented. */
const INVENTED: Names = { ...KEEPS_ALL, family: (_channel, chat) => chat }

const hash = (text: string): string => createHash('sha256').update(text).digest('hex')
