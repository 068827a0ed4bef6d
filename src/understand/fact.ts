/** What a message already answers before it is asked. */
import type { Answer } from '../case/answer.ts'
import type { Between } from '../time/span.ts'
import type { Lexicon } from './lexicon.ts'
import { saidDate, sinceIn, type TimeContext, type TimeReader } from './moment.ts'
import { findsOf, type Reading } from './pattern.ts'
import { type PhraseFound, phraseFinds } from './phrase.ts'
import { ageSaid, numberSaid, temperatureSaid } from './said-numbers.ts'

export interface FactsFound {
  readonly answers: Readonly<Record<string, Answer>>
  /** Typed times among them, by fact. */
  readonly readBacks: Readonly<Record<string, Between>>
}

/** What a message says of facts, read with these words and this clock. */
export interface FactReading {
  readonly plain: string
  readonly reading: Reading
  readonly lexicon: Lexicon
  readonly times: TimeReader
  readonly context: TimeContext
}

/**
 * The facts a message says. Only what the lexicon lists: as shipped, nothing that could open a locked step is taken from
 * free words; such facts are asked. Neither is what is only supposed ("if it bleeds") or was so at another time. Of a
 * fact's values the worse stands first in the lexicon, and wins.
 */
export function factsIn(message: FactReading): FactsFound {
  const answers = { ...choicesIn(message), ...numbersIn(message) }
  const readBacks = timesIn(message)
  const moments = Object.entries(readBacks).map(([fact, between]) => [fact, { kind: 'moment', ...between }] as const)
  return { answers: { ...answers, ...Object.fromEntries(moments) }, readBacks }
}

/** What these words can find in a message before it is asked: by fact, its values; undefined for a number or a time. */
export function sayableIn(lexicons: Iterable<Lexicon>): ReadonlyMap<string, readonly string[] | undefined> {
  const found = new Map<string, readonly string[] | undefined>([
    ['temperature', undefined],
    ['age', undefined],
  ])
  for (const { facts, numberPhrases, sincePhrases, datePhrases } of lexicons) {
    for (const { fact, value } of facts) found.set(fact, [...(found.get(fact) ?? []), value])
    for (const phrases of [numberPhrases, sincePhrases, datePhrases])
      for (const fact of Object.keys(phrases)) found.set(fact, undefined)
  }
  return found
}

function choicesIn({ reading, lexicon }: FactReading): Record<string, Answer> {
  const answers: Record<string, Answer> = {}
  for (const { fact, value, many, isEvenSupposed, phrases } of lexicon.facts) {
    const known = answers[fact]
    if (known !== undefined && !(many && known.kind === 'many')) continue
    const isSo = phrases.some(phrase =>
      [...phraseFinds(phrase, reading, lexicon)].some(
        found => found.stance === 'said' && (isEvenSupposed || isOfNow(found, reading, lexicon)),
      ),
    )
    if (!isSo) continue
    if (!many) answers[fact] = { kind: 'choice', value }
    else answers[fact] = { kind: 'many', values: [...(known?.kind === 'many' ? known.values : []), value] }
  }
  return answers
}

/** Whether a find is said of now: nothing before it in its sentence supposes, and nothing in it speaks of another time. */
function isOfNow(found: PhraseFound, reading: Reading, lexicon: Lexicon): boolean {
  const { tokens } = reading
  let [from, to] = [found.from, found.to]
  while (from > 0 && tokens[from]?.gap !== 'stop') from -= 1
  while (to + 1 < tokens.length && tokens[to + 1]?.gap !== 'stop') to += 1
  if (tokens.slice(from, found.from).some(({ word }) => lexicon.hypothetical.has(word))) return false
  return !lexicon.otherTimes.some(pattern =>
    [...findsOf(pattern, reading)].some(time => time.from >= from && time.to <= to),
  )
}

function numbersIn({ plain, reading, lexicon }: FactReading): Record<string, Answer> {
  const found: [string, Answer | undefined][] = [
    ['temperature', temperatureSaid(plain, reading, lexicon)],
    ['age', ageSaid(plain, reading, lexicon)],
    ...Object.keys(lexicon.numberPhrases).map((fact): [string, Answer | undefined] => [
      fact,
      numberSaid(plain, reading, fact, lexicon),
    ]),
  ]
  return Object.fromEntries(found.flatMap(([fact, answer]) => (answer === undefined ? [] : [[fact, answer]])))
}

function timesIn({ plain, reading, lexicon, times, context }: FactReading): Record<string, Between> {
  const readBacks: Record<string, Between> = {}
  for (const fact of Object.keys(lexicon.sincePhrases)) {
    const between = sinceIn(plain, reading, fact, lexicon, times, context)
    if (between !== undefined) readBacks[fact] = between
  }
  for (const fact of Object.keys(lexicon.datePhrases)) {
    const between = saidDate(plain, reading, fact, lexicon, times, context)
    if (between !== undefined) readBacks[fact] = between
  }
  return readBacks
}
