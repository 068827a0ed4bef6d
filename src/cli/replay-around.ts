import type { Line } from '../case/line.ts'
import type { Around } from '../replay/run.ts'
import { type Parked, type ParkedWhy, park, stepParked } from '../runtime/parking.ts'
import { everyoneAt } from '../runtime/reach.ts'
import { CLOSED, HERE_STILL, WORKS_AGAIN } from '../runtime/worker.ts'
import type { Instant } from '../time/instant.ts'

const WHYS: readonly ParkedWhy[] = ['broken', 'no-flow', 'flow-changed']

/** What the runtime does around a step, for a replay: the same functions. */
export const AROUND: Around = {
  carried: new Set([WORKS_AGAIN, CLOSED, HERE_STILL]),
  park(line, event, at) {
    const isDanger = event.kind === 'caseOpened' && (event.danger ?? []).length > 0
    return WHYS.map(why => park({ state: null, code: undefined, why, isDanger }, everyone(line, at), at))
  },
  stepParked: (state, line, event, at) => stepParked(state as Parked, event, everyone(line, at), at),
}

const everyone = (line: Line, at: Instant) => everyoneAt(line.clinic, at)
