import { type Line, wordingOf } from '../case/line.ts'
import type { Question } from '../case/message.ts'
import { questionOf } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import type { Instant } from '../time/instant.ts'
import type { UnderstandContext } from '../understand/understand.ts'
import { understand } from '../understand/understand.ts'
import type { RunningCase } from './machine.ts'
import type { Understand } from './understanding.ts'

/** Reads messages with the words of one line: its lexicon, its zone, and the open question as the family sees it. */
export function lineUnderstanding(
  line: Line,
  given: Pick<UnderstandContext, 'lexicon' | 'defaultRegion' | 'times'>,
): Understand {
  return ({ body, state, at }) => {
    const question = state?.open === undefined ? undefined : openQuestion(line, state, state.open, at)
    const fact = question === undefined ? undefined : line.flows.facts[question.fact]
    return understand(body, {
      ...given,
      at,
      zone: line.clinic.zone,
      ...(question === undefined ? {} : { question }),
      ...(question === undefined || fact === undefined ? {} : { fact: { ...fact, id: question.fact } }),
      readBack: state?.open?.readBack !== undefined,
    })
  }
}

function openQuestion(line: Line, state: RunningCase, open: { serial: number; fact: string }, at: Instant): Question {
  const whole = state as CaseState
  return questionOf(line, whole, open.serial, open.fact, wordingOf(line, whole.concern), at)
}
