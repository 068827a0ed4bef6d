/** Driving the kernel: what entering a step does, answers from the record, and the replay after a correction. */
import type { AlarmDocument } from '../flow/document.ts'
import type { Step } from '../flow/flow-step.ts'
import type { KernelEffect, KernelEvent } from '../flow/kernel.ts'
import { LEFT, SILENT_PAGE, UNANSWERED } from '../flow/steps.ts'
import { cancelAlarm, chaseSilence, EMERGENCY, restoreAlarms, setAlarm, setFlowAlarm, stopChasing } from './alarm.ts'
import { onStage } from './callout.ts'
import { copyWithout } from './copy.ts'
import { closureAt, factsAt } from './derive.ts'
import type { Disposition } from './event.ts'
import { InvariantBroken, wordingOf } from './line.ts'
import { type AlarmSet, EMPTY_PATH } from './state.ts'
import { mark, moreUrgent, put, saying, setPath, type Work } from './work.ts'

/** More kernel events than any one event of a case can need: a guard against a flow that never rests. */
const MOST_DRIVES = 400

/** Gives the kernel one event, does what it asks, and goes on until it rests. */
export function drive(work: Work, event: KernelEvent): void {
  const queue: KernelEvent[] = [event]
  for (let count = 0; count < queue.length; count++) {
    if (count > MOST_DRIVES) throw new InvariantBroken(`flow "${work.flow.concern}" does not come to rest`)
    const next = queue[count]
    if (next !== undefined) driveOnce(work, next, queue)
  }
}

/** @param follow  takes what the kernel is to be given next */
function driveOnce(work: Work, event: KernelEvent, follow: KernelEvent[]): void {
  const { state, effects } = work.flow.kernel.step(work.state.kernel, event)
  work.state.kernel = state
  for (const effect of effects) onEffect(work, effect, follow)
  // A replay pages when it is done: only then is the disposition known that the page carries.
  if (work.replay === undefined && work.pagesWanted.length > 0) follow.push(...pagesOf(work))
}

function onEffect(work: Work, effect: KernelEffect, follow: KernelEvent[]): void {
  switch (effect.kind) {
    case 'entered':
      enter(work, effect.step, follow)
      break
    case 'resume':
      work.resume = true
      break
    case 'callout': {
      const moved = onStage(work, effect.stage)
      if (moved === 'unanswered') work.unanswered = true
      if (moved === 'pageFailed') follow.push({ type: 'pageFailed' })
      break
    }
    case 'band':
      if (effect.closure === 'overdue') mark(work, 'overdue')
  }
}

/** A reason that is new on this path, or came up in an interruption, pages; the ladder itself never starts twice. */
function pagesOf(work: Work): KernelEvent[] {
  const wanted = work.pagesWanted.splice(0)
  return wanted.map(reason => {
    work.state.callout = { ...work.state.callout, reason }
    return { type: 'pageWanted' as const }
  })
}

export function factsNow(work: Work) {
  return factsAt(work.line, work.state, work.at)
}

function enter(work: Work, id: string, follow: KernelEvent[]): void {
  const step = work.flow.steps.get(id)
  if (step === undefined) throw new InvariantBroken(`the machine entered step "${id}", which the flow does not have`)
  if (id.startsWith(EMERGENCY)) enterEmergency(work)
  work.entered += 1
  const isAgain = work.replay === undefined && id in work.state.enteredAt
  // A replay goes the way again that was gone before: its alarms count from then.
  const enteredAt = (work.replay === undefined ? undefined : work.state.enteredAt[id]) ?? work.at
  put(work, 'enteredAt', id, enteredAt)
  if (step.decide !== undefined) decide(work, step.decide)
  for (const advice of step.say ?? []) say(work, advice, isAgain)
  if (step.page !== undefined) wantPage(work, step.page)
  if (step.note !== undefined) leaveNote(work, step.note)
  for (const alarm of step.alarms) addAlarm(work, alarm, enteredAt)
  for (const name of step.cancel ?? []) cancelAlarm(work, name)
  if (step.cancel !== undefined) restoreAlarms(work, name => step.cancel?.includes(name) === true)
  if (step['start-clock'] !== undefined) work.state.clockStarted = true
  if (step.ask === undefined) rest(work, step)
  else ask(work, step, step.ask, follow)
}

function enterEmergency(work: Work): void {
  work.front = true
  work.allowed = true
  work.state.interrupted = true
  work.state.danger ??= { at: work.at, signs: [] }
}

function rest(work: Work, step: Step): void {
  if (step.wait !== true && step.end !== true) return
  work.state.open = undefined
  stopChasing(work)
}

