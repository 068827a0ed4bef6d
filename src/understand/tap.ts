/** Tapped buttons as what they mean: a danger sign at once, whatever is asked; else an answer to the open question. */
import type { Incoming, Question } from '../case/message.ts'
import { counted } from './asked.ts'
import { misreadOf, tapped } from './moment.ts'
import { timeContextOf, type UnderstandContext, type Understood } from './understood.ts'

export function choiceTapped(
  body: Extract<Incoming['body'], { kind: 'choice' }>,
  context: UnderstandContext,
): Understood {
  const isOpen = body.serial === context.question?.serial
  const isPlain = isOpen && context.readBack !== true
  const said = isPlain ? saidOf(body.values, context.question) : otherSaid(body.values, context)
  const signs = body.values.filter(value => context.lexicon.signs.some(sign => sign.id === value))
  if (signs.length > 0) return { kind: 'danger', signs, said }
  const { question } = context
  if (question === undefined || !isOpen) return { kind: 'misread', reason: 'not-now', said }
  if (context.readBack === true) return readBackTapped(body.values, said)
  return tapRead(body.values, said, question, context)
}

function readBackTapped(values: readonly string[], said: string): Understood {
  if (values.length !== 1) return { kind: 'misread', reason: 'two-answers', said }
  const [value] = values
  return value === 'yes' || value === 'no' ? { kind: 'read-back', right: value === 'yes', said } : notAnOption(said)
}

function tapRead(values: readonly string[], said: string, question: Question, context: UnderstandContext): Understood {
  const [value, ...others] = [...new Set(values)]
  if (value === undefined) return { kind: 'misread', reason: 'not-an-option', said }
  const all = [value, ...others]
  if (all.includes('not-sure')) return { kind: 'answer', answer: { kind: 'unsure' }, said }
  const kind = context.fact?.kind ?? (question.several ? 'many' : 'choice')
  const offered = (one: string): boolean =>
    context.fact?.values?.includes(one) ?? question.options.some(option => option.value === one)
  if (kind === 'moment' || kind === 'date' || kind === 'length') return spanTapped(all, said, kind, context)
  if (kind === 'phone') return all.length === 1 && value === 'write-only' ? writeOnly(said) : notAnOption(said)
  if (!all.every(offered)) return notAnOption(said)
  if (kind === 'many' && all.length > 1 && all.includes('none')) return { kind: 'misread', reason: 'two-answers', said }
  if (kind === 'many') return counted({ kind: 'many', values: all }, said, context)
  if (others.length > 0) return { kind: 'misread', reason: 'two-answers', said }
  return counted({ kind: 'choice', value }, said, context)
}

const notAnOption = (said: string): Understood => ({ kind: 'misread', reason: 'not-an-option', said })

const writeOnly = (said: string): Understood => ({
  kind: 'answer',
  answer: { kind: 'phone', number: 'write-only' },
  said,
})

function spanTapped(
  values: readonly string[],
  said: string,
  kind: 'moment' | 'date' | 'length',
  context: UnderstandContext,
): Understood {
  if (values.length > 1) return { kind: 'misread', reason: 'two-answers', said }
  const answer = context.fact === undefined ? undefined : tapped(values[0] ?? '', context.fact, timeContextOf(context))
  const reason = misreadOf(kind === 'length' ? 'duration' : kind, 'time-unclear')
  return answer === undefined ? { kind: 'misread', reason, said } : { kind: 'answer', answer, said }
}

const saidOf = (values: readonly string[], question: Question | undefined): string =>
  values.map(value => question?.options.find(option => option.value === value)?.label ?? value).join(', ')

/** Never in the words of the open question: "yes" there is another "yes". */
const otherSaid = (values: readonly string[], { tappedLabel }: UnderstandContext): string =>
  values.map(value => tappedLabel?.(value) ?? value).join(', ')
