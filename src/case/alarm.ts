/** Alarms of a case: set, moved and cancelled by name; the clock's own crossings among them. */
import { arrivalOf, nextCrossing } from '../clinical/closure.ts'
import type { AlarmDocument } from '../flow/document.ts'
import { SILENT_ASK, SILENT_PAGE } from '../flow/steps.ts'
import { after, type Instant, type Milliseconds } from '../time/instant.ts'
import { copyWithout } from './copy.ts'
import { closureTimesOf, reachedAnswer } from './derive.ts'
import { InvariantBroken, settingOf } from './line.ts'
import type { AlarmSet, CaseState } from './state.ts'
import { moreUrgent, put, type Work } from './work.ts'

/** Alarms of the shell itself; a flow may not use these names. */
export const RUNG = 'rung'
export const PROMISE = 'promise'
export const CLOSURE = 'closure'
export const CLOSE = 'close'

export function setAlarm(work: Work, name: string, alarm: AlarmSet): void {
  if (work.state.alarms[name]?.due === alarm.due) return
  put(work, 'alarms', name, alarm)
}

export function cancelAlarm(work: Work, name: string): void {
  if (!(name in work.state.alarms)) return
  work.state.alarms = copyWithout(work.state.alarms, name)
}

/** A setting that is a length of time. */
export function lengthSetting(work: Work, id: string): Milliseconds {
  const value = settingOf(work.line, id)
  if (typeof value !== 'number') throw new InvariantBroken(`setting "${id}" is not a length of time`)
  return value as Milliseconds
}

/**
 * Sets an alarm of a flow step. One at a moment of the closure clock already past does not fire: the step itself has said
 * it. Every other that is past, and still has its work to do, comes at once or a length from now: nobody is left waiting
 * at a step that nothing follows.
 */
export function setFlowAlarm(work: Work, document: AlarmDocument, enteredAt: Instant): void {
  const { name, late } = document
  if (work.state.stoppedByClinician.includes(name)) return
  const now = work.state.alarms[name]
  if (isAlarmHeld(now)) return
  const isDone = work.replay !== undefined && now === undefined && hasWorked(work, name)
  if (document.after !== undefined) {
    const length = lengthSetting(work, document.after)
    const due = after(enteredAt, length)
    if (work.replay === undefined || (now === undefined && due > work.at)) setAlarm(work, name, { due, late })
    else if (now === undefined && !isDone) setAlarm(work, name, { due: after(work.at, length), late })
    return
  }
  const moment = document.at ?? ''
  // Whoever was asked about the arrival is asked again by the step that follows, also where a longer way was told since.
  if (moment === 'arrival' && isDone) return
  const due = momentOf(work, moment)
  if (due === undefined || due <= work.at) {
    if (due === undefined && now === undefined) setAlarm(work, name, { due: NEVER, late, moment })
    if (due !== undefined && moment === 'arrival' && now === undefined)
      setAlarm(work, name, { due: work.at, late, moment })
    return
  }
  setAlarm(work, name, { due, late, moment })
}

/** An alarm whose moment is not known yet: it waits, unset in the store, until an answer makes it known. */
export const NEVER = Number.MAX_SAFE_INTEGER as Instant

/** In a replay: the alarm fired and led back to the question, or its firing is still to be gone through again. */
function hasWorked(work: Work, name: string): boolean {
  return (work.state.spent ?? []).includes(name) || (work.replay?.toCome ?? []).includes(name)
}

/** It fired and led back to what was open: a replay does not set it again while its step is on the path. */
export function spendAlarm(work: Work, name: string): void {
  if (!(name in work.state.alarms)) work.state.spent = [...(work.state.spent ?? []), name]
}

/** Alarms that are set anew from now on, when talk comes to their step. */
export function restoreAlarms(work: Work, isRestored: (name: string) => boolean): void {
  if (work.state.spent !== undefined) work.state.spent = work.state.spent.filter(name => !isRestored(name))
}

/**
 * An alarm that came while the emergency steps hold talk is not lost: it waits, and comes once talk is out of them, after a
 * wrong tap. Someone on the road is then asked whether they have arrived.
 */
export function holdAlarm(work: Work, name: string, { late }: AlarmSet): void {
  setAlarm(work, name, { due: NEVER, late })
}

const isAlarmHeld = (alarm: AlarmSet | undefined): boolean => alarm?.due === NEVER && alarm.moment === undefined

function momentOf(work: Work, moment: string): Instant | undefined {
  if (moment === 'arrival') return arrivalLatest(work)
  const times = closureTimesOf(work.line, work.state)
  if (times === undefined || times === 'unknown') return undefined
  if (moment === 'leave-by') return times.leaveBy
  if (moment === 'closure-soonest') return times.soonestAt
  if (moment === 'closure-latest') return times.latestAt
  return times.overdueAt
}

/** When a family that has left is expected at the hospital; undefined before they left or when travel is not known. */
export function expectedArrival(state: CaseState): { earliest: Instant; latest: Instant } | undefined {
  const travel = reachedAnswer(state, 'travel')
  if (state.leftAt === undefined || travel?.kind !== 'length') return undefined
  return arrivalOf(state.leftAt, travel)
}

