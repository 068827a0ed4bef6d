/**
 * One step of a case: (case, event, instant) → (case, effects). Pure: nothing is sent, stored or waited for here.
 * Production, the simulated night and replay run this same function.
 */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../flow/steps.ts'
import type { Instant } from '../time/instant.ts'
import {
  alarmEffects,
  CLOSE,
  CLOSURE,
  cancelAlarm,
  chaseFromNow,
  followAnswers,
  holdAlarm,
  isOvertaken,
  LATE_AFTER_MS,
  PROMISE,
  RUNG,
  setAlarm,
  spendAlarm,
} from './alarm.ts'
import { type Answer, numberGiven } from './answer.ts'
import { isAnyoneTold, oversleeps, pageSettled, renewLadder, tellHolder } from './callout.ts'
import { acknowledged, CLOSE_AFTER_MS, dayTaken, lowered, outcomeSet } from './clinician-events.ts'
import { type Doubted, withDoubt } from './clock-doubt.ts'
import {
  alsoNamed,
  asIfSaidFirst,
  askAbout,
  concernNamed,
  leaveEarlier,
  lineAnswered,
  offerAlso,
  readOut,
} from './concerns.ts'
import { copyWith, copyWithout } from './copy.ts'
import type { Effect } from './effect.ts'
import type { CaseEvent, Clinician, InLanguage } from './event.ts'
import { familyLine, isWorded, type Line, languagesOf } from './line.ts'
import { isLineQuestion } from './line-questions.ts'
import { hearNumber, isNumberTaken, numberSaid, RING_BACK, readBackNumber } from './number-to-ring.ts'
import { pagesSettled, replyOf } from './outgoing.ts'
import { type CaseState, READ_BACK } from './state.ts'
import {
  askAgain,
  drive,
  factsNow,
  followClock,
  interrupt,
  openQuestion,
  raiseFloor,
  reach,
  rememberAsked,
  replay,
} from './talk.ts'
import { beginWork, mark, saying, sayNotice, type Work } from './work.ts'

export interface Stepped {
  readonly state: CaseState
  readonly effects: readonly Effect[]
}

const DANGER_SIGNS = 'danger-signs'

/** After this many tries in a row that could not be read, a person is paged. */
const MISREAD_MOST = 3

export function step(line: Line, state: CaseState, event: CaseEvent & Doubted & InLanguage, at: Instant): Stepped {
  const work = beginWork(line, withDoubt(state, event), at)
  hearLanguage(work, event)
  hearNumber(work, event)
  handle(work, event)
  if (isNumberTaken(state, work, event)) readBackNumber(work)
  settle(work)
  return finish(state, work)
}

/** Words in another language of the line are answered in it; one that the line does not speak is said to be so, once. */
function hearLanguage(work: Work, { kind, language, foreign }: CaseEvent & InLanguage) {
  const { line, state } = work
  const isOther = language !== undefined && familyLine(line, state).language !== language
  if (isOther && kind !== 'languageChosen' && isWorded(line, state.concern, language)) {
    state.language = language
    if (kind !== 'caseOpened') sayNotice(work, 'language-changed')
  }
  if (foreign === undefined || state.foreign === foreign) return
  state.foreign = foreign
  if (line.foreign?.has(foreign) === true) work.urgent.push({ kind: 'foreign', language: foreign })
}

