import type { KernelState } from '../flow/kernel.ts'
import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Answer } from './answer.ts'
import type { Urgency } from './effect.ts'
import type { Clinician, Disposition, Doing } from './event.ts'
import { FlowChanged, flowOf, InvariantBroken, type Line } from './line.ts'
import type { ChatRef } from './message.ts'
import { storedJson } from './stored-json.ts'

export interface AnswerOnRecord {
  readonly answer: Answer
  readonly said: string
  readonly at: Instant
  readonly changed: boolean
  /** True for what the first message or the child's record already said: known before it is asked. */
  readonly given: boolean
}

export interface OpenQuestion {
  readonly serial: number
  readonly fact: string
  readonly askedAt: Instant
  /** Times in a row that words could not be read as an answer. */
  readonly misread: number
  /** The family asked to change this earlier answer. */
  readonly changing: boolean
  /** A typed time waiting to be confirmed. */
  readonly readBack?: { readonly answer: Answer; readonly said: string; readonly reading: Between } | undefined
}

export interface AlarmSet {
  readonly due: Instant
  readonly late: 'say' | 'recompute' | 'page' | 'drop'
  /** Set for an alarm at a moment worked out from answers: it moves when they change. */
  readonly moment?: string | undefined
}

/** What talk has said and decided on the way from its start to where it stands. Worked out anew by a correction. */
export interface Path {
  readonly says: readonly string[]
  readonly reasons: readonly string[]
  readonly notes: readonly string[]
  readonly alarms: readonly string[]
  readonly asked: readonly string[]
  readonly decided?: Disposition | undefined
}

export interface Callout {
  readonly startedAt?: Instant | undefined
  readonly urgency: Urgency
  readonly reason: string
  /** Ids of those the ladder names, in rung order, as they stood when the call-out began. */
  readonly ladder: readonly string[]
  readonly pages: readonly {
    readonly to: string
    /** Number of the event it went out with; a page's id carries it. Absent on pages of earlier versions. */
    readonly seq?: number
    readonly at: Instant
    readonly outcome: 'sent' | 'accepted' | 'given-up'
  }[]
  readonly everyoneAt?: Instant | undefined
  readonly taken?:
    | { readonly by: Clinician; readonly doing: Doing; readonly at: Instant; readonly promisedAt: Instant }
    | undefined
  readonly rangAt?: Instant | undefined
  readonly familyRangAt?: Instant | undefined
  readonly passedBy: readonly string[]
}

export interface DangerSeen {
  readonly at: Instant
  readonly signs: readonly string[]
  readonly wrongTapAt?: Instant | undefined
}

/** One contact about one child. JSON-serialisable: what is stored is exactly this. */
export interface CaseState {
  readonly version: 1
  readonly caseId: string
  readonly chat: ChatRef
  /** Spoken code: weekday and four digits. */
  readonly code: string
  readonly concern: string
  /** Language the family is written to in; left out: the first that families of this clinic use. */
  readonly language?: string | undefined
  /** ISO 639 code of the language the family wrote in, where this line does not speak it. */
  readonly foreign?: string | undefined
  /** Hash of the flow's exact content as the case was opened under it; left out where contents are not hashed. */
  readonly flowHash?: string | undefined
  readonly nickname?: string | undefined
  /** Troubles the family named beside, not asked about yet: the next to be offered first. */
  readonly also?: readonly string[] | undefined
  /** Those it did not want to go through when they were offered. */
  readonly alsoLeft?: readonly string[] | undefined
  /** What it is about is asked as soon as the danger signs are answered. */
  readonly aboutNext?: true | undefined
  /** What the case was about before, with what was said and paged for. */
  readonly before?:
    | readonly {
        readonly concern: string
        readonly says: readonly string[]
        readonly reasons: readonly string[]
      }[]
    | undefined
  readonly openedAt: Instant
  readonly seq: number
  readonly closed: boolean
  readonly kernel: KernelState
  readonly answers: Readonly<Record<string, AnswerOnRecord>>
  /** Undefined rather than taken away when it is answered: an object that loses a key is slow from then on. */
  readonly open?: OpenQuestion | undefined
  /** Serial of the last question asked. */
  readonly serial: number
  /** What was asked under each serial, a fact or {@link READ_BACK}: a tap on an earlier question is kept in its words. */
  readonly askedBySerial?: Readonly<Record<string, string>> | undefined
  readonly path: Path
  /** Talk stands in an interruption (an emergency), not on its path. */
  readonly interrupted: boolean
  /** Advice ids in force with the instant they were said. */
  readonly inForce: Readonly<Record<string, Instant>>
  /** Advice held back because a clinician has the case. */
  readonly heldBack: readonly string[]
  readonly disposition?: { readonly id: Disposition; readonly at: Instant } | undefined
  /** What history holds the disposition at: danger, an interruption that decided. Lowered by a clinician only. */
  readonly floor?: Disposition | undefined
  readonly danger?: DangerSeen | undefined
  readonly enteredAt: Readonly<Record<string, Instant>>
  readonly clockStarted: boolean
  readonly alarms: Readonly<Record<string, AlarmSet>>
  /** Alarms that fired and moved talk on, in order: a correction replays them. */
  readonly firedOnPath: readonly string[]
  /** Alarms that fired and led back to the question that was open, while their step is on the path. */
  readonly spent?: readonly string[] | undefined
  readonly callout: Callout
  readonly marks: readonly string[]
  /** Rounds of silence chased since the family was last heard. */
  readonly silentRounds: number
  readonly leftAt?: Instant | undefined
  readonly stoppedByClinician: readonly string[]
  readonly outcome?:
    | { readonly id: string; readonly by: Clinician; readonly note?: string; readonly at: Instant }
    | undefined
  /** Who looks after it in the clinic's day, as somebody there named them. */
  readonly day?: { readonly taker: Clinician; readonly by: Clinician; readonly at: Instant } | undefined
  readonly doNotWrite: boolean
  /**
   * By how much the clock was in doubt at worst while this case went on, in milliseconds: its times to leave by are that
   * much earlier. Left out on a night with a clock that can be trusted.
   */
  readonly clockDoubtMs?: number | undefined
  /** Longest time out ever used, so that a clock stepping back never makes it shorter. */
  readonly latestSeenAt: Instant
}

