import { readFileSync } from 'node:fs'
import { parse } from 'yaml'
import type { CaseSummary } from '../../src/review/case-summary.ts'
import { type Rubric, rubricIn } from '../../src/review/rubric.ts'
import type { Score } from '../../src/review/score.ts'
import { instant, minutes } from '../../src/time/instant.ts'
import { NIGHT } from './a-line.ts'

/** The rubric as shipped. */
export const shippedRubric: Rubric = (() => {
  const file = new URL('../../src/review/rubric.yaml', import.meta.url)
  const read = rubricIn(parse(readFileSync(file, 'utf8')))
  if ('faults' in read) throw new Error(read.faults.join('\n'))
  return read.rubric
})()

/** A closed case of March 2026, answered in five minutes, changed where a test says so. */
export function aSummary(caseId: string, change: Partial<CaseSummary> = {}): CaseSummary {
  return {
    ...{ version: 1, caseId, family: `family-of-${caseId}`, channel: 'web', language: 'en', concern: 'tube-out' },
    ...{ concerns: ['tube-out'], openedAt: NIGHT, month: '2026-03', day: '2026-03-01', hour: 2, closed: true },
    ...{ decided: 'set-out', isRedFlag: false, isUnanswered: false },
    waits: {
      ...{ holding: { ms: minutes(0) }, decision: { ms: minutes(3) }, page: { ms: minutes(3) } },
      ...{ acknowledged: { ms: minutes(5) }, contact: { ms: minutes(9) } },
    },
    ...{ rungs: [true], pages: 1, steps: ['hold'], asked: [], notSure: [], askedAgain: [], alarms: 0, alarmsLate: 0 },
    ...change,
  }
}

/** All yes, safe, to hospital; changed where a test says so. */
export function aScore(reviewer: string, change: Partial<Score> = {}): Score {
  return {
    ...{ caseId: 'c1', reviewer, at: instant(NIGHT + 86_400_000), rubric: shippedRubric.version },
    answers: Object.fromEntries(shippedRubric.items.map(({ id }) => [id, 'yes' as const])),
    ...{ safe: true, should: 'set-out' },
    ...change,
  }
}
