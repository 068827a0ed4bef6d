/** What a message already answers before it is asked. */
import type { Answer } from '../case/answer.ts'
import type { Between } from '../time/span.ts'
import type { Lexicon } from './lexicon.ts'
import { sinceIn, type TimeContext, type TimeReader } from './moment.ts'
import type { Reading } from './pattern.ts'
import { firstSaid } from './phrase.ts'

export interface FactsFound {
  readonly answers: Readonly<Record<string, Answer>>
  /** Typed times among them, by fact. */
  readonly readBacks: Readonly<Record<string, Between>>
}

/**
 * The facts a message says. Only what the lexicon lists: as shipped, nothing that could open a locked step is taken
 * from free words; such facts are asked.
 */
export function factsIn(
  plain: string,
  reading: Reading,
  lexicon: Lexicon,
  times: TimeReader,
  context: TimeContext,
): FactsFound {
  const answers: Record<string, Answer> = {}
  const readBacks: Record<string, Between> = {}
  for (const row of lexicon.facts) {
    if (answers[row.fact] !== undefined || firstSaid(row.phrases, reading, lexicon) === undefined) continue
    answers[row.fact] = row.many ? { kind: 'many', values: [row.value] } : { kind: 'choice', value: row.value }
  }
  for (const fact of Object.keys(lexicon.sincePhrases)) {
    const between = sinceIn(plain, reading, fact, lexicon, times, context)
    if (between === undefined) continue
    answers[fact] = { kind: 'moment', ...between }
    readBacks[fact] = between
  }
  return { answers, readBacks }
}