function handle(work: Work, event: CaseEvent) {
  switch (event.kind) {
    case 'caseOpened':
      return opened(work, event)
    case 'resumed':
      return resumed(work)
    case 'answerGiven':
      return answered(work, event)
    case 'readBackAnswered':
      return readBackAnswered(work, event)
    case 'changeWanted':
      return changeWanted(work, event)
    case 'staleAnswer':
      sayNotice(work, 'answered-before')
      return askAgain(work)
    case 'concernNamed':
      return concernNamed(work, event)
    case 'factSaid':
      return factSaid(work, event)
    case 'dangerSaid':
      return danger(work, event.signs)
    case 'wrongTapSaid':
      return wrongTap(work)
    case 'photoKept':
      sayNotice(work, 'photo-kept')
      tellHolder(work)
      return askAgain(work)
    case 'personWanted':
      return interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
    case 'travelRefused':
      return travelRefused(work, event.said)
    case 'leftSaid':
      return leftSaid(work, event.said)
    case 'familyRungSaid':
      return familyRang(work)
    case 'notUnderstood':
      return notUnderstood(work, event)
    case 'greeted':
      if (event.news === true) return newsSaid(work)
      if (event.said !== undefined || work.state.open === undefined)
        sayNotice(work, work.state.open === undefined ? 'here-still' : 'here-open')
      return askAgain(work)
    case 'languageChosen':
      return languageChosen(work, event.language)
    case 'alarmDue':
      return alarmDue(work, event.name, event.due)
    case 'pageSettled':
      return pageSettled(work, event) === 'pageFailed' ? drive(work, { type: 'pageFailed' }) : undefined
    case 'pageOpened':
      return mark(work, `opened:${event.by}`)
    case 'pageAcknowledged':
      return acknowledged(work, event)
    case 'passedOn':
      reopened(work)
      work.state.callout = { ...work.state.callout, passedBy: [...work.state.callout.passedBy, event.by.id] }
      cancelAlarm(work, PROMISE)
      sayNotice(work, 'passed-on')
      return drive(work, { type: 'passedOn' })
    case 'clinicianWrote':
      saying(work, { kind: 'clinician', ...signed(event.by), text: event.text })
      return askAgain(work)
    case 'callMade':
      work.state.callout = { ...work.state.callout, rangAt: work.at }
      return drive(work, { type: 'callMade' })
    case 'dispositionLowered':
      return lowered(work, event)
    case 'alarmStopped':
      work.state.stoppedByClinician = [...work.state.stoppedByClinician, event.name]
      return cancelAlarm(work, event.name)
    case 'outcomeSet':
      return outcomeSet(work, event)
    case 'rotaChanged':
      return renewLadder(work)
    case 'dayTaken':
      return dayTaken(work, event)
    case 'replyGivenUp':
      mark(work, 'cannot-be-reached')
      // Where nobody knows of the case yet, somebody must: what it says is read by no one.
      return isAnyoneTold(work) || work.state.closed
        ? tellHolder(work)
        : drive(work, { type: 'personWanted', facts: factsNow(work) })
  }
}

/** "It has stopped": the case stays as it is, and whoever was paged is told. Where nobody was and nothing is asked, somebody must know. */
function newsSaid(work: Work) {
  const isTold = isAnyoneTold(work)
  if (!isTold && work.state.open === undefined)
    return interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
  sayNotice(work, isTold ? 'news-noted' : 'here-open')
  if (isTold) tellHolder(work)
  return askAgain(work)
}

/** Passed on after an outcome was set: it is not over, and does not close by itself. */
function reopened(work: Work): void {
  if (work.state.outcome === undefined) return
  work.state.outcome = undefined
  cancelAlarm(work, CLOSE)
}

const signed = (by: Clinician) => ({ name: by.name, role: by.role })

function opened(work: Work, event: CaseEvent & { kind: 'caseOpened' }) {
  const given = Object.entries(event.facts ?? {}).map(([fact, answer]) => [
    fact,
    { answer, said: event.said ?? '', at: work.at, changed: false, given: true },
  ])
  work.state.answers = { ...work.state.answers, ...Object.fromEntries(given) }
  drive(work, { type: 'talkRestarted', facts: factsNow(work) })
  if (work.resume) replay(work)
  if (event.danger !== undefined && event.danger.length > 0) danger(work, event.danger)
  if (event.said !== undefined) readOut(work, event.facts ?? {})
  if (event.also !== undefined) alsoNamed(work, event.also)
  if (event.wantsPerson === true) interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
  if (event.unread !== undefined) saying(work, { kind: 'misread', reason: event.unread })
  if (event.unclear !== true) return
  if (event.dangerFirst === true && work.state.open?.fact === DANGER_SIGNS) work.state.aboutNext = true
  else askAbout(work)
}

function resumed(work: Work) {
  if (work.state.open === undefined) return
  sayNotice(work, 'out-of-touch')
  askAgain(work)
  if (SILENT_ASK in work.state.alarms || SILENT_PAGE in work.state.alarms) chaseFromNow(work)
}

