/** A recorded case run again through the step: the same flow must decide the same, to the byte. */
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { Line } from '../case/line.ts'
import { type CaseState, openCase } from '../case/state.ts'
import { step } from '../case/step.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { RecordedCase } from './reading.ts'
import { isSameJson } from './same-json.ts'
import type { CaseLine, StepLine } from './transcript.ts'

type Event = CaseEvent & InLanguage

/** A case that people took over, as the runtime keeps it; opaque here. */
export type ParkedCase = object

/** What the runtime does around the step; passed in, since it is not the step's. */
export interface Around {
  /** Wording ids that may stand before or in place of a reply: the line was full, a case had ended. */
  readonly carried: ReadonlySet<string>
  /** Every way a case may be handed to people at this step, by why. */
  park(
    line: Line,
    event: Event,
    at: Instant,
  ): readonly { readonly state: ParkedCase; readonly effects: readonly Effect[] }[]
  stepParked(
    state: ParkedCase,
    line: Line,
    event: Event,
    at: Instant,
  ): { readonly state: ParkedCase; readonly effects: readonly Effect[] }
}

/** A case as it goes through its steps. */
export type Running =
  | { readonly kind: 'case'; readonly state: CaseState }
  | { readonly kind: 'parked'; readonly state: ParkedCase }

export type Replayed =
  | { readonly kind: 'same'; readonly steps: number; readonly parkedAt?: number }
  | {
      readonly kind: 'differs'
      /** Number of the first event of which something else is decided. */
      readonly seq: number
      readonly recorded: readonly Effect[]
      /** Undefined where the step breaks. */
      readonly now?: readonly Effect[]
      readonly broken?: string
      /** The case before that event; undefined while it was parked. */
      readonly before?: CaseState
    }

/** The fresh case of a transcript's head. */
export function openedFrom(
  line: Line,
  { case: caseId, family, channel, concern, openedAt, ...head }: CaseLine,
): CaseState {
  return {
    ...openCase(line, {
      caseId,
      chat: { channel, chat: family },
      at: instant(openedAt),
      code: head.code ?? '',
      concern,
      ...(head.nickname === undefined ? {} : { nickname: head.nickname }),
      ...(head.language === undefined ? {} : { language: head.language }),
    }),
    serial: head.serialAfter,
  }
}

/**
 * Runs a case again and compares every decision with the recorded one.
 *
 * @param lineAt  the line of an edition, with the flows the case was opened under
 * @param onStep  told of every step that was run, also of the one that differs
 */
export function replayed(
  recorded: RecordedCase,
  lineAt: (edition: string) => Line,
  around: Around,
  onStep: (step: StepLine, effects: readonly Effect[], state: CaseState | undefined) => void = () => {},
): Replayed {
  let running: Running | undefined
  let parkedAt: number | undefined
  for (const one of recorded.steps) {
    const line = lineAt(one.edition)
    const at = instant(one.at)
    const before: Running = running ?? { kind: 'case', state: openedFrom(line, recorded.head) }
    const ran = ranStep(before, line, one.event, at, around)
    const handed = isSameAs(one, ran, around)
      ? undefined
      : around.park(line, one.event, at).find(({ effects }) => isSameJson(one.effects, effects))
    if (handed !== undefined && before.kind === 'case') {
      parkedAt ??= one.seq
      running = { kind: 'parked', state: handed.state }
      onStep(one, handed.effects, undefined)
      continue
    }
    const state = 'running' in ran && ran.running.kind === 'case' ? ran.running.state : undefined
    onStep(one, 'running' in ran ? ran.effects : [], state)
    if (!('running' in ran) || !isSameAs(one, ran, around)) {
      return {
        kind: 'differs',
        seq: one.seq,
        recorded: one.effects,
        ...('running' in ran ? { now: ran.effects } : { broken: ran.broken }),
        ...(before.kind === 'case' ? { before: before.state } : {}),
      }
    }
    running = ran.running
  }
  return { kind: 'same', steps: recorded.steps.length, ...(parkedAt === undefined ? {} : { parkedAt }) }
}

type Ran = { readonly running: Running; readonly effects: readonly Effect[] } | { readonly broken: string }

function ranStep(before: Running, line: Line, event: Event, at: Instant, around: Around): Ran {
  try {
    if (before.kind === 'parked') {
      const { state, effects } = around.stepParked(before.state, line, event, at)
      return { running: { kind: 'parked', state }, effects }
    }
    const { state, effects } = step(line, before.state, event, at)
    return { running: { kind: 'case', state }, effects }
  } catch (error) {
    return { broken: error instanceof Error ? `${error.name}: ${error.message}` : 'it breaks' }
  }
}

function isSameAs({ effects }: StepLine, ran: Ran, { carried }: Around): boolean {
  if (!('effects' in ran)) return false
  return isSameJson(effects, ran.effects) || isSameJson(withoutCarried(effects, ran.effects, carried), ran.effects)
}

/** The recorded effects without what the runtime put in: words before a reply, or a reply where the step gave none. */
function withoutCarried(
  recorded: readonly Effect[],
  stepped: readonly Effect[],
  carried: ReadonlySet<string>,
): readonly Effect[] {
  const index = recorded.findIndex(({ kind }) => kind === 'reply')
  const reply = recorded[index]
  if (reply?.kind !== 'reply') return recorded
  const from = reply.parts.findIndex(part => part.kind !== 'say' || !carried.has(part.id))
  const own = from === -1 ? [] : reply.parts.slice(from)
  if (own.length === 0 && !stepped.some(({ kind }) => kind === 'reply')) return recorded.toSpliced(index, 1)
  return recorded.with(index, { ...reply, parts: own })
}
