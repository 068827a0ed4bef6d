import { doubting } from '../case/clock-doubt.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, Clinician } from '../case/event.ts'
import { FlowChanged } from '../case/line.ts'
import type { ChatRef } from '../case/message.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { passed } from '../points/points.ts'
import type { Store, StoredCase } from '../store/store.ts'
import { type Instant, instant } from '../time/instant.ts'
import { type Clock, doubtOf } from './clock.ts'
import type { OnFault } from './fault.ts'
import type { Machine, RunningCase } from './machine.ts'
import type { CaseOpened } from './opening.ts'
import { codeIn, type ParkedStep, park, parkedOf, stepParked } from './parking.ts'
import { addressesOf, everyoneAt } from './reach.ts'
import { type Stepped, stepRecord } from './step-record.ts'

/** Times a step is worked out again because the case changed under it, the first included. */
const TRIES_MAX = 5

/** What became of one event of a case. */
export type Applied =
  | { readonly kind: 'done' }
  | { readonly kind: 'duplicate' }
  /** Nothing to do: the event no longer fits the case. */
  | { readonly kind: 'nothing' }
  | { readonly kind: 'no-such-case' }
  | { readonly kind: 'closed' }
  | { readonly kind: 'already-taken-by'; readonly by: Clinician }

export type Refusal = Exclude<Applied, { readonly kind: 'done' | 'duplicate' }>

/** A case as it was loaded; `state` is undefined for one that is parked. */
export interface Loaded {
  readonly stored: StoredCase
  readonly state: RunningCase | undefined
}

/** What stands before everything else in a reply, asked when the reply is worked out. */
export interface ReplyOpening {
  readonly opensWith?: () => string | undefined
  /** Called once a step with such a reply is committed. */
  readonly replied?: () => void
}

export interface Application extends ReplyOpening {
  readonly caseId: string
  /** The case as it was read a moment ago, in the turn of its chat: saves reading it again. One that changed since conflicts. */
  readonly read?: StoredCase
  /** The event, worked out from the case as it is now; or why there is none. Called again after a conflict. */
  readonly eventFor: (loaded: Loaded) => CaseEvent | Refusal | Promise<CaseEvent | Refusal>
  /** What is written down when the case cannot be read or the event cannot be worked out. */
  readonly raw: CaseEvent
  /** Wording id of what is said when the step itself says nothing: the family is never met with silence. */
  readonly replyAtLeast?: string
  readonly delivery?: { readonly channel: string; readonly deliveryId: string }
}

export interface CaseSteps {
  /** Loads, steps, commits; reloads and steps again when the case changed meanwhile. Rejects only when the store does. */
  apply(application: Application): Promise<Applied>
  /** The first step of a case. `conflict`: it is already there. */
  begin(opening: Opening): Promise<'committed' | 'duplicate' | 'conflict'>
}

export interface Opening extends ReplyOpening {
  readonly caseId: string
  readonly chat: ChatRef
  /** Spoken code of the case. */
  readonly code: string
  /** The fresh case; undefined where no flow is for it: it is handed to people at once. */
  readonly open: ((at: Instant) => RunningCase) | undefined
  readonly event: CaseOpened
  readonly delivery?: { readonly channel: string; readonly deliveryId: string }
}

export interface CaseStepsDependencies {
  readonly store: Store
  readonly machine: Machine
  /** The clinic as it is now. */
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly onFault: OnFault
  /** Called after every durable commit. */
  readonly committed: () => void
}

/** The case changed under a step again and again. */
export class Contended extends Error {
  override readonly name = 'Contended'
}

/**
 * One event of one case, from load to commit. The caller sees to it that one case is worked on at a time in this process;
 * another process is fenced off by the event number.
 */