/** Raises the disposition; on a replayed path it is compared when the replay is done. */
function decide(work: Work, disposition: Disposition): void {
  if (work.replay !== undefined && !work.state.interrupted) {
    const decided = moreUrgent(work.replay.decided, disposition)
    if (decided !== undefined) work.replay.decided = decided
    return
  }
  if (work.state.interrupted) raiseFloor(work, disposition)
  else {
    const decided = moreUrgent(work.state.path.decided, disposition)
    if (decided !== undefined) setPath(work, { decided })
  }
  settleDisposition(work)
}

export function raiseFloor(work: Work, disposition: Disposition): void {
  const floor = moreUrgent(work.state.floor, disposition)
  if (floor !== undefined) work.state.floor = floor
  settleDisposition(work)
}

/** The disposition is the more urgent of what the path decided and what history holds it at. */
export function settleDisposition(work: Work): void {
  const id = moreUrgent(work.state.path.decided, work.state.floor)
  if (id === undefined) work.state.disposition = undefined
  else if (work.state.disposition?.id !== id) work.state.disposition = { id, at: work.at }
}

/** Says advice or a notice: once while it is in force on the path, again where its step is come to again; every time in an interruption. */
export function say(work: Work, id: string, isAgain = false): void {
  const advice = work.flow.advice.get(id)
  const isAct = advice !== undefined && advice.tags.length > 0
  if (work.replay !== undefined && !work.state.interrupted) {
    work.replay.says.push(id)
    if (id in work.state.inForce || work.state.path.says.includes(id)) return
  } else if (!work.state.interrupted && !work.resume) {
    const known = work.state.path.says.includes(id)
    if (known && id in work.state.inForce && !isAgain) return
    if (!known) setPath(work, { says: [...work.state.path.says, id] })
  } else if (work.state.interrupted && work.replay !== undefined && id in work.state.inForce) return
  if (isAct && holdsBack(work)) {
    if (!work.state.heldBack.includes(id)) work.state.heldBack = [...work.state.heldBack, id]
    if (!work.rest.some(part => part.kind === 'say' && part.id === 'clinician-decides'))
      saying(work, { kind: 'say', id: 'clinician-decides' })
    return
  }
  if (!(id in work.state.inForce)) put(work, 'inForce', id, work.at)
  saying(work, { kind: 'say', id })
}

/** Once a clinician has taken the case the bot gives no new advice but in danger, or what the clinician let stand. */
function holdsBack(work: Work): boolean {
  const stage = work.state.kernel.callout
  return !work.allowed && (stage === 'taken' || stage === 'spoken' || stage === 'settled')
}

function wantPage(work: Work, reason: string): void {
  if (work.state.interrupted || work.resume) {
    // A correction may be what shows the emergency: it pages like any other.
    if (work.replay === undefined || !work.replay.wasEmergency) work.pagesWanted.push(reason)
    return
  }
  const known = work.state.path.reasons.includes(reason)
  if (work.replay !== undefined) work.replay.reasons.push(reason)
  else if (!known) setPath(work, { reasons: [...work.state.path.reasons, reason] })
  if (!known) work.pagesWanted.push(reason)
}

function leaveNote(work: Work, note: string): void {
  const known = work.state.path.notes.includes(note)
  if (work.replay !== undefined) work.replay.notes.push(note)
  else if (!known) setPath(work, { notes: [...work.state.path.notes, note] })
  if (!known) work.effects.push({ kind: 'note', id: note })
}

function addAlarm(work: Work, alarm: AlarmDocument, enteredAt: typeof work.at): void {
  if (work.replay !== undefined) work.replay.alarms.push(alarm.name)
  else {
    setPath(work, { alarms: [...new Set([...work.state.path.alarms, alarm.name])] })
    restoreAlarms(work, name => name === alarm.name)
  }
  setFlowAlarm(work, alarm, enteredAt)
}

/** Opens a question, or answers it from the record: after a correction and for what was already known. */
function ask(work: Work, step: Step, fact: string, follow: KernelEvent[]): void {
  // A follow-up asks anew: the earlier answer no longer stands, also for a replay to come.
  if (step.again === true && work.replay === undefined) forgetAnswer(work, fact)
  const known = work.state.answers[fact] !== undefined
  reach(work, fact)
  if (known) {
    follow.push({ type: 'answered', facts: factsNow(work) })
    return
  }
  openQuestion(work, fact)
  if (step.quiet === true) stopChasing(work)
  else chaseSilence(work, work.silent)
}

function forgetAnswer(work: Work, fact: string): void {
  work.state.answers = copyWithout(work.state.answers, fact)
}

/** The fact belongs to this conversation from here on. */
export function reach(work: Work, fact: string): void {
  if (work.state.path.asked.includes(fact)) return
  setPath(work, { asked: [...work.state.path.asked, fact] })
}

/** Serials of which it is remembered what was asked: more than any talk has questions, so that a case does not grow with use. */
export const ASKED_REMEMBERED = 32

