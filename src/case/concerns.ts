/**
 * What a case is about, where a family names more than one trouble: the more urgent first, the other kept, told to the
 * clinician, and offered when the first has nothing more to ask. One case, one child, one ladder: its flow changes.
 */

import { factsOf } from '../flow/flow-facts.ts'
import { cancelAlarm, stopChasing } from './alarm.ts'
import type { Answer } from './answer.ts'
import { tellHolder } from './callout.ts'
import type { CaseEvent } from './event.ts'
import { familyLine, flowOf, isWorded, lineIn, wordingOf } from './line.ts'
import { ABOUT, ALSO_NOW, isLineQuestion } from './line-questions.ts'
import type { CaseState } from './state.ts'
import { askAgain, drive, factsNow, interrupt, openQuestion, raiseFloor, replay, takeBackOf } from './talk.ts'
import { saying, sayNotice, type Work } from './work.ts'

/** The concern of whoever wants a person, or names nothing. */
const SOMEONE = 'someone'

/** More troubles than anybody writes down in one night: further ones are for the clinician to read. */
const ALSO_MOST = 5

type Named = CaseEvent & { kind: 'concernNamed' }

/**
 * The family names a trouble in the middle of a case. Danger, and what is decided, stay as they are: a disposition is never
 * lowered by another trouble.
 */
export function concernNamed(work: Work, event: Named) {
  const { state } = work
  const learned = learn(work, event.facts ?? {}, event.said)
  const served = event.concerns.filter(concern => concern !== state.concern && isServed(work, concern))
  const next = served[0]
  if (next === undefined) return person(work)
  const isRest = state.open === undefined || isLineQuestion(state.open.fact)
  const isFirst = moreUrgentThan(work, next, state.concern)
  if (state.interrupted || isOnTheRoad(state) || (isHeld(work) && !isFirst)) {
    keep(work, served)
    sayNotice(work, 'also-told')
    tellHolder(work)
    return askAgain(work)
  }
  if (!isRest && !isFirst) {
    keep(work, served)
    sayNotice(work, 'also-noted')
    readOut(work, learned)
    tellHolder(work)
    return Object.keys(learned).length === 0 ? askAgain(work) : asIfSaidFirst(work)
  }
  const contradicted = contradictedBy(work, event.facts ?? {})
  turnTo(work, next)
  readOut(work, learned)
  keep(work, served.slice(1))
  askWhich(work, contradicted, event.said)
  if (event.concerns.some(concern => concern !== SOMEONE && !isServed(work, concern))) person(work)
}

/** Other troubles of a first message: kept for later; one that nothing of ours serves needs a person now. */
export function alsoNamed(work: Work, concerns: readonly string[]): void {
  const served = concerns.filter(concern => isServed(work, concern) && concern !== work.state.concern)
  keep(work, served)
  if (served.length > 0 && work.state.danger === undefined) sayNotice(work, 'also-noted')
  if (concerns.every(concern => isServed(work, concern))) return
  work.state.callout = { ...work.state.callout, reason: 'other-concern' }
  drive(work, { type: 'pageWanted' })
}

/** The answer to a question of the line itself. */
export function lineAnswered(work: Work, fact: string, answer: Answer) {
  const value = answer.kind === 'choice' ? answer.value : undefined
  work.state.open = undefined
  if (fact === ABOUT) {
    if (value !== undefined && value !== SOMEONE && isServed(work, value)) return turnTo(work, value)
    return replay(work)
  }
  const [next, ...rest] = work.state.also ?? []
  if (next === undefined) return
  if (value === 'yes') return turnTo(work, next)
  work.state.also = rest
  work.state.alsoLeft = [...(work.state.alsoLeft ?? []), next]
}

/** Asks what it is about, with a button for each concern; whatever the flow asked waits behind it. */
export function askAbout(work: Work): void {
  const { line, state } = work
  const served = [...line.flows.flows.keys()].filter(concern => isServed(work, concern))
  if (served.length > 1 && !state.interrupted && state.danger === undefined) openQuestion(work, ABOUT)
}

/** With nothing more to ask and nobody on the road to hospital: what else was named is offered. */
export function offerAlso(work: Work): void {
  const { state, flow } = work
  if (state.open !== undefined || state.interrupted || state.closed || state.outcome !== undefined) return
  if ((state.also ?? []).length === 0 || isOnTheRoad(state) || isHeld(work)) return
  const step = flow.steps.get(state.kernel.talk)
  if (step?.wait !== true && step?.end !== true) return
  // What the flow still has to come back to comes first.
  if (state.path.alarms.some(name => name in state.alarms)) return
  openQuestion(work, ALSO_NOW)
}

/** What was advised before for another trouble, and is to be left once this one leads to hospital. */
export function leaveEarlier(work: Work): void {
  const { before = [], path } = work.state
  if (path.decided !== 'set-out' && path.decided !== 'ambulance') return
  for (const { concern, says } of before) takeBackOf(work, says, path.says, concern)
}

/**
 * Talk goes on with another flow: what was answered is not asked again, what history holds stays (danger, pages, the
 * urgency reached), and advice of the flow that is left is taken back where it was not finished.
 */
