/** Every answer that a question can be given, one for each way it can steer: for what a family was never asked. */
import type { Answer } from '../case/answer.ts'
import { factsAt } from '../case/derive.ts'
import type { Line } from '../case/line.ts'
import type { CaseState } from '../case/state.ts'
import type { FactDocument } from '../flow/document.ts'
import { type Instant, instant } from '../time/instant.ts'

const MINUTE_MS = 60_000
const DAY_MS = 86_400_000

/** Ages of anything a family may be asked for, beside every limit that a setting names. */
const LENGTHS_MS = [5, 30, 60, 120, 180, 360, 720, 1_440]
  .map(minutes => minutes * MINUTE_MS)
  .concat([2, 5, 10, 20, 45, 70, 100, 200, 400, 800, 2_000].map(days => days * DAY_MS))

/** Figures on a scale: pH, degrees, millilitres, kilograms. */
const FIGURES = [0, 1, 2, 3, 4, 5, 5.5, 6, 7, 8, 10, 15, 20, 35, 36.5, 37.5, 38, 38.5, 39, 40, 41]

/** Answers tried of those that steer alike. */
const ALIKE_MOST = 4

/** Values of a question with many answers up to which every combination is tried; above, each alone and all together. */
const COMBINED_MOST = 4

/**
 * Answers to the open question, "not sure" among them: of those that steer alike, a few from the first to the last. A number or a time is
 * tried on both sides of every limit that a setting of the line names.
 */
export function everyAnswer(line: Line, state: CaseState, fact: string, at: Instant): readonly Answer[] {
  const document = line.flows.facts[fact]
  if (document === undefined) return [{ kind: 'unsure' }]
  const alike = new Map<string, Answer[]>()
  for (const answer of answersOf(document, line, at)) {
    const key = steersAs(line, state, fact, answer, at)
    if (key !== undefined) alike.set(key, [...(alike.get(key) ?? []), answer])
  }
  return [...alike.values()].flatMap(spread)
}

/** What an answer comes to for whoever routes by it; undefined where nobody could give it: a living child at 0 °C. */
function steersAs(line: Line, state: CaseState, fact: string, answer: Answer, at: Instant): string | undefined {
  const record = { answer, said: '', at, changed: false, given: false }
  try {
    return JSON.stringify(factsAt(line, { ...state, answers: { ...state.answers, [fact]: record } }, at))
  } catch (error) {
    if (error instanceof RangeError) return undefined
    throw error
  }
}

/** The first, the last, and some between: what steers alike now may not do so once more is answered, or time has passed. */
function spread(answers: readonly Answer[]): readonly Answer[] {
  if (answers.length <= ALIKE_MOST) return answers
  const places = Array.from({ length: ALIKE_MOST }, (_, index) =>
    Math.round((index * (answers.length - 1)) / (ALIKE_MOST - 1)),
  )
  return places.flatMap(place => answers[place] ?? [])
}

function answersOf(document: FactDocument, line: Line, at: Instant): readonly Answer[] {
  const unsure: Answer = { kind: 'unsure' }
  switch (document.kind) {
    case 'choice':
      return [...(document.values ?? []).map((value): Answer => ({ kind: 'choice', value })), unsure]
    case 'many':
      return [...combinations(document.values ?? []).map((values): Answer => ({ kind: 'many', values })), unsure]
    case 'moment':
    case 'date':
      return [...momentsBefore(line, at), ...tapsOf(document), unsure]
    case 'length':
      return [
        ...lengthsAround(line).map((length): Answer => ({ kind: 'length', atLeastMs: length, atMostMs: length })),
        ...tapsOf(document),
        unsure,
      ]
    case 'number':
      return [...figuresAround(line).map((value): Answer => ({ kind: 'number', value })), ...tapsOf(document), unsure]
    case 'phone':
      return [{ kind: 'phone', number: 'write-only' }, { kind: 'phone', number: '+12125550100' }, unsure]
  }
}

/** What is tapped in words beside a number or time ("feels hot"). */
const tapsOf = (document: FactDocument): readonly Answer[] =>
  (document.values ?? []).map((value): Answer => ({ kind: 'choice', value }))

function combinations(values: readonly string[]): readonly (readonly string[])[] {
  const real = values.filter(value => value !== 'none')
  const none = values.includes('none') ? [['none']] : []
  if (real.length > COMBINED_MOST) return [...none, ...real.map(value => [value]), real]
  const all = Array.from({ length: 2 ** real.length - 1 }, (_, bits) =>
    real.filter((_value, index) => ((bits + 1) >> index) % 2 === 1),
  )
  return [...none, ...all]
}

/** Lengths that settings name, a minute to either side, and some between. */
function lengthsAround({ settings }: Line): readonly number[] {
  const named = Object.values(settings)
    .flat()
    .filter((value): value is number => typeof value === 'number' && value >= MINUTE_MS)
  const around = named.flatMap(length => [length - MINUTE_MS, length, length + MINUTE_MS])
  return [...new Set([...LENGTHS_MS, ...around])].toSorted((a, b) => a - b)
}

const momentsBefore = (line: Line, at: Instant): readonly Answer[] =>
  lengthsAround(line).map(length => ({
    kind: 'moment',
    earliest: instant(at - length),
    latest: instant(at - length),
  }))

function figuresAround({ settings }: Line): readonly number[] {
  const named = Object.values(settings)
    .flat()
    .filter((value): value is number => typeof value === 'number' && value < 1_000)
  const around = named.flatMap(figure => [figure - 0.1, figure, figure + 0.1])
  return [...new Set([...FIGURES, ...around])].toSorted((a, b) => a - b)
}
