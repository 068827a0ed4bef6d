/**
 * From a move of the model to what a family does at one moment of a night: which button it taps, what it writes, how long
 * it says nothing. Where several would do, all are given, the most natural first.
 */
import { NEVER } from '../../case/alarm.ts'
import { type Answer, numberGiven } from '../../case/answer.ts'
import { answerText } from '../../case/answer-text.ts'
import { closureTimesOf } from '../../case/derive.ts'
import { wordingOf } from '../../case/line.ts'
import { clockOf } from '../../case/values.ts'
import type { FactDocument } from '../../flow/document.ts'
import { LEFT, UNANSWERED } from '../../flow/steps.ts'
import { type Instant, instant } from '../../time/instant.ts'
import type { AnswerClass } from '../model/abstract-answers.ts'
import { bandOf, numbersToTry } from '../model/bands.ts'
import type { Move } from '../model/flat-step.ts'
import { saidIn } from '../model/givable.ts'
import type { FlatFlow } from '../model/tables.ts'
import { happens, type Night, waits, waitsFor } from './night.ts'
import type { Act } from './script.ts'

/** A way on: what was done, and the night after it. */
export interface Turn {
  readonly acts: readonly Act[]
  readonly night: Night
  /** For a wait: how things stood in its last minute, so that only what comes at its end is its reply. */
  readonly eve?: { readonly acts: readonly Act[]; readonly night: Night }
}

/** One way to give an answer. */
interface Given {
  readonly answer: Answer
  readonly text: string
  /** Ids of what is tapped; undefined where it is typed. */
  readonly taps?: readonly string[]
}

const MINUTE = 60_000
/** An invented number, of the range kept for fiction. */
const PHONE = '+12125550155'
/** What is said on the road, in the line's one language. */
const LEFT_WORDS = 'We have left'

/** Ways in which a move can happen now. None: it cannot, on this night. */
export function turnsFor(night: Night, move: Move, flat: FlatFlow): readonly Turn[] {
  switch (move.kind) {
    case 'opened':
      return []
    case 'answered':
      return answersTo(night, flat, night.state.open?.fact ?? '', move.arg)
    case 'corrected':
      return changes(night, flat, move.arg, move.branch)
    case 'danger-said':
      return [dangerSaid(night)]
    case 'person-wanted':
      return [control(night, 'person', { kind: 'personWanted', said: '' })]
    case 'travel-refused':
      return [control(night, "can't travel", { kind: 'travelRefused', said: '' })]
    case 'wrong-tap':
      return [control(night, 'wrong tap', { kind: 'wrongTapSaid' })]
    case 'left-said': {
      const next = happens(night, { kind: 'leftSaid', said: LEFT_WORDS }, { how: 'write', text: LEFT_WORDS })
      return [{ acts: [{ kind: 'say', text: LEFT_WORDS }], night: next }]
    }
    case 'alarm':
      return alarmTurns(night, flat.alarms[move.arg]?.name ?? '')
    case 'time':
      return timeTurns(night, move.arg)
    // Nothing is done: the answers given again are compared with those on record.
    case 'restarted':
      return [{ acts: [], night }]
    case 'grew-older':
      return []
  }
}

/** Answers of one class to the open question. */
export function answersTo(night: Night, flat: FlatFlow, fact: string, classIndex: number): readonly Turn[] {
  const { open } = night.state
  if (open === undefined || open.fact !== fact) return []
  return waysToGive(night, flat, fact, classIndex).map(given => ({
    acts: [actOf(fact, given)],
    night: happens(
      night,
      {
        kind: 'answerGiven',
        serial: open.serial,
        fact,
        answer: given.answer,
        said: given.text,
        ...numberGiven(given.answer),
      },
      { how: given.taps === undefined ? 'write' : 'tap', text: given.text },
    ),
  }))
}

/** "Change" beside an earlier answer, and the other answer. */
export function changes(night: Night, flat: FlatFlow, field: number, classIndex: number): readonly Turn[] {
  const fact = flat.cells[field]?.fact ?? ''
  if (night.state.answers[fact] === undefined) return []
  const label = wordingOf(night.line, night.state.concern).text(`label/${fact}`)
  const wanted = happens(night, { kind: 'changeWanted', fact }, { how: 'tap', text: `Change: ${label}` })
  return answersTo(wanted, flat, fact, classIndex).map(({ acts, night: next }) => ({
    acts: [{ kind: 'change', fact }, ...acts],
    night: next,
  }))
}

