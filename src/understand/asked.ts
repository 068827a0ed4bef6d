/** Typed words read as the answer to the open question. */
import type { Answer } from '../case/answer.ts'
import type { Question } from '../case/message.ts'
import { choiceIn, isUnsure, plainYesNo, type Read } from './choice.ts'
import type { Lexicon } from './lexicon.ts'
import { timeIn } from './moment.ts'
import type { Reading } from './pattern.ts'
import { numberIn, phoneIn } from './quantity.ts'
import { timeContextOf, type UnderstandContext, type Understood } from './understood.ts'

export function readBackTyped(
  plain: string,
  reading: Reading,
  said: string,
  question: Question,
  context: UnderstandContext,
): Understood {
  if (isUnsure(reading, context.lexicon)) return { kind: 'answer', answer: { kind: 'unsure' }, said }
  const accepts = question.accepts === 'date' || question.accepts === 'duration' ? question.accepts : 'moment'
  const corrected = timeRead(plain, said, accepts, context)
  if (corrected.kind === 'answer') return corrected
  const right = plainYesNo(reading, context.lexicon)
  return right === undefined ? { kind: 'misread', reason: 'not-an-option', said } : { kind: 'read-back', right, said }
}

export function questionRead(
  plain: string,
  reading: Reading,
  said: string,
  question: Question,
  context: UnderstandContext,
): Understood {
  const { lexicon } = context
  switch (question.accepts) {
    case 'phone':
      return readAs(phoneIn(plain, reading, context.defaultRegion, lexicon), said, context)
    case 'number':
      return numberRead(plain, reading, said, question, context)
    case 'moment':
    case 'date':
    case 'duration':
      if (isUnsure(reading, lexicon)) return { kind: 'answer', answer: { kind: 'unsure' }, said }
      return timeRead(plain, said, question.accepts, context)
    case 'words':
      return choiceRead(reading, said, question, context)
  }
}

function numberRead(
  plain: string,
  reading: Reading,
  said: string,
  question: Question,
  context: UnderstandContext,
): Understood {
  if (isUnsure(reading, context.lexicon)) return { kind: 'answer', answer: { kind: 'unsure' }, said }
  const number = numberIn(plain, reading, question.fact, context.lexicon)
  if (number.kind === 'answer' || number.reason === 'number-impossible') return readAs(number, said, context)
  const values = context.fact?.values ?? []
  const worded = choiceIn(reading, { fact: question.fact, values, options: [], isMany: false }, context.lexicon)
  return readAs(worded.kind === 'answer' ? worded : number, said, context)
}

function choiceRead(reading: Reading, said: string, question: Question, context: UnderstandContext): Understood {
  const values = context.fact?.values ?? question.options.map(option => option.value)
  const isMany = (context.fact?.kind ?? (question.several ? 'many' : 'choice')) === 'many'
  const { fact, options } = question
  const others = context.otherLabels === undefined ? {} : { otherLabels: context.otherLabels }
  const read = choiceIn(reading, { fact, values, options, isMany, ...others }, context.lexicon)
  // "Yes" to the list of danger signs names none of them: it is known to be there, not which. "I don't think so" is doubt.
  const isUnnamedDanger =
    context.lexicon.dangerWordFacts.includes(question.fact) &&
    read.kind === 'misread' &&
    (plainYesNo(reading, context.lexicon) === true || isDoubted(reading, context.lexicon))
  return isUnnamedDanger ? { kind: 'answer', answer: { kind: 'unsure' }, said } : readAs(read, said, context)
}

const isDoubted = ({ tokens }: Reading, { negation }: Lexicon): boolean =>
  tokens.some(({ word }) => negation.doubt.has(word))

function timeRead(
  plain: string,
  said: string,
  accepts: 'moment' | 'date' | 'duration',
  context: UnderstandContext,
): Understood {
  const timed = timeIn(plain, accepts, context.times, timeContextOf(context))
  if (timed.kind === 'misread') return { kind: 'misread', reason: timed.reason, said }
  const isReadBack = timed.between !== undefined && context.fact?.['read-back'] === true
  return {
    kind: 'answer',
    answer: timed.answer,
    said,
    ...(isReadBack && timed.between !== undefined ? { readBack: timed.between } : {}),
  }
}

export const readAs = (read: Read, said: string, context: UnderstandContext): Understood =>
  read.kind === 'misread' ? { ...read, said } : counted(read.answer, said, context)

/** An answer to another question that is a danger sign ("green vomit") counts as the sign. */
export function counted(answer: Answer, said: string, context: UnderstandContext): Understood {
  const signs = signsOf(context.question?.fact ?? '', answer, context.lexicon)
  return signs.length > 0 ? { kind: 'danger', signs, said } : { kind: 'answer', answer, said }
}

/** The danger signs that an answer counts as, in the lexicon's words; none for most. */
export function signsOf(fact: string, answer: Answer, lexicon: Lexicon): readonly string[] {
  const values = answer.kind === 'choice' ? [answer.value] : answer.kind === 'many' ? answer.values : []
  const named = lexicon.countsAsDanger[fact] ?? {}
  return [...new Set(values.flatMap(value => named[value] ?? signOf(fact, value, lexicon)))]
}

const signOf = (fact: string, value: string, lexicon: Lexicon): readonly string[] =>
  lexicon.dangerWordFacts.includes(fact) && lexicon.signs.some(sign => sign.id === value) ? [value] : []
