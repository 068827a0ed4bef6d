/** From answers to steering facts: numbers and times become bands before any condition sees them. */
import { type AgeBand, ageBandOf } from '../clinical/age.ts'
import { balloonLossOf } from '../clinical/balloon.ts'
import { type ClosureTimes, closureOf, closureTimes, reachOf } from '../clinical/closure.ts'
import { feverBandOf } from '../clinical/fever.ts'
import { phOf } from '../clinical/ph.ts'
import { celsius, millilitres } from '../clinical/quantities.ts'
import { tractOf } from '../clinical/tract.ts'
import { urineOf } from '../clinical/urine.ts'
import type { KernelFacts } from '../flow/kernel.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { Answer } from './answer.ts'
import { copyOf } from './copy.ts'
import { DERIVED_FROM, type FactKeys, factGround, shapeWith } from './fact-shape.ts'
import type { Line } from './line.ts'
import type { CaseState } from './state.ts'

/** Every steering fact as it stands at `at`, from the answers that talk has reached. */
export function factsAt(line: Line, state: CaseState, at: Instant): KernelFacts {
  const { start, keys, derived } = factGround(line)
  const { answers, path } = state
  let shape = start
  // Answers come in the order they were asked in, but for those given before: the next one asked is looked at first.
  let next = 0
  for (const id in answers) {
    const place = path.asked[next] === id ? next : path.asked.indexOf(id)
    if (place >= 0) next = place + 1
    const record = answers[id]
    const known = keys.get(id)
    if (record === undefined || known === undefined || (place < 0 && !record.given)) continue
    shape = shapeWith(shape, known, record.answer.kind)
  }
  const facts = copyOf(shape.facts)
  for (const known of shape.reached) {
    const record = answers[known.id]
    if (record !== undefined) putValues(facts, known, record.answer)
  }
  for (const { id, from } of derived)
    if (from === undefined || facts[from] !== undefined) facts[id] = derivedValue(line, state, id, at)
  return facts
}

/** The answer of a fact, if it is part of this conversation so far: asked on the way here, or known at the start. */
export function reachedAnswer(state: CaseState, fact: string): Answer | undefined {
  const record = state.answers[fact]
  return record !== undefined && (record.given || state.path.asked.includes(fact)) ? record.answer : undefined
}

/** Puts in `fact` → value; for "many" also `fact.value` → yes; for an unsure answer `fact~` → what it acts as. */
function putValues(facts: Record<string, string>, { id, document, beside, ofValues }: FactKeys, answer: Answer): void {
  switch (answer.kind) {
    case 'unsure':
      facts[id] = 'unsure'
      facts[beside] = document['unsure-acts-as'] ?? 'unsure'
      return
    case 'choice':
      facts[id] = answer.value
      facts[beside] = answer.value
      return
    case 'many':
      facts[id] = (answer.values.length === 1 ? answer.values[0] : undefined) ?? 'several'
      for (const { value, key } of ofValues) facts[key] = answer.values.includes(value) ? 'yes' : 'no'
      return
    default:
      facts[id] = 'answered'
  }
}

function derivedValue(line: Line, state: CaseState, id: string, at: Instant): string {
  switch (id) {
    case 'danger':
      return dangerOf(state)
    case 'tract':
      return tractAt(line, state, at)
    case 'closure':
      return closureAt(line, state, at)
    case 'reach':
      return reachAt(line, state)
    case 'ph-result':
      return phResult(line, state)
    case 'age-band':
      return reachedAnswer(state, 'age') === undefined ? 'not-asked' : ageBand(state)
    case 'fever':
      return feverBand(line, state)
    case 'urine':
      return urineBand(line, state)
    case 'balloon-loss':
      return balloonLoss(line, state)
    case 'callout':
      return calloutWord(state)
    default:
      return 'not-asked'
  }
}

/** Ids of derived facts that have a computation here; a facts file may name no other. */
export const DERIVED = Object.keys(DERIVED_FROM)

function dangerOf(state: CaseState): string {
  const answer = reachedAnswer(state, 'danger-signs')
  if (answer === undefined) return 'not-asked'
  if (answer.kind !== 'many') return 'unknown'
  return answer.values.length === 1 && answer.values[0] === 'none' ? 'absent' : 'present'
}

function tractAt(line: Line, state: CaseState, at: Instant): string {
  const placed = reachedAnswer(state, 'first-placed')
  if (placed === undefined) return 'not-asked'
  const changed = reachedAnswer(state, 'changed-before')
  const changedBefore =
    changed === undefined
      ? 'not-asked'
      : changed.kind === 'choice' && changed.value === 'yes'
        ? 'yes'
        : changed.kind === 'choice'
          ? 'no'
          : 'unsure'
  return tractOf(placed.kind === 'moment' ? placed : 'unsure', changedBefore, at, line.settings)
}