function answered(work: Work, event: CaseEvent & { kind: 'answerGiven' }) {
  const { open } = work.state
  if (open === undefined || open.serial !== event.serial || open.fact !== event.fact) {
    sayNotice(work, 'answered-before')
    return askAgain(work)
  }
  if (isLineQuestion(open.fact)) return lineAnswered(work, open.fact, event.answer)
  if (event.readBack !== undefined && work.line.flows.facts[event.fact]?.['read-back'] === true) {
    const serial = work.state.serial + 1
    work.state.serial = serial
    rememberAsked(work, serial, READ_BACK)
    work.state.open = {
      ...open,
      serial,
      misread: 0,
      readBack: { answer: event.answer, said: event.said, reading: event.readBack },
    }
    return askAgain(work)
  }
  accept(work, event.fact, event.answer, event.said, open.changing)
}

function readBackAnswered(work: Work, event: CaseEvent & { kind: 'readBackAnswered' }) {
  const { open } = work.state
  if (open?.readBack === undefined || open.serial !== event.serial) {
    sayNotice(work, 'answered-before')
    return askAgain(work)
  }
  if (event.right) return accept(work, open.fact, open.readBack.answer, open.readBack.said, open.changing)
  openQuestion(work, open.fact, open.changing)
}

/** Takes an answer: talk goes on from it, or is replayed when it changes an earlier one. */
function accept(work: Work, fact: string, answer: Answer, said: string, changing: boolean) {
  const before = work.state.answers[fact]
  const changed = changing || before?.given === true
  const taken = { answer, said, at: work.at, changed: changing, given: before?.given === true }
  work.state.answers = copyWith(work.state.answers, fact, taken)
  work.state.open = undefined
  if (fact === 'have-you-left' && answer.kind === 'choice' && answer.value === 'yes') hasLeft(work)
  if (fact === RING_BACK && answer.kind === 'phone' && answer.number === 'write-only') mark(work, 'write-only')
  if (isDanger(fact, answer))
    return danger(
      work,
      answer.values.filter(sign => sign !== 'none'),
    )
  if (changed) {
    replay(work)
    if (changing) tellHolder(work)
    return
  }
  reach(work, fact)
  drive(work, { type: 'answered', facts: factsNow(work) })
  if (fact === DANGER_SIGNS && work.state.aboutNext === true) aboutAfterDanger(work, answer)
}

/** What it is about, once no sign was seen. Where that is not sure the single checks go on: a person comes in any case. */
function aboutAfterDanger(work: Work, answer: Answer) {
  work.state.aboutNext = undefined
  if (answer.kind === 'many') askAbout(work)
}

function isDanger(fact: string, answer: Answer): answer is Answer & { kind: 'many' } {
  return fact === DANGER_SIGNS && answer.kind === 'many' && answer.values.some(value => value !== 'none')
}

/** The answer to another question than the open one: taken where that was not answered yet, else asked which holds. */
function factSaid(work: Work, { fact, answer, said }: CaseEvent & { kind: 'factSaid' }) {
  const { phone } = numberGiven(answer)
  if (fact === RING_BACK && phone !== undefined) {
    numberSaid(work, phone, said)
    return askAgain(work)
  }
  const before = Object.hasOwn(work.state.answers, fact) ? work.state.answers[fact] : undefined
  if (before !== undefined && JSON.stringify(before.answer) !== JSON.stringify(answer))
    return changeWanted(work, { kind: 'changeWanted', fact, said })
  saying(work, { kind: 'noted', fact, answer })
  if (before !== undefined) return askAgain(work)
  const record = { answer, said, at: work.at, changed: false, given: true }
  work.state.answers = copyWith(work.state.answers, fact, record)
  asIfSaidFirst(work)
}

function changeWanted(work: Work, { fact, said }: CaseEvent & { kind: 'changeWanted' }) {
  const before = Object.hasOwn(work.state.answers, fact) ? work.state.answers[fact] : undefined
  if (before === undefined) return askAgain(work)
  if (said !== undefined) saying(work, { kind: 'both', fact, answer: before.answer, said })
  if (work.state.path.asked.includes(fact) || work.state.answers[fact]?.given === true)
    return openQuestion(work, fact, true)
  askAgain(work)
}

