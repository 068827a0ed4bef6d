/** What a family's page shows of its chat: the log, the open question, answers that can be changed, the desk sheet. */
import { answerText } from '../case/answer-text.ts'
import { reachedAnswer } from '../case/derive.ts'
import { familyLine, type Line, staffLine, wordingOf } from '../case/line.ts'
import type { Control, Question } from '../case/message.ts'
import { questionOf, questionShown, renderReply } from '../case/render.ts'
import { type CaseState, parseState } from '../case/state.ts'
import { caseValues } from '../case/values.ts'
import type { LogLine } from '../case/view.ts'
import type { FamilyLog } from '../channels/webchat/family-log.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import type { StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'

/** The stored case a chat is about now: the latest that is open, else the latest. */
export const caseShown = (cases: readonly StoredCase[]): StoredCase | undefined =>
  cases.find(one => !one.closed) ?? cases[0]

/** The case a chat is about now: the latest that is open, else the latest. */
export function caseNow(line: Line, cases: readonly StoredCase[]): CaseState | undefined {
  const stored = caseShown(cases)
  if (stored === undefined) return undefined
  try {
    return parseState(line, stored.state)
  } catch {
    return undefined
  }
}

export function familyLogOf(
  whole: Line,
  cases: readonly StoredCase[],
  lines: readonly LogLine[],
  at: Instant,
): FamilyLog {
  const state = caseNow(whole, cases)
  if (state === undefined) return { lines, changeable: [], controls: lines.length === 0 ? [] : ['person'] }
  const line = familyLine(whole, state)
  const question = openQuestionOf(line, state, at)
  return {
    lines,
    ...(question === undefined ? {} : { question }),
    changeable: changeableOf(line, state),
    code: state.code,
    language: line.language,
    controls: controlsOf(state),
    ...(state.nickname === undefined ? {} : { nickname: state.nickname }),
    desk: deskOf(staffLine(whole), state, at),
  }
}

/** Answers that can be changed. */
export function changeableOf(line: Line, state: CaseState): FamilyLog['changeable'] {
  if (state.closed) return []
  const wording = wordingOf(line, state.concern)
  return Object.entries(state.answers)
    .filter(([fact]) => reachedAnswer(state, fact) !== undefined && wording.has(`label/${fact}`))
    .map(([fact, record]) => ({
      fact,
      label: wording.text(`label/${fact}`),
      answer: answerText(line, wording, fact, record.answer, record.at),
    }))
}

/** The open question of each open case of a chat, for whoever reads an answer to it: how many are to come is not worked out. */
export function openQuestionsOf(
  lineOf: (state: string) => Line,
  cases: readonly StoredCase[],
  at: Instant,
): readonly Question[] {
  return cases
    .filter(({ closed }) => !closed)
    .flatMap(stored => {
      const whole = lineOf(stored.state)
      const state = caseNow(whole, [stored])
      const question =
        state === undefined ? undefined : openQuestionOf(familyLine(whole, state), state, at, questionAlone)
      return question === undefined ? [] : [question]
    })
}

const questionAlone: typeof questionShown = (line, state, serial, fact, wording, at) =>
  questionOf(line, serial, fact, wording, () => caseValues(line, state, at))

function openQuestionOf(line: Line, state: CaseState, at: Instant, asked = questionShown) {
  const { open } = state
  if (open === undefined || state.closed) return undefined
  const wording = wordingOf(line, state.concern)
  if (open.readBack === undefined) return asked(line, state, open.serial, open.fact, wording, at)
  const [part] = renderReply(
    line,
    state,
    {
      kind: 'reply',
      audible: false,
      parts: [{ kind: 'read-back', serial: open.serial, fact: open.fact, reading: open.readBack.reading }],
    },
    at,
    { repeated: false },
  )
  return part?.kind === 'question' ? part : undefined
}

/** What a family can do at any moment. */
export function controlsOf(state: CaseState): Control[] {
  if (state.closed) return ['person']
  const toHospital = state.disposition?.id === 'set-out' || state.disposition?.id === 'ambulance'
  const danger = state.danger !== undefined && state.danger.wrongTapAt === undefined
  return [
    ...(danger ? (['wrong-tap'] as const) : []),
    ...(toHospital ? (['cannot-travel'] as const) : []),
    ...(state.callout.pages.length > 0 ? (['they-rang'] as const) : []),
    'person',
    ...(toHospital ? (['show-handover'] as const) : []),
    'new-child',
  ]
}

const DESK_FACTS = [
  'out-since',
  'in-opening',
  'device',
  'first-placed',
  'changed-before',
  'tube-found',
  'replaced',
  'pain-or-bleeding',
  'feed-running',
  'last-feed',
  'critical-medicine-due',
  'fasting-risk',
]

/** One screen for reception and triage. The sentence to say comes from the flow's wording. */
function deskOf(line: Line, state: CaseState, at: Instant): NonNullable<FamilyLog['desk']> {
  const wording = wordingOf(line, state.concern)
  const values = caseValues(line, state, at)
  const say = ['desk/say-out', 'desk/say-closing', 'desk/say-no-feed', 'desk/say-clinic']
    .filter(id => wording.has(id))
    .map(id => wording.text(id, values).trim())
  const { clinic } = familyNumbers(line.clinic)
  return {
    say: say.filter(text => text !== ''),
    facts: DESK_FACTS.flatMap(fact => {
      const answer = reachedAnswer(state, fact)
      return answer === undefined || !wording.has(`label/${fact}`)
        ? []
        : [{ label: wording.text(`label/${fact}`), text: answerText(line, wording, fact, answer, at) }]
    }),
    staff: { label: line.clinic.name, number: clinic.number },
  }
}
