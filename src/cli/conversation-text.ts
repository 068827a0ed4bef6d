/** A recorded case as people read it: what happened, and what the family and the clinicians were sent. */
import type { Answer } from '../case/answer.ts'
import { answerText } from '../case/answer-text.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent } from '../case/event.ts'
import { familyLine, type Line, wordingOf } from '../case/line.ts'
import { renderPage, renderReply } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import { clockOf } from '../case/values.ts'
import type { Instant } from '../time/instant.ts'

/** What was decided of one event, in lines: replies in the family's words, pages in the clinic's, the rest by name. */
export function decidedLines(
  line: Line,
  state: CaseState | undefined,
  effects: readonly Effect[],
  at: Instant,
): string[] {
  return effects.flatMap(effect => effectLines(line, state, effect, at))
}

function effectLines(line: Line, state: CaseState | undefined, effect: Effect, at: Instant): readonly string[] {
  switch (effect.kind) {
    case 'reply':
      return rendered(() => replyLines(line, state, effect, at), replyIds(effect))
    case 'page':
      return rendered(
        () => [
          `PAGE to ${effect.to} (${effect.why}, ${effect.urgency}): ${state === undefined ? '' : renderPage(line, state, effect, at).join(' ')}`,
        ],
        [`PAGE to ${effect.to} (${effect.why}, ${effect.urgency}): ${effect.reason}`],
      )
    case 'setAlarm':
      return [`ALARM ${effect.name} at ${clockOf(line, effect.due)}`]
    case 'cancelAlarm':
      return [`ALARM ${effect.name} cancelled`]
    case 'note':
      return [`NOTE for the day: ${effect.id}`]
    case 'closeCase':
      return ['CASE closed']
  }
}

/** Words that cannot be filled are told by their ids: the report must come. */
function rendered(words: () => string[], ids: readonly string[]): readonly string[] {
  try {
    return words()
  } catch {
    return ids
  }
}

function replyLines(
  line: Line,
  state: CaseState | undefined,
  reply: Effect & { kind: 'reply' },
  at: Instant,
): string[] {
  if (state === undefined) return replyIds(reply)
  return renderReply(line, state, reply, at, { repeated: false }).map(part => {
    // With its buttons, as they stood on the family's screen.
    if (part.kind === 'question') return [`? ${part.text}`, ...part.options.map(({ label }) => `[${label}]`)].join(' ')
    if (part.kind === 'person') return `"${part.text}"`
    return part.kind === 'withdrawn' ? `! ${part.text}` : `- ${part.text}`
  })
}

const replyIds = (reply: Effect & { kind: 'reply' }): string[] =>
  reply.parts.map(part =>
    'id' in part ? `${part.kind} ${part.id}` : 'fact' in part ? `${part.kind} ${part.fact}` : part.kind,
  )

/** What happened, in one line. Words that were taken out are told as understood. */
export function happenedLine(line: Line, state: CaseState, event: CaseEvent, at: Instant): string {
  switch (event.kind) {
    case 'caseOpened':
      return `FAMILY: about ${event.concern}${event.danger === undefined ? '' : `, danger: ${event.danger.join(', ')}`}${factsText(line, state, event.facts ?? {}, at)}`
    case 'answerGiven':
    case 'factSaid':
      return `FAMILY: ${event.fact}: ${answered(line, state, event.fact, event.answer, at)}`
    case 'readBackAnswered':
      return `FAMILY: ${event.right ? 'yes, that is right' : 'no, that is not right'}`
    case 'changeWanted':
      return `FAMILY: changes ${event.fact}`
    case 'dangerSaid':
      return `FAMILY: danger: ${event.signs.join(', ')}`
    case 'concernNamed':
      return `FAMILY: names ${event.concerns.join(', ')}`
    case 'alarmDue':
      return `TIME: alarm ${event.name}, due ${clockOf(line, event.due)}`
    case 'pageSettled':
      return `PAGER: page to ${event.to} ${event.outcome}`
    case 'pageAcknowledged':
      return `CLINICIAN ${event.by.id}: takes the case (${event.doing.kind})`
    case 'outcomeSet':
      return `CLINICIAN ${event.by.id}: outcome ${event.outcome}`
    default:
      return `${'by' in event ? `CLINICIAN ${typeof event.by === 'string' ? event.by : event.by.id}` : 'FAMILY'}: ${event.kind}`
  }
}

const factsText = (line: Line, state: CaseState, facts: Readonly<Record<string, Answer>>, at: Instant): string =>
  Object.entries(facts)
    .map(([fact, answer]) => `, ${fact}: ${answered(line, state, fact, answer, at)}`)
    .join('')

function answered(whole: Line, state: CaseState, fact: string, answer: Answer, at: Instant): string {
  const line = familyLine(whole, state)
  try {
    return answerText(line, wordingOf(line, state.concern), fact, answer, at)
  } catch {
    return answer.kind === 'choice' ? answer.value : answer.kind === 'many' ? answer.values.join(', ') : answer.kind
  }
}