function arrivalLatest(work: Work): Instant | undefined {
  if (work.state.leftAt === undefined) return undefined
  const latest = expectedArrival(work.state)?.latest ?? after(work.state.leftAt, lengthSetting(work, 'closure-soonest'))
  return after(latest, lengthSetting(work, 'arrival-grace'))
}

/**
 * Moves alarms that stand at a moment of the answers, and sets the next crossing of the closure clock. One whose moment has
 * come to lie in the past, by a correction or a doubtful clock, is due at once and not at what it was before.
 */
export function followAnswers(work: Work): void {
  for (const [name, alarm] of Object.entries(work.state.alarms)) {
    if (isAlarmHeld(alarm) && !work.state.kernel.talk.startsWith(EMERGENCY))
      setAlarm(work, name, { ...alarm, due: work.at })
    if (alarm.moment === undefined) continue
    const due = momentOf(work, alarm.moment)
    if (due === undefined && alarm.due !== NEVER) setAlarm(work, name, { ...alarm, due: NEVER })
    if (due !== undefined && due !== alarm.due && due > work.at) setAlarm(work, name, { ...alarm, due })
    else if (due !== undefined && due <= work.at && alarm.due === NEVER) cancelAlarm(work, name)
    else if (due !== undefined && due <= work.at && alarm.due > work.at)
      setAlarm(work, name, { ...alarm, due: work.at })
  }
  if (!work.state.clockStarted) return
  const times = closureTimesOf(work.line, work.state)
  const next = times === undefined || times === 'unknown' ? undefined : nextCrossing(times, work.state.latestSeenAt)
  if (next === undefined) cancelAlarm(work, CLOSURE)
  else setAlarm(work, CLOSURE, { due: next, late: 'recompute' })
}

/** Ids of steps that make the emergency; the case is then interrupted until a wrong tap or a clinician. */
export const EMERGENCY = 'shared/emergency'

/** An alarm this much past its moment (exclusive) is late: the line was down, or the machine asleep. Milliseconds. */
export const LATE_AFTER_MS = 120_000

/**
 * What an alarm is there to say, its step's first line, has been said since its moment, the other lines are in force, and
 * nothing else would come of it: "time to go" is not said by a silence and again by the alarm of the same minute.
 */
export function isOvertaken(work: Work, name: string, due: Instant): boolean {
  const step = targetOf(work, name)
  if (step === undefined || !step.rows.every(row => row.go === 'resume')) return false
  if (step.page !== undefined || step.note !== undefined || step.alarms.length > 0) return false
  const { disposition, inForce } = work.state
  if (step.decide !== undefined && moreUrgent(step.decide, disposition?.id) !== disposition?.id) return false
  const [first, ...rest] = step.say ?? []
  if (first === undefined || (inForce[first] ?? Number.NEGATIVE_INFINITY) < due) return false
  return rest.every(id => id in inForce)
}

function targetOf(work: Work, name: string) {
  for (const step of work.flow.steps.values()) {
    const alarm = step.alarms.find(each => each.name === name)
    if (alarm !== undefined) return work.flow.steps.get(alarm.go)
  }
  return undefined
}

/** Rounds of asking and paging after which a silent family is left to the ladder. */
const SILENT_ROUNDS_MOST = 3

/**
 * A question opened: silence is chased from now, where the flow says how. A question asked again because of silence
 * goes on with the same chase: after the asking the page, after the page one more round, three in all.
 */
export function chaseSilence(work: Work, silent?: 'ask' | 'page'): void {
  if (work.flow.silence === undefined || silent === 'ask') return
  if (silent === undefined) work.state.silentRounds = 0
  else work.state.silentRounds += 1
  if (work.state.silentRounds >= SILENT_ROUNDS_MOST) return
  setAlarm(work, SILENT_ASK, { due: after(work.at, lengthSetting(work, 'left-check')), late: 'recompute' })
  setAlarm(work, SILENT_PAGE, { due: after(work.at, lengthSetting(work, 'left-silent')), late: 'recompute' })
}

/**
 * The line was down: a family that could not be heard was not silent. It is chased from now on, after the question has
 * been asked again.
 */
export function chaseFromNow(work: Work): void {
  setAlarm(work, SILENT_ASK, { due: after(work.at, lengthSetting(work, 'left-check')), late: 'recompute' })
  setAlarm(work, SILENT_PAGE, { due: after(work.at, lengthSetting(work, 'left-silent')), late: 'recompute' })
}

export function stopChasing(work: Work): void {
  cancelAlarm(work, SILENT_ASK)
  cancelAlarm(work, SILENT_PAGE)
}

/** Effects that bring the store's alarms from what they were to what they are now. */
export function alarmEffects(before: CaseState, work: Work): void {
  const { alarms } = work.state
  if (alarms === before.alarms) return
  for (const name in alarms) {
    const due = alarms[name]?.due
    if (due === undefined || before.alarms[name]?.due === due) continue
    work.effects.push(due === NEVER ? { kind: 'cancelAlarm', name } : { kind: 'setAlarm', name, due })
  }
  for (const name in before.alarms) if (!(name in alarms)) work.effects.push({ kind: 'cancelAlarm', name })
}