/** Danger, by a tap or in any words: the emergency steps come first, whatever else was being said. */
function danger(work: Work, signs: readonly string[]) {
  const before = work.state.danger
  work.state.danger = { at: before?.at ?? work.at, signs: [...new Set([...(before?.signs ?? []), ...signs])] }
  raiseFloor(work, 'ambulance')
  work.state.interrupted = true
  work.front = true
  work.allowed = true
  drive(work, { type: 'dangerSaid', facts: factsNow(work) })
}

/** A wrong tap frees the talk, never the page: the case stays an emergency until a clinician lowers it. */
function wrongTap(work: Work) {
  if (work.state.danger === undefined) return askAgain(work)
  mark(work, 'wrong-tap')
  work.state.danger = { ...work.state.danger, wrongTapAt: work.at }
  const {
    'danger-signs': _signs,
    wakes: _wakes,
    breathes: _breathes,
    'colour-ok': _colour,
    ...answers
  } = work.state.answers
  work.state.answers = answers
  work.state.interrupted = false
  work.allowed = true
  sayNotice(work, 'wrong-tap')
  replay(work, false)
  tellHolder(work)
}

/** Whoever cannot travel is not on the road any more and not there, whatever was said before. */
function travelRefused(work: Work, said: string) {
  mark(work, 'cannot-travel')
  const { 'have-you-left': _left, 'have-you-arrived': _arrived, ...answers } = work.state.answers
  work.state.leftAt = undefined
  work.state.answers = {
    ...answers,
    'can-travel': { answer: { kind: 'choice', value: 'no' }, said, at: work.at, changed: false, given: true },
  }
  interrupt(work, () => drive(work, { type: 'travelRefused', facts: factsNow(work) }))
}

/** Whoever has left can travel, whatever was said before. */
function hasLeft(work: Work): void {
  work.state.leftAt ??= work.at
  const travel = work.state.answers['can-travel']?.answer
  if (travel !== undefined && !(travel.kind === 'choice' && travel.value === 'yes'))
    work.state.answers = copyWithout(work.state.answers, 'can-travel')
  work.state.marks = work.state.marks.filter(id => id !== 'cannot-travel')
}

/** On the road nothing more is asked; where the flow has no way for that, a person has to know of it. */
function leftSaid(work: Work, said: string) {
  if (work.flow.left === undefined || work.state.leftAt !== undefined || work.state.interrupted) {
    return interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
  }
  const answer = { kind: 'choice', value: 'yes' } as const
  work.state.answers = {
    ...work.state.answers,
    'have-you-left': { answer, said, at: work.at, changed: false, given: true },
  }
  hasLeft(work)
  flowAlarm(work, LEFT)
}

/** Recorded and passed on; it never counts as an acknowledgement. */
function familyRang(work: Work) {
  work.state.callout = { ...work.state.callout, familyRangAt: work.at }
  mark(work, 'family-rang')
  if (work.state.callout.taken !== undefined) cancelAlarm(work, PROMISE)
  sayNotice(work, 'family-rang-noted')
  tellHolder(work)
  askAgain(work)
}

function notUnderstood(work: Work, { reason, said }: CaseEvent & { kind: 'notUnderstood' }) {
  const { open } = work.state
  if (reason === 'phone-none' && open !== undefined && open.misread > 0) return goOnWithoutNumber(work, open, said)
  const again = open !== undefined && open.misread > 0 ? ({ again: true } as const) : {}
  const of = open === undefined ? {} : { fact: open.fact }
  saying(work, { kind: 'misread', reason, ...of, ...again, ...(reason === 'number-unit' ? { said } : {}) })
  if (open === undefined) return
  const misread = open.misread + 1
  work.state.open = { ...open, misread }
  if (misread === MISREAD_MOST)
    return interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
  askAgain(work)
}

/** Said twice that there is no number: nobody can ring back, which is said, and nothing more is lost over it. */
function goOnWithoutNumber(work: Work, { fact, changing }: NonNullable<CaseState['open']>, said: string) {
  sayNotice(work, 'no-number')
  accept(work, fact, { kind: 'phone', number: 'write-only' }, said, changing)
}

/**
 * From here on in another language. Nothing is decided anew; what is open is said again in it. Where this flow has no words
 * in it, talk stays as it is and a person is paged.
 */
