import type { Option, Question } from '../case/message.ts'

/** Options in the order shown: those that stand apart come last. */
export function orderedOptions(question: Question): readonly Option[] {
  return [...question.options.filter(o => o.apart !== true), ...question.options.filter(o => o.apart === true)]
}

/**
 * Where a bare number can itself be the answer (a measured value, a length of time, a telephone number), an option is
 * tapped as `#2`, so that "2" is never taken for a tap.
 */
function isBareNumberAnswer(question: Question): boolean {
  return question.accepts === 'number' || question.accepts === 'duration' || question.accepts === 'phone'
}

/** What stands before an option: what is typed to choose it. */
export function optionMark(question: Question, i: number): string {
  return isBareNumberAnswer(question) ? `#${i + 1}` : `${i + 1})`
}

/** Values of the options named by number, or undefined when the line is no tap. */
export function tapped(words: string, question: Question): readonly string[] | undefined {
  const isMarked = words.startsWith('#')
  if (!isMarked && isBareNumberAnswer(question)) return undefined
  const numbers = words.split(/[\s,]+/).map(word => /^#?(\d{1,2})$/.exec(word)?.[1])
  if (numbers.length > 1 && !question.several) return undefined
  const options = orderedOptions(question)
  const values = numbers.map(number => (number === undefined ? undefined : options[Number(number) - 1]?.value))
  return values.every(value => value !== undefined) ? [...new Set(values)] : undefined
}