/** Remembers what is asked under a serial, and forgets the oldest past {@link ASKED_REMEMBERED}: serials go up by one. */
export function rememberAsked(work: Work, serial: number, asked: string): void {
  const before = work.state.askedBySerial
  const oldest = serial - ASKED_REMEMBERED
  const kept = before !== undefined && oldest in before ? copyWithout(before, String(oldest)) : before
  work.state.askedBySerial = { ...kept, [serial]: asked }
}

export function openQuestion(work: Work, fact: string, changing = false): void {
  const serial = work.state.serial + 1
  work.state.serial = serial
  rememberAsked(work, serial, fact)
  work.state.open = { serial, fact, askedAt: work.at, misread: 0, changing }
  saying(work, { kind: 'ask', serial, fact })
}

/**
 * Talk from the start with the answers on record, as if each had been given right the first time. What is history
 * stays: danger, an attempt, pages. Advice that no longer holds is taken back first; advice still in force is not
 * said again; alarms keep their names and moments.
 */
export function replay(work: Work, takesBack = true): void {
  work.resume = false
  const before = work.state.path
  const inEmergency = work.state.danger !== undefined && work.state.interrupted
  const chase = work.state.alarms[SILENT_PAGE]
  const again: NonNullable<Work['replay']> = {
    says: [],
    reasons: [],
    notes: [],
    alarms: [],
    asked: [],
    toCome: [...work.state.firedOnPath],
    wasEmergency: inEmergency,
    decided: undefined,
  }
  work.replay = again
  work.state.interrupted = false
  setPath(work, { asked: [] })
  work.state.open = undefined
  drive(work, { type: 'talkRestarted', facts: factsNow(work) })
  for (const alarm of work.state.firedOnPath) {
    again.toCome.shift()
    if (alarm === LEFT && work.state.leftAt === undefined) continue
    if (alarm === UNANSWERED || alarm === LEFT || again.alarms.includes(alarm))
      drive(work, { type: 'alarmDue', alarm, facts: factsNow(work) })
  }
  if (takesBack) takeBack(work, before.says)
  else again.says.push(...before.says)
  const { alarms } = again
  for (const name of before.alarms) if (!alarms.includes(name)) cancelAlarm(work, name)
  restoreAlarms(work, name => !alarms.includes(name))
  const { asked } = work.state.path
  const { decided, toCome: _gone, wasEmergency: _was, ...rebuilt } = again
  work.state.path = { ...EMPTY_PATH, ...rebuilt, asked, decided }
  if (inEmergency) {
    drive(work, { type: 'dangerSaid', facts: factsNow(work) })
    work.state.interrupted = true
  }
  work.replay = undefined
  goOnChasing(work, chase)
  settleDisposition(work)
  for (const page of pagesOf(work)) drive(work, page)
}

/** A family asked "are you there?" stays chased, though the way back led past a place where nobody is. */
function goOnChasing(work: Work, page: AlarmSet | undefined): void {
  const step = work.flow.steps.get(work.state.kernel.talk)
  const isChased = work.state.open !== undefined && step?.ask !== undefined && step.quiet !== true
  if (work.silent === 'ask' && page !== undefined && isChased) setAlarm(work, SILENT_PAGE, page)
}

/** Advice that no longer holds lapses; where the wording has a "Stop: …" for it, that is said first. */
function takeBack(work: Work, saidBefore: readonly string[]): void {
  takeBackOf(work, saidBefore, work.replay?.says ?? [], work.leaving)
}

/** The same for advice of a concern that talk has left: `of`. */
export function takeBackOf(work: Work, said: readonly string[], stillSaid: readonly string[], of?: string): void {
  const still = new Set(stillSaid)
  for (const id of said) {
    if (still.has(id) || !(id in work.state.inForce)) continue
    work.state.inForce = copyWithout(work.state.inForce, id)
    if (!wordingOf(work.line, of ?? work.state.concern).has(`stop/${id}`)) continue
    work.stops.push(of === undefined ? { kind: 'stop', id } : { kind: 'stop', id, of })
  }
}

/** Runs an interruption and comes back to what was open. */
export function interrupt(work: Work, run: () => void) {
  const wasInterrupted = work.state.interrupted
  work.state.interrupted = true
  // What a family asks for is answered though a clinician has the case.
  work.allowed = true
  run()
  work.state.interrupted = wasInterrupted
  if (work.resume) replay(work)
}

/** Brings the kernel's closure region to the band of the moment. */
export function followClock(work: Work): void {
  if (!work.state.clockStarted) return
  const band = closureAt(work.line, work.state, work.at)
  if (band !== work.state.kernel.closure) drive(work, { type: 'clockCrossed', closure: band })
}

/** Asks the open question again, under the same serial. */
export function askAgain(work: Work) {
  const { open } = work.state
  if (open === undefined) return
  if (open.readBack === undefined) saying(work, { kind: 'ask', serial: open.serial, fact: open.fact })
  else saying(work, { kind: 'read-back', serial: open.serial, fact: open.fact, reading: open.readBack.reading })
}
