/** Where two runs of a case first part, in few words that are the same for every case that parts there. */
import type { Answer } from '../case/answer.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent } from '../case/event.ts'
import type { CaseState } from '../case/state.ts'
import { isSameJson } from './same-json.ts'

interface Before {
  readonly event: CaseEvent
  readonly effects: readonly Effect[]
  readonly state: CaseState | undefined
}

/** Facts that a step's replies ask for. */
export const askedIn = (effects: readonly Effect[]): readonly string[] =>
  effects.flatMap(effect =>
    effect.kind === 'reply' ? effect.parts.flatMap(part => (part.kind === 'ask' ? [part.fact] : [])) : [],
  )

/**
 * What is not the same in what two lines decided of one event; undefined where nothing is.
 *
 * @param talk  the step of the flow that the other run stood at before
 */
export function differenceAt(
  talk: string,
  was: Before,
  now: readonly Effect[],
  state: CaseState | undefined,
): string | undefined {
  const isSame = isSameJson(was.effects, now)
  const [decided, decidedNow] = [was.state?.disposition?.id, state?.disposition?.id]
  if (isSame && decided === decidedNow) return undefined
  const at = `at "${talk === '' ? 'the start' : talk}", ${happened(was.event)}: `
  if (decided !== decidedNow) return `${at}decides ${decidedNow ?? 'nothing'}, not ${decided ?? 'nothing'}`
  const pages = (effects: readonly Effect[]) =>
    effects.flatMap(effect => (effect.kind === 'page' ? [`${PAGED[effect.why]} (${effect.urgency})`] : []))
  const paged = listsDiffer(pages(was.effects), pages(now), 'sends')
  if (paged !== undefined) return `${at}${paged}`
  const [asked, askedNow] = [askedIn(was.effects).at(-1), askedIn(now).at(-1)]
  if (asked !== askedNow) return `${at}asks ${askedNow ?? 'nothing'}, not ${asked ?? 'nothing'}`
  const said = listsDiffer(saidIn(was.effects), saidIn(now))
  if (said !== undefined) return `${at}${said}`
  const people = (effects: readonly Effect[]) => effects.flatMap(effect => (effect.kind === 'page' ? [effect.to] : []))
  if (people(was.effects).join() !== people(now).join()) return `${at}pages other people`
  return `${at}sets other alarms`
}

const PAGED = {
  page: 'a page',
  repeat: 'a page again',
  update: 'word of a change',
  taken: 'word that it is taken',
} as const satisfies Record<(Effect & { kind: 'page' })['why'], string>

const saidIn = (effects: readonly Effect[]): readonly string[] =>
  effects.flatMap(effect =>
    effect.kind === 'reply'
      ? effect.parts.flatMap(part => (part.kind === 'say' || part.kind === 'stop' ? [`${part.kind} ${part.id}`] : []))
      : [],
  )

/** "no longer say x; new: say y", or undefined where both lists are the same. */
function listsDiffer(was: readonly string[], now: readonly string[], of = ''): string | undefined {
  const gone = was.filter(one => !now.includes(one))
  const fresh = now.filter(one => !was.includes(one))
  if (gone.length === 0 && fresh.length === 0) return undefined
  const mark = of === '' ? '' : `${of} `
  return [
    ...(gone.length > 0 ? [`no longer ${mark}${gone.join(', ')}`] : []),
    ...(fresh.length > 0 ? [`new: ${mark}${fresh.join(', ')}`] : []),
  ].join('; ')
}

/** The event, without anything that is one family's own. */
function happened(event: CaseEvent): string {
  switch (event.kind) {
    case 'answerGiven':
      return `${event.fact} answered${choiceOf(event.answer)}`
    case 'alarmDue':
      return `alarm ${event.name}`
    default:
      return event.kind
  }
}

const choiceOf = (answer: Answer): string =>
  answer.kind === 'choice' ? ` ${answer.value}` : answer.kind === 'unsure' ? ' not sure' : ''