/** Stands in `askedBySerial` for "So … Is that right?". */
export const READ_BACK = 'read-back'

export const EMPTY_PATH: Path = { says: [], reasons: [], notes: [], alarms: [], asked: [], decided: undefined }

const EMPTY_CALLOUT: Callout = {
  ...{ startedAt: undefined, urgency: 'speak', reason: '', ladder: [], pages: [], everyoneAt: undefined },
  ...{ taken: undefined, rangAt: undefined, familyRangAt: undefined, passedBy: [] },
}

/**
 * Every part of a case in its place, also those that few cases come to: whatever has been done to a case it is then of one
 * make, and a step reads and copies it several times as fast. What is undefined is not stored.
 */
const EMPTY_CASE: Readonly<Record<keyof CaseState, undefined>> = {
  version: undefined,
  caseId: undefined,
  chat: undefined,
  code: undefined,
  concern: undefined,
  language: undefined,
  foreign: undefined,
  flowHash: undefined,
  nickname: undefined,
  also: undefined,
  alsoLeft: undefined,
  aboutNext: undefined,
  before: undefined,
  openedAt: undefined,
  seq: undefined,
  closed: undefined,
  kernel: undefined,
  answers: undefined,
  open: undefined,
  serial: undefined,
  askedBySerial: undefined,
  path: undefined,
  interrupted: undefined,
  inForce: undefined,
  heldBack: undefined,
  disposition: undefined,
  floor: undefined,
  danger: undefined,
  enteredAt: undefined,
  clockStarted: undefined,
  alarms: undefined,
  firedOnPath: undefined,
  spent: undefined,
  callout: undefined,
  marks: undefined,
  silentRounds: undefined,
  leftAt: undefined,
  stoppedByClinician: undefined,
  outcome: undefined,
  day: undefined,
  doNotWrite: undefined,
  clockDoubtMs: undefined,
  latestSeenAt: undefined,
}

/** A fresh case, before its first event. `number` is 0 to 9999 and drawn by the caller. */
export function openCase(
  line: Line,
  opening: {
    caseId: string
    chat: ChatRef
    at: Instant
    code: string
    concern: string
    nickname?: string | undefined
    language?: string | undefined
  },
): CaseState {
  const flow = flowOf(line, opening.concern)
  const flowHash = line.hashes?.get(opening.concern)
  return {
    ...EMPTY_CASE,
    version: 1,
    caseId: opening.caseId,
    chat: opening.chat,
    code: opening.code,
    concern: opening.concern,
    flowHash,
    nickname: opening.nickname,
    language: opening.language,
    openedAt: opening.at,
    seq: 0,
    closed: false,
    kernel: flow.kernel.blank,
    answers: {},
    serial: 0,
    path: EMPTY_PATH,
    interrupted: false,
    inForce: {},
    heldBack: [],
    enteredAt: {},
    clockStarted: false,
    alarms: {},
    firedOnPath: [],
    callout: EMPTY_CALLOUT,
    marks: [],
    silentRounds: 0,
    stoppedByClinician: [],
    doNotWrite: false,
    latestSeenAt: opening.at,
  }
}

/** Reads a stored case. Throws `InvariantBroken` when it cannot be trusted: the case is then parked, never guessed. */
export function parseState(line: Line, json: string): CaseState {
  return known(line, read(json))
}

/**
 * The same for whoever steps a case on. A case that was opened under other content than is served now throws
 * `FlowChanged`: what the family was told and what would come next are not of one piece.
 */
export function parseServed(line: Line, json: string): CaseState {
  const state = read(json)
  const served = line.hashes?.get(state.concern)
  if (line.hashes !== undefined && !state.closed && state.flowHash !== served) {
    const opened = state.flowHash?.slice(0, 12) ?? 'an earlier release'
    throw new FlowChanged(`opened under ${opened} of "${state.concern}", and ${served?.slice(0, 12)} is served`)
  }
  return known(line, state)
}

function read(json: string): CaseState {
  let state: CaseState
  try {
    state = storedJson(json) as CaseState
  } catch {
    throw new InvariantBroken('the stored case is not JSON')
  }
  if (state === null || typeof state !== 'object' || state.version !== 1)
    throw new InvariantBroken('the stored case has an unknown version')
  return inPlace(state)
}

/** A stored case in the make of one that was opened here. */
const inPlace = (state: CaseState): CaseState => ({
  ...EMPTY_CASE,
  ...state,
  path: { ...EMPTY_PATH, ...state.path },
  callout: { ...EMPTY_CALLOUT, ...state.callout },
})

function known(line: Line, state: CaseState): CaseState {
  const flow = flowOf(line, state.concern)
  if (state.kernel === undefined || !flow.kernel.knows(state.kernel))
    throw new InvariantBroken('the stored case stands in a step that its flow does not have')
  return state
}

const WEEKDAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat']

/** The spoken code of a case: weekday (0 is Sunday) in the clinic's zone and four digits without leading zero. */
export function caseCode(weekday: number, number: number): string {
  return `${WEEKDAYS[weekday % 7]} ${1000 + (number % 9000)}`
}
