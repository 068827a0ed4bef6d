/** The draft of one step: state being changed, and what is to go out. Lives for one call of `step`. */
import { DISPOSITIONS } from '../flow/document.ts'
import type { Flow } from '../flow/flow-set.ts'
import type { Instant } from '../time/instant.ts'
import { copyOf } from './copy.ts'
import type { Effect, Saying, Urgency } from './effect.ts'
import type { Disposition } from './event.ts'
import { flowOf, type Line } from './line.ts'
import type { CaseState, Path } from './state.ts'

type Draft = { -readonly [K in keyof CaseState]: CaseState[K] }

/** Records of a case that grow with it: a step copies each at its first change and then writes into its own. */
type Growing = 'inForce' | 'enteredAt' | 'alarms'

export interface Work {
  readonly line: Line
  /** The case before the step: it stays as it was. */
  readonly before: CaseState
  flow: Flow
  readonly at: Instant
  readonly state: Draft
  /** Things to say, in three heaps: taken back first, then what is urgent, then the rest. */
  readonly stops: Saying[]
  readonly urgent: Saying[]
  readonly rest: Saying[]
  readonly effects: Effect[]
  /** Page reasons that came up in this step and are not yet handed to the ladder. */
  readonly pagesWanted: string[]
  /** The concern that is being left: its advice is taken back in its own words. */
  leaving: string | undefined
  /** While talk is replayed after a correction: the path being rebuilt. */
  replay:
    | {
        says: string[]
        reasons: string[]
        notes: string[]
        alarms: string[]
        asked: string[]
        /** Alarms that moved talk on, still to be gone through again. */
        toCome: string[]
        /** The emergency steps held talk before: their page has gone out. */
        wasEmergency: boolean
        decided: Disposition | undefined
      }
    | undefined
  /** Sayings go to the urgent heap (an emergency came up). */
  front: boolean
  /** Where a "resume" was reached: talk is to be replayed. */
  resume: boolean
  /** A "speak" page ran out in this step: the flow says where that leads. */
  unanswered: boolean
  /** Steps the machine entered in this step. */
  entered: number
  /** Alarm that fired late in this step. */
  late: { due: Instant } | undefined
  /** The line was down over the ladder's last rung: those before it are not waited for. */
  overslept: boolean
  /** The step is an alarm of silence. */
  silent: 'ask' | 'page' | undefined
  /** Advice is let through though a clinician has the case: danger, or an alarm the clinician kept. */
  allowed: boolean
}

export function beginWork(line: Line, state: CaseState, at: Instant): Work {
  return {
    line,
    before: state,
    flow: flowOf(line, state.concern),
    at,
    state: { ...state, latestSeenAt: at > state.latestSeenAt ? at : state.latestSeenAt },
    stops: [],
    urgent: [],
    rest: [],
    effects: [],
    pagesWanted: [],
    leaving: undefined,
    replay: undefined,
    late: undefined,
    silent: undefined,
    front: false,
    resume: false,
    unanswered: false,
    overslept: false,
    entered: 0,
    allowed: false,
  }
}

/** The more urgent of two dispositions; undefined counts as none. */
export function moreUrgent(a: Disposition | undefined, b: Disposition | undefined): Disposition | undefined {
  if (a === undefined) return b
  if (b === undefined) return a
  return DISPOSITIONS.indexOf(a) <= DISPOSITIONS.indexOf(b) ? a : b
}

/** The urgency a page carries: that of the disposition, at least `speak`. */
export function urgencyOf(disposition: Disposition | undefined): Urgency {
  return disposition === 'ambulance' || disposition === 'set-out' ? disposition : 'speak'
}

/** Adds something to say to the heap of the moment. */
export function saying(work: Work, part: Saying): void {
  if (work.front) work.urgent.push(part)
  else work.rest.push(part)
}

export function sayNotice(work: Work, id: string): void {
  saying(work, { kind: 'say', id })
}

export function mark(work: Work, id: string): void {
  if (!work.state.marks.includes(id)) work.state.marks = [...work.state.marks, id]
}

/** Puts a value into a record of the case, never into that of the case before. */
export function put<K extends Growing>(
  { before, state }: Work,
  record: K,
  id: string,
  value: CaseState[K][string],
): void {
  const kept: Readonly<Record<string, unknown>> = state[record]
  const own = (kept === before[record] ? copyOf(kept) : kept) as Record<string, unknown>
  own[id] = value
  state[record] = own as Draft[K]
}

export function setPath(work: Work, change: Partial<Path>): void {
  work.state.path = { ...work.state.path, ...change }
}
