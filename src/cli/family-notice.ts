import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { type LineNotice, noticeWords } from '../http/console/notice-page.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { numberText } from '../oncall/number-text.ts'
import type { Instant } from '../time/instant.ts'
import { momentText } from './now-view.ts'

/** What a notice to families is filled with, in the language the line speaks. */
export function familyValues(line: Line, { until }: LineNotice, at: Instant): Record<string, string> {
  const { clinic, emergency } = familyNumbers(line.clinic, line.language)
  return {
    clinicName: line.clinic.name,
    clinicNumber: numberText(clinic.number),
    emergency: numberText(emergency.number),
    hasUntil: until === undefined ? 'no' : 'yes',
    until: until === undefined ? '' : momentText(line, until, at),
  }
}

/** The notice as a family reads it; nothing where there is none. */
export function familyNotice(
  notice: LineNotice | undefined,
  line: Line,
  wording: Wording,
  at: Instant,
): readonly string[] {
  return notice === undefined ? [] : noticeWords(notice, wording, familyValues(line, notice, at))
}
