/** Typed words read as one or several of a question's values. */
import type { Answer } from '../case/answer.ts'
import type { Misread } from '../case/event.ts'
import type { Option } from '../case/message.ts'
import type { Lexicon } from './lexicon.ts'
import { findsOf, type Pattern, type Reading, readingOf } from './pattern.ts'
import { firstDenied, firstSaid, isNamed } from './phrase.ts'
import { plainOf } from './plain.ts'
import { tokensOf } from './token.ts'

/** An answer, or why the words are none. */
export type Read =
  | { readonly kind: 'answer'; readonly answer: Answer }
  | { readonly kind: 'misread'; readonly reason: Misread }

/** What the words may be: the values in the order shown, the options with their labels, and the fact's id. */
export interface Choices {
  readonly fact: string
  readonly values: readonly string[]
  readonly options: readonly Option[]
  readonly isMany: boolean
  /** Labels of the answers to other questions: words that are one of them answer no yes-or-no question. */
  readonly otherLabels?: readonly string[]
}

const misread = (reason: Misread): Read => ({ kind: 'misread', reason })
export const UNSURE: Read = { kind: 'answer', answer: { kind: 'unsure' } }
const NOT_SURE = 'not-sure'
const NONE = 'none'

/** Whether the words say that the answer is not known. */
export const isUnsure = (reading: Reading, lexicon: Lexicon): boolean =>
  firstSaid(lexicon.answers.unsure, reading, lexicon) !== undefined

/**
 * Reads words as values. Doubt wins over a guess ("the button, not sure"): it never reassures. Two values where one
 * is wanted give `two-answers`; "none" beside another value too; words that are none of the options `not-an-option`.
 */
export function choiceIn(reading: Reading, choices: Choices, lexicon: Lexicon): Read {
  if (isUnsure(reading, lexicon) || firstSaid(lexicon.answers.doubtful, reading, lexicon) !== undefined) return UNSURE
  const numbered = numberedIn(reading, choices, lexicon)
  if (numbered !== undefined) return answerOf(numbered, choices)
  const labelled = labelIn(reading, choices)
  if (labelled !== undefined) return answerOf([labelled], choices)
  const spoken = spokenIn(reading, choices, lexicon)
  if (spoken.length > 0) return answerOf(spoken, choices)
  if (isYesNo(choices)) {
    return isOfOtherQuestion(reading, choices) ? misread('not-an-option') : yesNoIn(reading, choices, lexicon)
  }
  const bare = bareYesNoIn(reading, choices, lexicon)
  if (bare !== undefined) return bare
  if (choices.values.includes(NONE) && beginsWith(reading, [...lexicon.answers.none, ...lexicon.answers.no])) {
    const isNone = reading.tokens.length <= 4 && !isAboutOneThing(reading, lexicon)
    return isNone ? answerOf([NONE], choices) : misread('not-an-option')
  }
  return misread('not-an-option')
}

/** "No pain", "no fits", "no, asleep": says of one thing how it is, which is not "none of these". */
function isAboutOneThing(reading: Reading, lexicon: Lexicon): boolean {
  const named = [lexicon.controls.distress, ...[...lexicon.signs, ...lexicon.concerns].map(({ phrases }) => phrases)]
  return named.some(phrases => isNamed(phrases, reading, lexicon))
}

function answerOf(values: readonly string[], choices: Choices): Read {
  const distinct = [...new Set(values)]
  if (distinct.includes(NOT_SURE)) return UNSURE
  if (distinct.length > 1 && (!choices.isMany || distinct.includes(NONE))) return misread('two-answers')
  const value = distinct[0]
  if (value === undefined) return misread('not-an-option')
  if (!choices.values.includes(value)) return misread('not-an-option')
  return {
    kind: 'answer',
    answer: choices.isMany ? { kind: 'many', values: distinct } : { kind: 'choice', value },
  }
}

/** "2", "1 and 3", "option 2": numbers of the options as shown, and nothing else beside them. */
function numberedIn(reading: Reading, choices: Choices, lexicon: Lexicon): readonly string[] | undefined {
  const words = reading.tokens.map(token => token.word).filter(word => !lexicon.answers.separators.has(word))
  if (words.length === 0 || words.length > choices.options.length) return undefined
  const values = words.map(word => (/^\d{1,2}$/.test(word) ? choices.options[Number(word) - 1]?.value : undefined))
  return values.every(value => value !== undefined) ? values : undefined
}

/** The one option whose label the words are, or whose label alone holds all of them. */
function labelIn(reading: Reading, choices: Choices): string | undefined {
  const typed = reading.tokens.map(token => token.word)
  const labels = choices.options.map(option => ({ value: option.value, words: wordsOfLabel(option.label) }))
  const same = labels.filter(label => label.words.join(' ') === typed.join(' '))
  if (same.length === 1) return same[0]?.value
  if (typed.join('').length < 4 || typed.length > 12) return undefined
  const holding = labels.filter(label => isRunOf(typed, label.words))
  if (holding.length === 1) return holding[0]?.value
  const held = labels.filter(
    label => label.words.length > 1 && isRunOf(label.words, typed) && typed.length <= label.words.length + 3,
  )
  return held.length === 1 ? held[0]?.value : undefined
}

