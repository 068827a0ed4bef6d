import type { Instant } from '../time/instant.ts'
import type { Answer } from './answer.ts'
import { factsAt } from './derive.ts'
import { flowOf, type Line } from './line.ts'
import { isLineQuestion } from './line-questions.ts'
import type { CaseState } from './state.ts'

/** A walk longer than this is not worth announcing. */
const MOST = 20

/**
 * About how many questions follow the open one: the way talk takes when it has only just happened, the way is short and
 * everything else is "not sure", up to the first follow-up or rest. A guess for the family's sake; it decides nothing.
 */
export function questionsToCome(line: Line, state: CaseState, at: Instant): number | undefined {
  if (state.open !== undefined && isLineQuestion(state.open.fact)) return undefined
  const flow = flowOf(line, state.concern)
  let walked = state
  const passed = new Set<string>()
  for (let count = -1; count < MOST; ) {
    const step = flow.steps.get(walked.kernel.talk)
    if (step?.ask === undefined || step.again === true || step.quiet === true) return Math.max(0, count)
    // Led in a circle of what is answered already: there is no telling.
    if (passed.has(step.id)) return undefined
    passed.add(step.id)
    if (walked.answers[step.ask] === undefined || count === -1) count++
    const answers = {
      ...walked.answers,
      [step.ask]: walked.answers[step.ask] ?? {
        answer: plainAnswer(line, step.ask, at),
        said: '',
        at,
        changed: false,
        given: false,
      },
    }
    walked = { ...walked, answers, path: { ...walked.path, asked: [...walked.path.asked, step.ask] } }
    walked = {
      ...walked,
      kernel: flow.kernel.step(walked.kernel, { type: 'answered', facts: factsAt(line, walked, at) }).state,
    }
  }
  return undefined
}

function plainAnswer(line: Line, fact: string, at: Instant): Answer {
  const document = line.flows.facts[fact]
  if (document?.['act-at-once'] === true) return { kind: 'many', values: document.apart ?? [] }
  switch (document?.kind) {
    case 'moment':
      return { kind: 'moment', earliest: at, latest: at }
    case 'length':
      return { kind: 'length', atLeastMs: 0, atMostMs: 1 }
    default:
      return { kind: 'unsure' }
  }
}
