import { promiseDueAt } from '../oncall/acknowledgement.ts'
import { nextOpening } from '../oncall/opening.ts'
import type { Instant } from '../time/instant.ts'
import { expectedArrival } from './alarm.ts'
import { closureTimesOf } from './derive.ts'
import type { Line } from './line.ts'
import type { CaseState } from './state.ts'

/**
 * Instants after `at` that a text of this case may name: leave by, arrival, the promised call and when it counts as broken,
 * when the clinic opens. A text sent again after one of them is worked out anew. One more than a text really names does
 * no harm.
 */
export function timesAhead(line: Line, state: CaseState, at: Instant): readonly Instant[] {
  const times = closureTimesOf(line, state)
  const arrival = expectedArrival(state)
  const { taken } = state.callout
  const named = [
    times === undefined || times === 'unknown' ? undefined : times.leaveBy,
    arrival?.earliest,
    arrival?.latest,
    taken?.promisedAt,
    taken === undefined ? undefined : promiseDueAt(taken.promisedAt, line.settings),
    nextOpening(line.clinic, at),
  ]
  return named.filter(one => one !== undefined && one > at) as Instant[]
}