function turnTo(work: Work, concern: string): void {
  const { state, line } = work
  const left = state.concern
  if (state.disposition !== undefined) raiseFloor(work, state.disposition.id)
  const isUnfinished =
    left !== SOMEONE && (state.open !== undefined || state.path.alarms.some(name => name in state.alarms))
  const { says, reasons } = state.path
  const isFirst = moreUrgentThan(work, concern, left)
  const others = (state.also ?? []).filter(each => each !== concern)
  state.also = isUnfinished ? [left, ...others.filter(each => each !== left)] : others
  state.before = [...(state.before ?? []).filter(each => each.concern !== left), { concern: left, says, reasons }]
  for (const name of state.path.alarms) cancelAlarm(work, name)
  stopChasing(work)
  state.open = undefined
  state.spent = undefined
  state.concern = concern
  const hash = line.hashes?.get(concern)
  if (hash !== undefined) state.flowHash = hash
  work.flow = flowOf(line, concern)
  const { callout, closure, facts } = state.kernel
  state.kernel = { ...work.flow.kernel.blank, callout, closure, facts }
  state.firedOnPath = []
  state.enteredAt = {}
  // What a family asks about is answered though a clinician has the case.
  work.allowed = true
  forgetOther(work, left)
  state.path = { ...state.path, reasons: [], notes: [], alarms: [], asked: [] }
  if (isFirst || isUnfinished) work.leaving = left
  replay(work, work.leaving !== undefined)
  work.leaving = undefined
  tellHolder(work)
}

/** Advice of the flow that is left, where the other says something else under the same id: it is said anew. */
function forgetOther(work: Work, left: string): void {
  const { state } = work
  const line = familyLine(work.line, state)
  const [was, is] = [wordingOf(line, left), wordingOf(line, state.concern)]
  const isSame = (id: string) => was.source(`say/${id}`) === is.source(`say/${id}`)
  state.inForce = Object.fromEntries(Object.entries(state.inForce).filter(([id]) => isSame(id) || !is.has(`say/${id}`)))
  state.path = { ...state.path, says: state.path.says.filter(id => isSame(id) || !is.has(`say/${id}`)) }
}

/**
 * Talk goes on with what was said by the way as if the first message had said it: a step that lies behind may look at it. In an
 * interruption what is open comes first; talk comes back from it by the same way.
 */
export function asIfSaidFirst(work: Work): void {
  const { state, flow } = work
  const rows = flow.steps.get(state.kernel.talk)?.rows ?? []
  const leadsBack = rows.length > 0 && rows.every(({ go }) => go === 'resume')
  if (state.interrupted || leadsBack) askAgain(work)
  else replay(work)
}

/** What words answered beside their trouble is read back where this flow wants to know it. */
export function readOut(work: Work, facts: Readonly<Record<string, Answer>>): void {
  const own = factsOf(work.flow, work.line.flows.derived)
  const answers = Object.entries(facts).flatMap(([fact, answer]) => (own.has(fact) ? [{ fact, answer }] : []))
  if (answers.length > 0 && work.state.danger === undefined) saying(work, { kind: 'heard', answers })
}

/** Facts the words gave along: those not yet on record are known from here on, and not asked. Gives those. */
function learn(work: Work, facts: Readonly<Record<string, Answer>>, said: string): Readonly<Record<string, Answer>> {
  const known = work.state.answers
  const open = work.state.open?.fact
  const fresh = Object.entries(facts).filter(([fact]) => known[fact] === undefined && fact !== open)
  if (fresh.length === 0) return {}
  const records = fresh.map(([fact, answer]) => [fact, { answer, said, at: work.at, changed: false, given: true }])
  work.state.answers = { ...known, ...Object.fromEntries(records) }
  return Object.fromEntries(fresh)
}

/** The first earlier answer that the words contradict. */
function contradictedBy({ state }: Work, facts: Readonly<Record<string, Answer>>): string | undefined {
  const isOther = (one: Answer, two: Answer) =>
    (one.kind === 'choice' || one.kind === 'many') && JSON.stringify(one) !== JSON.stringify(two)
  return Object.keys(facts).find(fact => {
    const [now, before] = [facts[fact], state.answers[fact]?.answer]
    return now !== undefined && before !== undefined && isOther(now, before)
  })
}

/** Two answers that contradict are both read back, and the question is put once more. */
function askWhich(work: Work, fact: string | undefined, said: string): void {
  const before = fact === undefined ? undefined : work.state.answers[fact]
  if (fact === undefined || before === undefined || work.state.interrupted) return
  saying(work, { kind: 'both', fact, answer: before.answer, said })
  openQuestion(work, fact, true)
}

function keep(work: Work, concerns: readonly string[]): void {
  const { state } = work
  const also = [...(state.also ?? []), ...concerns.filter(each => each !== state.concern)]
  if (also.length > 0) state.also = [...new Set(also)].slice(0, ALSO_MOST)
}

const person = (work: Work): void => interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))

function isServed({ line, state }: Work, concern: string): boolean {
  return concern === SOMEONE || isWorded(line, concern, lineIn(line, familyLine(line, state).language).language)
}

/** By the order of the line, most urgent first; one that is not in it comes last. */
function moreUrgentThan({ line }: Work, one: string, other: string): boolean {
  const order = line.mostUrgentFirst ?? [...line.flows.flows.keys()]
  const rank = (concern: string) => (order.includes(concern) ? order.indexOf(concern) : order.length)
  return other === SOMEONE ? one !== SOMEONE : rank(one) < rank(other)
}

const isOnTheRoad = ({ disposition, leftAt }: CaseState): boolean =>
  leftAt !== undefined || disposition?.id === 'set-out' || disposition?.id === 'ambulance'

/** A clinician has taken it, or said what came of it. */
const isHeld = ({ state }: Work): boolean => ['taken', 'spoken', 'settled'].includes(state.kernel.callout)