export function caseSteps(deps: CaseStepsDependencies): CaseSteps {
  const { store, machine, clinic, clock, onFault } = deps

  type Written = Pick<Stepped, 'closed' | 'state' | 'effects'>

  const written = (step: ParkedStep): Written => ({
    closed: step.closed,
    state: JSON.stringify(step.state),
    effects: step.effects,
  })

  function parked(caseId: string, state: string | null, at: Instant, error: unknown, code?: string): Written {
    onFault({ code: 'case-parked', caseId, error })
    const why = error instanceof FlowChanged ? 'flow-changed' : 'broken'
    return written(park({ state, code: code ?? codeIn(state), why }, everyoneAt(clinic(), at), at))
  }

  function handedOver(code: string, event: CaseOpened, at: Instant): Written {
    const isDanger = (event.danger ?? []).length > 0
    return written(park({ state: null, code, why: 'no-flow', isDanger }, everyoneAt(clinic(), at), at))
  }

  function begun(
    caseId: string,
    code: string,
    open: (at: Instant) => RunningCase,
    event: CaseOpened,
    at: Instant,
  ): Written {
    try {
      return stepped(open(at), event, at)
    } catch (error) {
      return parked(caseId, null, at, error, code)
    }
  }

  function stepped(state: RunningCase, event: CaseEvent, at: Instant): Written {
    const next = machine.step(state, event, at)
    const closed = next.state.closed || next.effects.some(effect => effect.kind === 'closeCase')
    return { closed, state: JSON.stringify(next.state), effects: next.effects }
  }

  async function commit(step: Stepped): Promise<'committed' | 'duplicate' | 'conflict'> {
    const record = stepRecord(step, who => addressesOf(clinic(), who).length)
    passed('worker.stepped')
    const result = await store.commit(record)
    passed('worker.committed')
    if (result === 'committed') deps.committed()
    return result
  }

  async function once(application: Application, read?: StoredCase): Promise<Applied | 'conflict'> {
    const { caseId, eventFor, raw, replyAtLeast, delivery } = application
    const stored = read ?? (await store.load(caseId))
    passed('worker.loaded')
    if (stored === undefined) return { kind: 'no-such-case' }
    // A case's own time never goes back, whatever the wall clock does between two runs.
    const at = instant(Math.max(clock.now(), stored.changedAt))
    const found = parkedOf(stored.state)
    let state: RunningCase | undefined
    let unreadable: { readonly error: unknown } | undefined
    try {
      if (found === undefined) state = machine.parse(stored.state)
    } catch (error) {
      unreadable = { error }
    }
    const worked =
      unreadable === undefined ? await eventOrError(eventFor, { stored, state }, doubtOf(clock)) : unreadable
    if ('refused' in worked) return worked.refused
    const event = 'event' in worked ? worked.event : raw
    const base = {
      caseId,
      chat: stored.chat,
      from: stored.seq,
      at,
      event,
      ...(delivery === undefined ? {} : { delivery }),
    }
    const isSilent = state?.doNotWrite === true
    const first = isSilent ? undefined : application.opensWith?.()
    const step = replying(work(stored, found, state, worked, at), isSilent ? undefined : replyAtLeast)
    const result = await commit({ ...base, ...opening(step, first) })
    if (result === 'committed' && first !== undefined) application.replied?.()
    return result === 'committed' ? { kind: 'done' } : result === 'duplicate' ? { kind: 'duplicate' } : 'conflict'
  }

  function work(
    stored: StoredCase,
    found: ReturnType<typeof parkedOf>,
    state: RunningCase | undefined,
    worked: { readonly event: CaseEvent } | { readonly error: unknown },
    at: Instant,
  ): Written {
    if (found !== undefined && 'event' in worked) {
      try {
        const step = stepParked(found, worked.event, everyoneAt(clinic(), at), at)
        return written({ ...step, closed: step.closed || stored.closed })
      } catch (error) {
        // What says that it is parked is damaged itself.
        return parked(stored.caseId, stored.state, at, error)
      }
    }
    if ('error' in worked || state === undefined) {
      return parked(stored.caseId, stored.state, at, 'error' in worked ? worked.error : undefined)
    }
    try {
      return stepped(state, worked.event, at)
    } catch (error) {
      return parked(stored.caseId, stored.state, at, error)
    }
  }

  return {
    async apply(application) {
      for (let attempt = 1; attempt <= TRIES_MAX; attempt += 1) {
        const applied = await once(application, attempt === 1 ? application.read : undefined)
        if (applied !== 'conflict') return applied
      }
      onFault({ code: 'case-contended', caseId: application.caseId })
      throw new Contended(
        `case "${application.caseId}" changed ${TRIES_MAX} times while one step was worked out: send it again`,
      )
    },

    async begin({ caseId, chat, code, open, event: happened, delivery, opensWith, replied }) {
      const at = clock.now()
      const event = doubting(happened, doubtOf(clock))
      const first = open === undefined ? handedOver(code, event, at) : begun(caseId, code, open, event, at)
      const words = opensWith?.()
      const step = { caseId, chat, from: 0, at, event, ...opening(first, words) }
      const result = await commit({ ...step, ...(delivery === undefined ? {} : { delivery }) })
      if (result === 'committed' && words !== undefined) replied?.()
      return result
    },
  }
}

/** The same step, with a reply where it has none. */
function replying<T extends { readonly effects: readonly Effect[] }>(step: T, atLeast: string | undefined): T {
  if (atLeast === undefined || step.effects.some(effect => effect.kind === 'reply')) return step
  return {
    ...step,
    effects: [...step.effects, { kind: 'reply', parts: [{ kind: 'say', id: atLeast }], audible: false }],
  }
}

/** The same step, whose first reply begins with the words of `id`; a step without a reply gets one. */
function opening<T extends { readonly effects: readonly Effect[] }>(step: T, id: string | undefined): T {
  if (id === undefined) return step
  const words = { kind: 'say', id } as const
  const index = step.effects.findIndex(effect => effect.kind === 'reply')
  const reply = step.effects[index]
  if (reply?.kind !== 'reply')
    return { ...step, effects: [{ kind: 'reply', parts: [words], audible: true }, ...step.effects] }
  return { ...step, effects: step.effects.with(index, { ...reply, parts: [words, ...reply.parts] }) }
}

/** Errors of the store go on; errors of reading and understanding are values, for the case to be parked. */
async function eventOrError(
  eventFor: Application['eventFor'],
  loaded: Loaded,
  doubtMs: number,
): Promise<{ readonly event: CaseEvent } | { readonly refused: Refusal } | { readonly error: unknown }> {
  let made: CaseEvent | Refusal | Promise<CaseEvent | Refusal>
  try {
    made = eventFor(loaded)
  } catch (error) {
    return { error }
  }
  const answer = await made
  return isRefusal(answer) ? { refused: answer } : { event: doubting(answer, doubtMs) }
}

const REFUSALS = new Set<string>(['nothing', 'no-such-case', 'closed', 'already-taken-by'] satisfies Refusal['kind'][])

const isRefusal = (answer: CaseEvent | Refusal): answer is Refusal => REFUSALS.has(answer.kind)