function languageChosen(work: Work, language: string) {
  const { line, state } = work
  if (!languagesOf(line).includes(language)) return askAgain(work)
  if (!isWorded(line, state.concern, language)) {
    sayNotice(work, 'language-not-here')
    return interrupt(work, () => drive(work, { type: 'personWanted', facts: factsNow(work) }))
  }
  if (familyLine(line, state).language === language) return askAgain(work)
  state.language = language
  sayNotice(work, 'language-changed')
  askAgain(work)
  tellHolder(work)
}

function alarmDue(work: Work, name: string, due: Instant) {
  const alarm = work.state.alarms[name]
  if (alarm === undefined || alarm.due !== due) return
  cancelAlarm(work, name)
  const late = work.at - due
  if (name === RUNG) {
    work.overslept = oversleeps(work, late)
    return drive(work, { type: 'rungDue' })
  }
  if (name === PROMISE) return drive(work, { type: 'promiseBroken' })
  if (name === CLOSURE) return
  if (name === CLOSE) {
    work.state.closed = true
    return
  }
  if (late > LATE_AFTER_MS) {
    if (name === SILENT_ASK || name === SILENT_PAGE) return unheard(work)
    if (alarm.late === 'drop') return
    if (alarm.late === 'page') pageLate(work)
  }
  if (isOvertaken(work, name, due)) return spendAlarm(work, name)
  if (late > LATE_AFTER_MS && alarm.late === 'say') work.late = { due }
  const enteredBefore = work.entered
  flowAlarm(work, name)
  const isSilence = name === SILENT_ASK || name === SILENT_PAGE
  if (work.entered === enteredBefore && !isSilence) holdAlarm(work, name, alarm)
}

/** Silence while the line was down is not a family's: the question is asked again, and chased from now. */
function unheard(work: Work) {
  if (work.state.open === undefined) return
  resumed(work)
  chaseFromNow(work)
}

/** Whoever has the case is told; where nobody has it yet, paging begins. */
function pageLate(work: Work) {
  if (work.state.callout.pages.length > 0) return tellHolder(work)
  work.state.callout = { ...work.state.callout, reason: 'line-was-down' }
  drive(work, { type: 'pageWanted' })
}

/** An alarm of the flow: an interruption when it leads back, otherwise talk moves on with it. */
function flowAlarm(work: Work, name: string) {
  const { interrupted, danger: dangerBefore } = work.state
  const enteredBefore = work.entered
  // What the clinician has let stand is said; danger is always said.
  work.allowed = true
  if (name === SILENT_ASK) work.silent = 'ask'
  if (name === SILENT_PAGE) work.silent = 'page'
  work.state.interrupted = true
  drive(work, { type: 'alarmDue', alarm: name, facts: factsNow(work) })
  const leadsBack = work.resume
  work.state.interrupted = leadsBack ? interrupted : dangerBefore !== undefined && interrupted
  if (leadsBack) {
    if (work.silent === undefined && name !== UNANSWERED) spendAlarm(work, name)
    return replay(work)
  }
  // What the emergency steps absorbed moved nothing, and a replay must not bring it back.
  if (work.silent === undefined && work.entered > enteredBefore) {
    // Left, not able to go on, and left again: only the latest counts.
    const before = work.state.firedOnPath.filter(each => each !== LEFT || name !== LEFT)
    work.state.firedOnPath = [...before, name]
  }
}

/** What follows from any change: the clock's band, alarms at moments, the end of a case. */
function settle(work: Work) {
  followClock(work)
  if (work.resume) replay(work)
  if (work.unanswered) flowAlarm(work, UNANSWERED)
  leaveEarlier(work)
  offerAlso(work)
  followAnswers(work)
  const step = work.flow.steps.get(work.state.kernel.talk)
  const quietEnd = work.state.disposition?.id === 'at-home' || work.state.disposition?.id === 'tell-clinic'
  if (step?.end === true && quietEnd && work.state.alarms[CLOSE] === undefined) {
    setAlarm(work, CLOSE, { due: (work.at + CLOSE_AFTER_MS) as Instant, late: 'recompute' })
  }
}

function finish(before: CaseState, work: Work): Stepped {
  work.state.seq = before.seq + 1
  const reply = replyOf(work)
  alarmEffects(before, work)
  const effects = [...(reply === undefined ? [] : [reply]), ...pagesSettled(work)]
  if (work.state.closed && !before.closed) effects.push({ kind: 'closeCase' })
  return { state: work.state, effects }
}
