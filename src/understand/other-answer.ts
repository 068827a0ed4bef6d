/** The words of a button, written while another question is open. */
import { wordsOfLabel } from './choice.ts'
import type { Reading } from './pattern.ts'
import type { OtherAnswer } from './understood.ts'

/** Fewer words than this are said of many things ("the same", "a few spots"). */
const LABEL_WORDS_AT_LEAST = 3

/** The one button of another question whose words these are, all of them; undefined where two questions have it. */
export function otherAnswerIn(reading: Reading, others: readonly OtherAnswer[]): OtherAnswer | undefined {
  if (reading.tokens.length < LABEL_WORDS_AT_LEAST) return undefined
  const typed = reading.tokens.map(token => token.word).join(' ')
  const same = others.filter(({ label }) => wordsOfLabel(label).join(' ') === typed)
  return same.length === 1 ? same[0] : undefined
}
