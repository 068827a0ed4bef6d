/** What clinicians do to a case. */
import type { Instant } from '../time/instant.ts'
import { CLOSE, cancelAlarm, setAlarm } from './alarm.ts'
import { promisedAt } from './callout.ts'
import type { CaseEvent } from './event.ts'
import { askAgain, drive, settleDisposition } from './talk.ts'
import { mark, sayNotice, setPath, type Work } from './work.ts'

/** A case that ended at home, or was settled, is closed this long after. */
export const CLOSE_AFTER_MS = 24 * 3_600_000

/** Two pages of one case lie on a phone: the same answer to both within this time (ms, inclusive) is one answer. */
const SAME_ANSWER_MS = 60_000

/**
 * A clinician takes the case and says what they will do and when. The same answer again, given to another page of the
 * case, tells nobody anything new: the first promise stands.
 */
export function acknowledged(work: Work, event: CaseEvent & { kind: 'pageAcknowledged' }) {
  if (isSameAnswer(work, event)) return
  const promised = promisedAt(work, event.doing)
  const taken = { by: event.by, doing: event.doing, at: work.at, promisedAt: promised }
  work.state.callout = { ...work.state.callout, rangAt: undefined, familyRangAt: undefined, taken }
  drive(work, { type: 'pageAcknowledged' })
  askAgain(work)
}

function isSameAnswer(work: Work, { by, doing }: CaseEvent & { kind: 'pageAcknowledged' }): boolean {
  const { taken } = work.state.callout
  if (work.state.kernel.callout !== 'taken' || taken === undefined || taken.by.id !== by.id) return false
  if (taken.doing.kind !== doing.kind || work.at - taken.at > SAME_ANSWER_MS) return false
  return doing.kind !== 'ringing-by' || taken.doing.kind !== 'ringing-by' || doing.by === taken.doing.by
}

/** Only this lowers a case after danger or time raised it. */
export function lowered(work: Work, event: CaseEvent & { kind: 'dispositionLowered' }) {
  work.state.floor = undefined
  setPath(work, { decided: event.to })
  work.state.interrupted = false
  work.state.danger = undefined
  settleDisposition(work)
  mark(work, 'lowered')
  sayNotice(work, 'lowered')
  askAgain(work)
}

/** The clinician has set what came of it. "Do not write" stops every later word to this family at once. */
export function outcomeSet(work: Work, event: CaseEvent & { kind: 'outcomeSet' }) {
  work.state.outcome = {
    id: event.outcome,
    by: event.by,
    ...(event.note === undefined ? {} : { note: event.note }),
    at: work.at,
  }
  drive(work, { type: 'outcomeSet' })
  for (const name of Object.keys(work.state.alarms)) cancelAlarm(work, name)
  work.state.open = undefined
  work.state.clockStarted = false
  if (event.doNotWrite) {
    work.state.doNotWrite = true
    work.state.closed = true
    return
  }
  sayNotice(work, 'closed')
  setAlarm(work, CLOSE, { due: (work.at + CLOSE_AFTER_MS) as Instant, late: 'recompute' })
}

/** Somebody of the clinic's day is named for the case. The family hears who, unless a clinician has ended it. */
export function dayTaken(work: Work, { by, taker }: CaseEvent & { kind: 'dayTaken' }) {
  const before = work.state.day?.taker.id
  work.state.day = { taker, by, at: work.at }
  if (work.state.outcome !== undefined || before === taker.id) return
  sayNotice(work, 'day-taken')
  askAgain(work)
}
