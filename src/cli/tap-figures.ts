/** How many taps a family needs, from the checker's walk: one a question, over all ways of answering. */
import type { FlowReport } from '../modelcheck/rules/findings.ts'

type Walked = Pick<FlowReport, 'questions' | 'policies'>

/**
 * "at most 3, middle 1", over every setting that was walked. The most is exact: no way of answering needs more. The middle is
 * that of the first setting walked, as shipped: half of all ways of answering need no more, where answers that nothing
 * tells apart are one and each way counts once, however rare it is at night.
 */
export function tapText(walked: readonly Walked[], until: keyof FlowReport['questions']): string {
  const figures = walked.map(({ questions }) => questions[until]).filter(({ worst }) => worst !== -1)
  const [first] = figures
  if (first === undefined) return 'never'
  return `at most ${Math.max(...figures.map(({ worst }) => worst))}, middle ${first.median}`
}

/** One line for a flow; none where it was not walked whole. */
export function tapLine(walked: readonly Walked[]): string | undefined {
  if (walked.length === 0 || walked.every(({ questions }) => questions.toRest.worst === -1)) return undefined
  return `taps to the first advice: ${tapText(walked, 'toAdvice')}; to a decision: ${tapText(walked, 'toDecision')}`
}