/** Answers known at the start, one for each way to say them. */
export function knownAnswers(
  line: Night['line'],
  flat: FlatFlow,
  combination: number,
  at: Instant,
): readonly { readonly fact: string; readonly ways: readonly Given[] }[] {
  return saidIn(flat, combination).flatMap(({ field, index }) => {
    const cell = flat.cells[field]
    const answer = cell?.domain.classes[index]
    if (cell === undefined || answer === undefined) return []
    const ways = givenOf({ line, at, concern: flat.concern }, cell.fact, cell.domain.document, answer)
    return [{ fact: cell.fact, ways: ways.filter(({ taps }) => taps !== undefined) }]
  })
}

/** Whether what is on record of a fact is of a class. */
export function isOfClass(night: Night, flat: FlatFlow, field: number, classIndex: number): boolean {
  const cell = flat.cells[field]
  const answer = cell?.domain.classes[classIndex]
  const record = night.state.answers[cell?.fact ?? '']?.answer
  if (cell === undefined || answer === undefined || record === undefined) return false
  const text = answerText(night.line, wordingOf(night.line, flat.concern), cell.fact, record, night.at)
  return waysToGive(night, flat, cell.fact, classIndex).some(given => given.text === text || same(given.answer, record))
}

const same = (a: Answer, b: Answer): boolean => JSON.stringify(a) === JSON.stringify(b)

function waysToGive(night: Night, flat: FlatFlow, fact: string, classIndex: number): readonly Given[] {
  const cell = flat.cells[flat.fieldOf.get(fact) ?? -1]
  const answer = cell?.domain.classes[classIndex]
  if (cell === undefined || answer === undefined) return []
  return givenOf({ line: night.line, at: night.at, concern: flat.concern }, fact, cell.domain.document, answer)
}

function actOf(fact: string, { taps, text }: Given): Act {
  return taps === undefined ? { kind: 'write', fact, text } : { kind: 'tap', fact, values: taps }
}

interface Where {
  readonly line: Night['line']
  readonly at: Instant
  readonly concern: string
}

/** Every way to give an answer of a class. */
function givenOf(where: Where, fact: string, document: FactDocument, answer: AnswerClass): readonly Given[] {
  const label = (value: string) => wordingOf(where.line, where.concern).text(`option/${value}`)
  const unsure: Given = { answer: { kind: 'unsure' }, text: label('not-sure'), taps: ['not-sure'] }
  return answer.members.flatMap((member): readonly Given[] => {
    if (member === 'unsure') return [unsure]
    if (document.kind === 'choice')
      return [{ answer: { kind: 'choice', value: member }, text: label(`${fact}/${member}`), taps: [member] }]
    if (document.kind === 'many') {
      const signs = (document.values ?? []).filter(value => document.apart?.includes(value) !== true)
      const values = member === 'a-sign' ? signs.slice(0, 1) : member.split('+')
      const text = values.map(value => label(`${fact}/${value}`)).join(', ')
      return [{ answer: { kind: 'many', values }, text, taps: values }]
    }
    if (document.kind === 'phone') return [phoneOf(member, label(`${fact}/write-only`))]
    if (document.kind === 'number') return numberOf(where, fact, document, member)
    return [...tapsOf(where, fact, document, member), ...typedOf(where, fact, document, member)]
  })
}

const phoneOf = (member: string, label: string): Given =>
  member === 'write-only'
    ? { answer: { kind: 'phone', number: 'write-only' }, text: label, taps: ['write-only'] }
    : { answer: { kind: 'phone', number: PHONE }, text: PHONE }

function numberOf(
  { line, at, concern }: Where,
  fact: string,
  document: FactDocument,
  member: string,
): readonly Given[] {
  if (document.values?.includes(member) === true) {
    const text = wordingOf(line, concern).text(`option/${fact}/${member}`)
    return [{ answer: { kind: 'choice', value: member }, text, taps: [member] }]
  }
  return numbersToTry(line.settings, fact).flatMap((value): readonly Given[] => {
    const answer: Answer = { kind: 'number', value }
    const isMeant = member === 'answered' || bandOf(line.settings, fact, answer, at) === member
    return isMeant ? [{ answer, text: String(value) }] : []
  })
}

/** Buttons of a time or a length that lie in the band meant. */
function tapsOf({ line, at, concern }: Where, fact: string, document: FactDocument, band: string): readonly Given[] {
  return Object.entries(document.taps ?? {}).flatMap(([value, span]): readonly Given[] => {
    if (span === 'words') return []
    const [least, most] = [lengthMs(span[0]), lengthMs(span[1])]
    const answer: Answer =
      document.kind === 'length'
        ? { kind: 'length', atLeastMs: least, atMostMs: most }
        : { kind: 'moment', earliest: instant(at - most), latest: instant(at - least) }
    if (!isInBand(line, fact, answer, band, at)) return []
    return [{ answer, text: wordingOf(line, concern).text(`option/${fact}/${value}`), taps: [value] }]
  })
}

