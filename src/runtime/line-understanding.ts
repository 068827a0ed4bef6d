import type { Answer } from '../case/answer.ts'
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
  const labels = labelsOf(line)
  return ({ body, state, at }) => {
    const question = state?.open === undefined ? undefined : openQuestion(line, state, state.open, at)
    const fact = question === undefined ? undefined : line.flows.facts[question.fact]
    return understand(body, {
      ...given,
      at,
      zone: line.clinic.zone,
      ...(question === undefined ? {} : { question, otherLabels: labels(state?.concern ?? '', question.fact) }),
      ...(state === undefined ? {} : { answers: answersOf(state) }),
      ...(body.kind === 'choice' ? labelTapped(line, state as CaseState | undefined, body.serial) : {}),
      ...(question === undefined || fact === undefined ? {} : { fact: { ...fact, id: question.fact } }),
      readBack: state?.open?.readBack !== undefined,
    })
  }
}

function answersOf(state: RunningCase): Readonly<Record<string, Answer>> {
  const { answers } = state as CaseState
  return Object.fromEntries(Object.entries(answers).map(([fact, { answer }]) => [fact, answer]))
}

/** Labels of the question that a tap belongs to, by its serial. */
function labelTapped(
  line: Line,
  state: CaseState | undefined,
  serial: number,
): Pick<UnderstandContext, 'tappedLabel'> | undefined {
  const fact = state?.askedBySerial?.[serial]
  if (state === undefined || fact === undefined) return undefined
  const wording = wordingOf(line, state.concern)
  const ids = (value: string) => [`option/${fact}/${value}`, `option/${value}`]
  return {
    tappedLabel: value => {
      const id = ids(value).find(one => wording.has(one))
      return id === undefined ? undefined : wording.text(id)
    },
  }
}

/** Labels of the answers to every question of a concern but one; read once for each concern. */
function labelsOf(line: Line): (concern: string, fact: string) => readonly string[] {
  const known = new Map<string, readonly { readonly fact: string; readonly label: string }[]>()
  const read = (concern: string) => {
    const wording = wordingOf(line, concern)
    return [...wording.ids].flatMap(id => {
      const [kind, fact, value] = id.split('/')
      if (kind !== 'option' || fact === undefined || value === undefined) return []
      // A label that has to be filled in is no words to compare with.
      const label = wording.source(id) ?? ''
      return label.includes('{') ? [] : [{ fact, label }]
    })
  }
  return (concern, asked) => {
    const all = known.get(concern) ?? read(concern)
    known.set(concern, all)
    return all.flatMap(({ fact, label }) => (fact === asked ? [] : [label]))
  }
}

function openQuestion(line: Line, state: RunningCase, open: { serial: number; fact: string }, at: Instant): Question {
  const whole = state as CaseState
  return questionOf(line, whole, open.serial, open.fact, wordingOf(line, whole.concern), at)
}
