import { type Effect, PARKED_REASON } from '../case/effect.ts'
import type { CaseEvent, Clinician } from '../case/event.ts'
import { storedJson } from '../case/stored-json.ts'
import { after, type Instant, minutes } from '../time/instant.ts'

/**
 * Why: `broken`, a step threw or what is stored cannot be trusted; `no-flow`, no flow is for what the family said;
 * `flow-changed`, the case was opened under other content than is served now.
 */
export type ParkedWhy = 'broken' | 'no-flow' | 'flow-changed'

/**
 * A case that cannot go on by itself. It is never guessed on. The family gets the fixed text at every message, people are
 * paged until one takes it, and it ends when a clinician sets an outcome.
 */
export interface Parked {
  readonly parked: {
    readonly at: Instant
    readonly why: ParkedWhy
    readonly code?: string
    readonly pagedAt: Instant
    readonly pagedTimes: number
    readonly takenBy?: Clinician
    /** Who looks after it in the clinic's day. */
    readonly day?: { readonly taker: Clinician; readonly at: Instant }
  }
  /** The state as it was stored when the case was parked, untouched. */
  readonly state: string | null
}

export { PARKED_REASON } from '../case/effect.ts'

/** The alarm that pages everyone again while nobody has taken a parked case. */
export const PARKED_ALARM = 'parked'

/** A family that goes on writing reaches whoever has the case again after this long. */
const TOLD_AGAIN_AFTER = minutes(2)

/** The parked case in a stored state, or undefined where it is an ordinary one. */
export function parkedOf(state: string): Parked | undefined {
  if (!state.includes('"parked"')) return undefined
  try {
    const read = storedJson(state) as Partial<Parked> | null
    return typeof read?.parked === 'object' && read.parked !== null ? (read as Parked) : undefined
  } catch {
    return undefined
  }
}

/** The spoken code in a state that is otherwise not trusted. */
export function codeIn(state: string | null): string | undefined {
  try {
    const code = (storedJson(state ?? 'null') as { readonly code?: unknown } | null)?.code
    return typeof code === 'string' ? code.slice(0, 20) : undefined
  } catch {
    return undefined
  }
}

/** The family's language in a state that is otherwise not trusted. */
export function languageIn(state: string | null): string | undefined {
  try {
    const language = (storedJson(state ?? 'null') as { readonly language?: unknown } | null)?.language
    return typeof language === 'string' ? language : undefined
  } catch {
    return undefined
  }
}

export interface ParkedStep {
  readonly state: Parked
  readonly effects: readonly Effect[]
  readonly closed: boolean
}

/**
 * Parks a case: the fixed text to the family, pages, and an alarm to page everyone again. A broken case pages everyone at
 * once, since nobody knows how urgent it is, and so does one whose flow was changed. One without a flow pages the first,
 * and everyone when that one is silent.
 */
export function park(
  parking: {
    readonly state: string | null
    readonly code: string | undefined
    readonly why: ParkedWhy
    readonly isDanger?: boolean
  },
  everyone: readonly string[],
  at: Instant,
): ParkedStep {
  const { state, code, why } = parking
  const to = why !== 'no-flow' || parking.isDanger === true ? everyone : everyone.slice(0, 1)
  return {
    state: { parked: { at, why, ...(code === undefined ? {} : { code }), pagedAt: at, pagedTimes: 1 }, state },
    effects: [FALLBACK, ...pages(to, 'page'), againAlarm(1, at)],
    closed: false,
  }
}

/** What an event does to a parked case. Nothing the family says moves it on; a clinician can. */
export function stepParked(before: Parked, event: CaseEvent, everyone: readonly string[], at: Instant): ParkedStep {
  const { parked } = before
  const stay = (effects: readonly Effect[] = []): ParkedStep => ({ state: before, effects, closed: false })
  const paged = { pagedAt: at, pagedTimes: parked.pagedTimes + 1 }
  switch (event.kind) {
    case 'alarmDue': {
      if (event.name !== PARKED_ALARM || parked.takenBy !== undefined) return stay()
      const again = [...pages(everyone, 'repeat'), againAlarm(paged.pagedTimes, at)]
      return { state: { ...before, parked: { ...parked, ...paged } }, effects: again, closed: false }
    }
    case 'pageAcknowledged':
      return {
        state: { ...before, parked: { ...parked, takenBy: event.by } },
        effects: [{ kind: 'cancelAlarm', name: PARKED_ALARM }],
        closed: false,
      }
    case 'passedOn': {
      const { takenBy: _gone, ...free } = parked
      const others = everyone.filter(id => id !== event.by.id)
      const again = [...pages(others.length > 0 ? others : everyone, 'page'), againAlarm(1, at)]
      return { state: { ...before, parked: { ...free, pagedAt: at, pagedTimes: 1 } }, effects: again, closed: false }
    }
    case 'clinicianWrote': {
      const { name, role } = event.by
      return stay([{ kind: 'reply', parts: [{ kind: 'clinician', name, role, text: event.text }], audible: true }])
    }
    case 'outcomeSet':
      return {
        state: before,
        effects: [{ kind: 'cancelAlarm', name: PARKED_ALARM }, { kind: 'closeCase' }],
        closed: true,
      }
    case 'dayTaken':
      return {
        state: { ...before, parked: { ...parked, day: { taker: event.taker, at } } },
        effects: [],
        closed: false,
      }
    case 'rotaChanged':
      return parked.takenBy === undefined ? stay(pages(everyone, 'page')) : stay()
    case 'pageSettled':
    case 'pageOpened':
    case 'replyGivenUp':
    case 'resumed':
    case 'callMade':
    case 'dispositionLowered':
    case 'alarmStopped':
      return stay()
    case 'caseOpened':
    case 'answerGiven':
    case 'concernNamed':
    case 'readBackAnswered':
    case 'changeWanted':
    case 'factSaid':
    case 'staleAnswer':
    case 'dangerSaid':
    case 'wrongTapSaid':
    case 'personWanted':
    case 'travelRefused':
    case 'leftSaid':
    case 'familyRungSaid':
    case 'photoKept':
    case 'notUnderstood':
    case 'languageChosen':
    case 'greeted': {
      if (at < after(parked.pagedAt, TOLD_AGAIN_AFTER)) return stay([FALLBACK])
      const to = parked.takenBy === undefined ? everyone : [parked.takenBy.id]
      const why = parked.takenBy === undefined ? 'repeat' : 'update'
      return {
        state: { ...before, parked: { ...parked, ...paged } },
        effects: [FALLBACK, ...pages(to, why)],
        closed: false,
      }
    }
  }
}

const FALLBACK: Effect = { kind: 'reply', parts: [{ kind: 'say', id: 'fallback' }], audible: true }

/** A parked case may be anything, so its page is never less urgent than a journey to hospital. */
function pages(to: readonly string[], why: 'page' | 'repeat' | 'update'): Effect[] {
  return to.map((who, index) => ({
    kind: 'page',
    to: who,
    why,
    reason: PARKED_REASON,
    urgency: 'set-out',
    number: index + 1,
    of: to.length,
  }))
}

/** Every five minutes for the first hour, then every half hour, until it is taken. */
function againAlarm(pagedTimes: number, at: Instant): Effect {
  return { kind: 'setAlarm', name: PARKED_ALARM, due: after(at, minutes(pagedTimes < 12 ? 5 : 30)) }
}
