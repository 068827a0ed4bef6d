import type { Line } from '../case/line.ts'
import type { Names } from '../replay/names.ts'
import { caseLines } from '../replay/record.ts'
import type { NewLine } from '../replay/transcript.ts'
import type { CaseRecord } from './case-record.ts'

/** The lines of a case that was drawn and played, as a transcript has them. @param edition  hash of the line's edition */
export function recordLines(
  line: Pick<Line, 'hashes'>,
  { caseId, channel, family, closed, concern, language, steps }: CaseRecord,
  names: Names,
  edition: string,
): readonly NewLine[] {
  const flow = line.hashes?.get(concern)
  const numbered = steps.map(({ at, event, effects }, index) => {
    const spoken = index === 0 && language !== undefined ? { ...event, inLanguage: language } : event
    return { seq: index + 1, at, event: spoken, effects }
  })
  return caseLines(
    {
      ...{ channel, chat: family, closed, steps: numbered, sent: [] },
      ...(flow === undefined ? {} : { flow }),
    },
    { names: { ...names, caseId }, keepsNames: false, keepsTexts: false, editionAt: () => edition },
  )
}
