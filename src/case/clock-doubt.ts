/** What a doubtful clock does to a case: the worse of its readings counts, and what counted once is not taken back. */
import type { CaseState } from './state.ts'

/** On an event: by how much the clock that labels it may be wrong, in milliseconds. Left out where it can be trusted. */
export interface Doubted {
  readonly clockDoubtMs?: number
}

/** The event as it is written down while the clock's readings contradict each other by `ms`; 0 leaves it as it is. */
export function doubting<Event extends object>(event: Event, ms: number): Event & Doubted {
  return ms > 0 ? { ...event, clockDoubtMs: ms } : event
}

/** The case after such an event: the largest doubt stays with it to its end. */
export function withDoubt(state: CaseState, { clockDoubtMs = 0 }: Doubted): CaseState {
  return clockDoubtMs > (state.clockDoubtMs ?? 0) ? { ...state, clockDoubtMs } : state
}
