/** Alarms that may still fire, and the steps that may so be come to. */
import { ANY_TIME_STEPS } from '../../flow/flow-step.ts'
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'
import { reachedFrom, reachIn } from './steps-ahead.ts'
import type { FlatFlow } from './tables.ts'

/**
 * Alarms that may still fire as things stand, one bit each; `runsOut`: a page may run out. Never 0 where silence is chased.
 *
 * @param leavesAgain  what follows "can't travel" is walked: whoever left may leave once more
 */
export function alarmsStillIn(flat: FlatFlow, leavesAgain = true): (state: Int32Array, runsOut: boolean) => number {
  const F = flat.fields
  const named = (name: string) => flat.alarmOf.get(name) ?? -1
  const always = [SILENT_ASK, SILENT_PAGE].map(named).filter(alarm => alarm >= 0)
  const unanswered = named(UNANSWERED)
  const left = named(LEFT)
  return (state, runsOut) => {
    let bits = 0
    for (const alarm of always) bits |= 1 << alarm
    for (let alarm = 0; alarm < flat.alarms.length; alarm++) if (state[F.armed + alarm] === 1) bits |= 1 << alarm
    if (unanswered >= 0 && state[F.ranOut] === 0 && runsOut) bits |= 1 << unanswered
    if (left >= 0 && (leavesAgain || state[F.left] === 0)) bits |= 1 << left
    return bits
  }
}

/** Whether a step may still be come to: from another, by an alarm that may fire (one bit each), or at any moment. */
export function aheadOf(flat: FlatFlow): (from: number, to: number, alarms: number) => boolean {
  const count = flat.nodes.length
  const reach = reachIn(flat)
  const isReached = (from: number, to: number) => from === to || reach[from * count + to] === 1
  const anyTime = ANY_TIME_STEPS.flatMap(id => flat.nodeOf.get(id) ?? [])
  const always = new Set([...anyTime, ...reachedFrom(flat, anyTime)])
  return (from, to, alarms) =>
    isReached(from, to) ||
    always.has(to) ||
    flat.alarms.some(({ target }, alarm) => (alarms >> alarm) % 2 !== 0 && isReached(target, to))
}