/** The words of a label in plain letters. */
export const wordsOfLabel = (label: string): readonly string[] =>
  label
    .normalize('NFKD')
    .toLowerCase()
    .replace(/\p{M}|['’]/gu, '')
    .match(/[\p{L}\p{Nd}]+/gu) ?? []

/** Words of another question's label from which on it may stand anywhere in what is written. */
const LABEL_WORDS_INSIDE = 3

/**
 * "Yes, the whole tube" to "Have you arrived?": the yes belongs to another question. So do words that are all in such a
 * label ("yes whole tube", "no spare"). A bare yes or no, and words that one's own labels hold, do not.
 */
function isOfOtherQuestion(reading: Reading, choices: Choices): boolean {
  const typed = reading.tokens.map(token => token.word)
  if (typed.length < 2) return false
  const own = new Set(choices.options.flatMap(option => wordsOfLabel(option.label)))
  if (typed.every(word => own.has(word))) return false
  return (choices.otherLabels ?? []).some(label => {
    const words = wordsOfLabel(label)
    if (words.length < 2) return false
    return typed.every(word => words.includes(word)) || (words.length >= LABEL_WORDS_INSIDE && isRunOf(words, typed))
  })
}

/** Whether `part` stands in `whole` word by word. */
function isRunOf(part: readonly string[], whole: readonly string[]): boolean {
  if (part.length === 0) return false
  for (let at = 0; at + part.length <= whole.length; at += 1) {
    if (part.every((word, offset) => whole[at + offset] === word)) return true
  }
  return false
}

/** Values whose words in the lexicon are said; for yes/no questions a plain denial of "yes" is "no". */
function spokenIn(reading: Reading, choices: Choices, lexicon: Lexicon): readonly string[] {
  const values = lexicon.values[choices.fact] ?? {}
  const said = choices.values.filter(value => firstSaid(values[value] ?? [], reading, lexicon) !== undefined)
  if (said.length > 0 || !isYesNo(choices)) return said
  return firstDenied(values.yes ?? [], reading, lexicon) === undefined ? [] : ['no']
}

const isYesNo = (choices: Choices): boolean => choices.values.includes('yes') && choices.values.includes('no')

/** Words of a short reply, in which "it is" or "ok" alone is an answer. */
const SHORT_AT_MOST = 4

function yesNoIn(reading: Reading, choices: Choices, lexicon: Lexicon): Read {
  const { yes, yesShort, no, noShort, notYet } = lexicon.answers
  if (beginsWith(reading, notYet)) return answerOf(['no'], choices)
  const isShort = reading.tokens.length <= SHORT_AT_MOST
  if (hasAny(reading, yes) && hasAny(reading, no)) return misread('two-answers')
  if (beginsWith(reading, yes) || (isShort && hasAny(reading, yes))) return answerOf(['yes'], choices)
  if (beginsWith(reading, no) || (isShort && hasAny(reading, no))) return answerOf(['no'], choices)
  const saysYes = isShort && hasAny(reading, yesShort)
  const saysNo = isShort && hasAny(reading, noShort)
  if (saysYes === saysNo) return misread(saysYes ? 'two-answers' : 'not-an-option')
  return answerOf([saysYes ? 'yes' : 'no'], choices)
}

/**
 * A bare "no" to a question with other words on its buttons is the one button that begins so ("No, it stayed in"); where
 * more than one does it is asked about. Words beside it may say anything: they are no bare answer.
 */
function bareYesNoIn(reading: Reading, choices: Choices, lexicon: Lexicon): Read | undefined {
  const { yes, no } = lexicon.answers
  const beginning = [yes, no].find(patterns => isMadeOf(reading, patterns))
  if (beginning === undefined) return undefined
  const values = choices.options
    .filter(({ label }) => answersWith(beginning, readingOf(tokensOf(plainOf(label)), lexicon.vocabulary)))
    .map(({ value }) => value)
  return values.length === 0 ? undefined : answerOf(values, { ...choices, isMany: false })
}

/** "No, it stayed in" answers with a no; "No spare" and "No quiso entrar" only begin with the word. */
const answersWith = (beginning: readonly Pattern[], label: Reading): boolean =>
  beginsWith(label, beginning) && (label.tokens[1]?.gap ?? 'stop') !== 'none'

/** Whether the words are finds of the patterns and nothing else ("no no"). */
function isMadeOf(reading: Reading, patterns: readonly Pattern[]): boolean {
  const covered = new Set(patterns.flatMap(pattern => [...findsOf(pattern, reading)].flatMap(({ places }) => places)))
  return reading.tokens.length > 0 && covered.size === reading.tokens.length
}

const hasAny = (reading: Reading, patterns: readonly Pattern[]): boolean =>
  patterns.some(pattern => findsOf(pattern, reading).next().done !== true)

/** Whether one of the patterns stands at the very beginning. */
const beginsWith = (reading: Reading, patterns: readonly Pattern[]): boolean =>
  patterns.some(pattern => {
    const first = findsOf(pattern, reading).next()
    return first.done !== true && first.value.from === 0
  })

/** Whether the words are a plain yes or no, and which; undefined when neither or both. */
export function plainYesNo(reading: Reading, lexicon: Lexicon): boolean | undefined {
  const choices: Choices = { fact: '', values: ['yes', 'no'], options: [], isMany: false }
  const read = yesNoIn(reading, choices, lexicon)
  if (read.kind === 'misread' || read.answer.kind !== 'choice') return undefined
  return read.answer.value === 'yes'
}