/**
 * The closure window's instants; undefined until `out-since` was asked. On a doubtful clock the time to leave by is as much
 * earlier as the clock may be wrong: it is read on a clock at home, which may show either.
 */
export function closureTimesOf(line: Line, state: CaseState): ClosureTimes | 'unknown' | undefined {
  const out = reachedAnswer(state, 'out-since')
  if (out === undefined) return undefined
  if (out.kind !== 'moment') return 'unknown'
  const travel = reachedAnswer(state, 'travel')
  const times = closureTimes(
    out,
    travel === undefined ? undefined : travel.kind === 'length' ? travel : 'unsure',
    line.settings,
  )
  return { ...times, leaveBy: instant(times.leaveBy - (state.clockDoubtMs ?? 0)) }
}

/** The closure band at `at`; time seen never runs backwards within a case. */
export function closureAt(line: Line, state: CaseState, at: Instant): string {
  const times = closureTimesOf(line, state)
  if (times === undefined) return 'not-asked'
  if (times === 'unknown') return 'unknown'
  return closureOf(times, at > state.latestSeenAt ? at : state.latestSeenAt)
}

function reachAt(line: Line, state: CaseState): string {
  const out = reachedAnswer(state, 'out-since')
  const travel = reachedAnswer(state, 'travel')
  if (out === undefined || travel === undefined) return 'not-asked'
  if (out.kind !== 'moment' || travel.kind !== 'length') return 'unknown'
  // Whether it could be reached was settled when the way was told: a family on the road is not told anew.
  return reachOf(out, travel, line.settings, state.answers.travel?.at ?? state.latestSeenAt)
}

function phResult(line: Line, state: CaseState): string {
  const ph = reachedAnswer(state, 'ph')
  if (ph === undefined) return 'not-asked'
  const acid = reachedAnswer(state, 'acid-medicine')
  const acidMedicine =
    acid?.kind === 'choice' && acid.value === 'no' ? 'no' : acid?.kind === 'choice' ? 'yes' : 'unsure'
  return phOf(
    ph.kind === 'number' ? ph.value : ph.kind === 'choice' ? 'none-came' : 'unsure',
    acidMedicine,
    line.settings,
  )
}

function ageBand(state: CaseState): AgeBand {
  const age = reachedAnswer(state, 'age')
  return ageBandOf(age?.kind === 'length' ? age : 'unsure')
}

/** By the temperature and the age, whichever was answered last; an age not asked counts as the youngest. */
function feverBand(line: Line, state: CaseState): string {
  const temperature = reachedAnswer(state, 'temperature')
  if (temperature === undefined) return 'not-asked'
  const age = ageBand(state)
  if (temperature.kind === 'number') {
    const measured = { kind: 'measured', celsius: celsius(temperature.value), place: 'not-known' } as const
    return feverBandOf(measured, age, line.settings)
  }
  if (temperature.kind !== 'choice') return 'unknown'
  return feverBandOf({ kind: temperature.value === 'feels-normal' ? 'feels-normal' : 'feels-hot' }, age, line.settings)
}

/** As it stood when it was told: later hours are the matter of the advice that names them. */
function urineBand(line: Line, state: CaseState): string {
  const wet = reachedAnswer(state, 'last-wet')
  if (wet === undefined) return 'not-asked'
  const toldAt = state.answers['last-wet']?.at ?? state.latestSeenAt
  return urineOf(wet.kind === 'moment' ? wet : 'unsure', toldAt, line.settings)
}

function balloonLoss(line: Line, state: CaseState): string {
  const putIn = reachedAnswer(state, 'balloon-put-in')
  const cameOut = reachedAnswer(state, 'balloon-came-out')
  if (putIn === undefined || cameOut === undefined) return 'not-asked'
  if (putIn.kind !== 'number' || cameOut.kind !== 'number') return 'unknown'
  return balloonLossOf({ putIn: millilitres(putIn.value), cameOut: millilitres(cameOut.value) }, line.settings)
}

/** The call-out in the words a flow's conditions use. */
function calloutWord(state: CaseState): string {
  const stage = state.kernel.callout
  if (stage === 'idle') return 'idle'
  if (stage === 'everyone') return 'unanswered'
  return stage === 'taken' || stage === 'spoken' || stage === 'settled' ? 'taken' : 'paging'
}