/** Typed times that put a crossing of the closure clock shortly ahead, so that nobody has to wait long for it. */
function typedOf({ line, at }: Where, fact: string, document: FactDocument, band: string): readonly Given[] {
  if (document.kind !== 'moment' || fact !== 'out-since' || band !== 'answered') return []
  const { settings } = line
  const ahead = ['closure-soonest', 'closure-latest', 'closure-overdue'] as const
  return ahead.flatMap(id =>
    [2, 17, 32].flatMap((minutes): readonly Given[] => {
      const moment = instant(at - settings[id] + minutes * MINUTE)
      return moment > at
        ? []
        : [{ answer: { kind: 'moment', earliest: moment, latest: moment }, text: clockOf(line, moment) }]
    }),
  )
}

/** A time lies in a band where the whole of it gives one. */
function isInBand(line: Night['line'], fact: string, answer: Answer, band: string, at: Instant): boolean {
  return band === 'answered' || bandOf(line.settings, fact, answer, at) === band
}

/** An ISO 8601 length in milliseconds; a month is 30 days, a year 365. */
export function lengthMs(iso: string): number {
  const parts = /^P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?$/.exec(iso)
  if (parts === null) throw new Error(`"${iso}" is no length: ISO 8601 such as PT30M was expected`)
  const [years, months, weeks, days, hours, minutes, seconds] = parts.slice(1).map(part => Number(part ?? 0))
  const inDays = (years ?? 0) * 365 + (months ?? 0) * 30 + (weeks ?? 0) * 7 + (days ?? 0)
  return ((inDays * 24 + (hours ?? 0)) * 60 + (minutes ?? 0)) * MINUTE + (seconds ?? 0) * 1000
}

// ---- Words and time ----

function dangerSaid(night: Night): Turn {
  const { line, state } = night
  const signs = (line.flows.facts['danger-signs']?.values ?? []).filter(
    value => line.flows.facts['danger-signs']?.apart?.includes(value) !== true,
  )
  const sign = signs.find(value => value === 'fit') ?? signs[0] ?? ''
  const text = wordingOf(line, state.concern).text(`option/danger-signs/${sign}`)
  const next = happens(night, { kind: 'dangerSaid', signs: [sign], said: text }, { how: 'write', text })
  return { acts: [{ kind: 'say', text }], night: next }
}

function control(
  night: Night,
  words: (Act & { kind: 'control' })['control'],
  event: Parameters<typeof happens>[1],
): Turn {
  return { acts: [{ kind: 'control', control: words }], night: happens(night, event, { how: 'tap', text: words }) }
}

/** Longest that is waited for a page to run out. */
const RUNS_OUT_MOST = 4 * 60 * MINUTE

function alarmTurns(night: Night, name: string): readonly Turn[] {
  if (name === LEFT) return []
  if (name === UNANSWERED) {
    const ranOut = (each: Night) => each.state.kernel.callout === 'everyone'
    const next = waitsFor(night, instant(night.at + RUNS_OUT_MOST), ranOut)
    return ranOut(next) && next.at > night.at ? [waited(night, next)] : []
  }
  const due = night.state.alarms[name]?.due
  return due === undefined || due === NEVER ? [] : [waited(night, waits(night, due))]
}

/** Time passes a crossing of the closure clock: 0 the time to leave by, 1 the latest, 2 overdue. */
function timeTurns(night: Night, crossing: number): readonly Turn[] {
  const times = closureTimesOf(night.line, night.state)
  if (times === undefined || times === 'unknown') return []
  const until = crossing === 0 ? times.leaveBy : crossing === 1 ? times.latestAt : times.overdueAt
  return until < night.at ? [] : [waited(night, waits(night, until))]
}

/** A wait as a script can say it: whole minutes, rounded up. */
function waited(before: Night, after: Night): Turn {
  const minutes = Math.ceil((after.at - before.at) / MINUTE)
  if (minutes === 0) return { acts: [], night: after }
  const eve = {
    acts: minutes === 1 ? [] : [{ kind: 'wait', minutes: minutes - 1 } as const],
    night: waits(before, instant(before.at + (minutes - 1) * MINUTE)),
  }
  return {
    acts: [...eve.acts, { kind: 'wait', minutes: 1 }],
    night: waits(eve.night, instant(before.at + minutes * MINUTE)),
    eve,
  }
}
