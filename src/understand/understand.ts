/**
 * From what a caregiver typed or tapped to what it means. Pure and total: any message gives exactly one meaning.
 *
 * Order, for words: danger signs before all else, in any text at any moment; then despair and "a person, please";
 * then what may be said in the middle of a case; then the open question; then, with none open, what the message is
 * about. What cannot be read is said to be unread: it never becomes a milder answer.
 */
import type { Answer } from '../case/answer.ts'
import type { Misread } from '../case/event.ts'
import type { Incoming, Question } from '../case/message.ts'
import type { FactDocument } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import { choiceIn, isUnsure, plainYesNo, type Read } from './choice.ts'
import { concernsIn } from './concern.ts'
import { dangerIn } from './danger.ts'
import { factsIn } from './fact.ts'
import type { Lexicon } from './lexicon.ts'
import { misreadOf, type TimeContext, type TimeReader, tapped, timeIn } from './moment.ts'
import { type Reading, readingOf } from './pattern.ts'
import { firstSaid } from './phrase.ts'
import { hasWords, isBlank, picturesAsWords, plainOf } from './plain.ts'
import { numberIn, phoneIn, type Region } from './quantity.ts'
import { tokensOf } from './token.ts'

export type Understood =
  | { readonly kind: 'answer'; readonly answer: Answer; readonly said: string; readonly readBack?: Between }
  | { readonly kind: 'read-back'; readonly right: boolean; readonly said: string }
  /** Signs by id, in the lexicon's order; at least one. */
  | {
      readonly kind: 'danger'
      readonly signs: readonly string[]
      readonly said: string
      /** What the words are about beside, most urgent first. */
      readonly concerns?: readonly string[]
    }
  | { readonly kind: 'person'; readonly said: string }
  /** Words of despair or of harming: a person at once, with the words, and the clinic's crisis number. */
  | { readonly kind: 'despair'; readonly said: string }
  | { readonly kind: 'cannot-travel'; readonly said: string }
  /** `said` where it was written, not tapped. */
  | { readonly kind: 'they-rang'; readonly said?: string }
  | { readonly kind: 'wrong-tap'; readonly said?: string }
  | { readonly kind: 'left' | 'arrived'; readonly said: string }
  /**
   * What a message is about, most urgent first (may be empty), and what it already answers. `readBacks` names the
   * facts whose typed time is to be read back before anything milder rests on it.
   */
  | {
      readonly kind: 'concern'
      readonly concerns: readonly string[]
      readonly facts: Readonly<Record<string, Answer>>
      readonly readBacks: Readonly<Record<string, Between>>
      readonly said: string
      /** Thanks, good night and the like, and nothing else: asks for nothing. */
      readonly small?: true
    }
  | { readonly kind: 'misread'; readonly reason: Misread; readonly said: string }
  /** `said` where words took the earlier answer back, instead of a tap on *Change*. */
  | { readonly kind: 'change'; readonly fact: string; readonly said?: string }
  /** A control that only the channel's page or the case's address needs: start, another child, show the handover, another language. */
  | { readonly kind: 'control'; readonly control: 'language' | 'start' | 'new-child' | 'show-handover' }

export interface UnderstandContext {
  /** The open question, when there is one. */
  readonly question?: Question
  /** The document of the fact the question fills. */
  readonly fact?: FactDocument & { readonly id: string }
  /** True when the open question is "So … Is that right?". */
  readonly readBack?: boolean
  /** Earlier answers by fact: words that take one back open its question again. */
  readonly answers?: Readonly<Record<string, Answer>>
  /** Label of a value of what was tapped, where that is an earlier question than the open one, or "Is that right?". */
  readonly tappedLabel?: (value: string) => string | undefined
  /** Labels of the answers to all other questions of the flow. */
  readonly otherLabels?: readonly string[]
  readonly lexicon: Lexicon
  /** The earlier of when the message was made and when it arrived. */
  readonly at: Instant
  /** IANA zone of the family's clock. */
  readonly zone: string
  /** Where a telephone number without a country code is rung from. */
  readonly defaultRegion: Region
  readonly times: TimeReader
}

/** Words past which a message is asked to be shorter; danger signs are looked for in all of it first. */
export const CHARACTERS_AT_MOST = 4_000

/** What the message means. */
export function understand(body: Incoming['body'], context: UnderstandContext): Understood {
  switch (body.kind) {
    case 'media':
      return { kind: 'misread', reason: 'media', said: '' }
    case 'control':
      return controlOf(body)
    case 'choice':
      return choiceTapped(body, context)
    case 'text':
      return textRead(body.text, context)
  }
}

function controlOf(body: Extract<Incoming['body'], { kind: 'control' }>): Understood {
  switch (body.control) {
    case 'person':
    case 'cannot-travel':
      return { kind: body.control, said: '' }
    case 'they-rang':
    case 'wrong-tap':
      return { kind: body.control }
    case 'change':
      return body.subject === undefined
        ? { kind: 'misread', reason: 'not-now', said: '' }
        : { kind: 'change', fact: body.subject }
    case 'language':
    case 'start':
    case 'new-child':
    case 'show-handover':
      return { kind: 'control', control: body.control }
  }
}

// ---- Taps ----

function choiceTapped(body: Extract<Incoming['body'], { kind: 'choice' }>, context: UnderstandContext): Understood {
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

// ---- Words ----

function textRead(text: string, context: UnderstandContext): Understood {
  const said = text.toWellFormed()
  const { lexicon } = context
  if (isBlank(text)) return { kind: 'misread', reason: 'empty', said }
  const plain = picturesAsWords(plainOf(text), lexicon.pictures)
  const reading = readingOf(tokensOf(plain), lexicon.vocabulary)
  const danger = dangerIn(reading, lexicon).map(found => found.sign)
  if (danger.length > 0) {
    const concerns = concernsIn(reading, lexicon).map(({ concern }) => concern)
    return { kind: 'danger', signs: danger, said, concerns }
  }
  if (firstSaid(lexicon.controls.despair, reading, lexicon) !== undefined) return { kind: 'despair', said }
  if (text.length > CHARACTERS_AT_MOST) return { kind: 'misread', reason: 'too-long', said }
  if (!hasWords(plain)) return { kind: 'misread', reason: 'no-words', said }
  return (
    phoneGiven(plain, reading, said, context) ??
    spokenAnytime(reading, said, context) ??
    answered(plain, reading, said, context)
  )
}

/** "Call me on …" answers the question for a number before it asks for a person. */
function phoneGiven(plain: string, reading: Reading, said: string, context: UnderstandContext): Understood | undefined {
  if (context.question?.accepts !== 'phone') return undefined
  const read = phoneIn(plain, reading, context.defaultRegion, context.lexicon)
  return read.kind === 'answer' ? readAs(read, said, context) : undefined
}

/** What may be said at any moment of a case, whatever question is open. */
function spokenAnytime(reading: Reading, said: string, context: UnderstandContext): Understood | undefined {
  const { controls } = context.lexicon
  const says = (control: keyof typeof controls): boolean =>
    firstSaid(controls[control], reading, context.lexicon) !== undefined
  if (says('person')) return { kind: 'person', said }
  if (says('cannot-travel')) return { kind: 'cannot-travel', said }
  if (says('they-rang')) return { kind: 'they-rang', said }
  if (says('wrong-tap')) return { kind: 'wrong-tap', said }
  if (context.question !== undefined && says('mid-case')) return { kind: 'person', said }
  if (context.question !== undefined && says('arrived')) return { kind: 'arrived', said }
  if (context.question !== undefined && says('left')) return { kind: 'left', said }
  return undefined
}

function answered(plain: string, reading: Reading, said: string, context: UnderstandContext): Understood {
  const { question } = context
  if (question === undefined) return opening(plain, reading, said, context)
  if (context.readBack === true) return readBackTyped(plain, reading, said, question, context)
  const facts = factsIn(plain, reading, context.lexicon, context.times, timeContextOf(context)).answers
  const withChild = facts['with-child']
  if (withChild !== undefined && question.fact !== 'with-child')
    return { kind: 'concern', concerns: [], facts: { 'with-child': withChild }, readBacks: {}, said }
  const taken = takenBack(reading, question.fact, context)
  if (taken !== undefined) return { kind: 'change', fact: taken, said }
  return questionRead(plain, reading, said, question, context)
}

/** The fact whose earlier answer the words take back ("it is back in now"): never decided from here, only asked again. */
function takenBack(reading: Reading, asked: string, { answers, lexicon }: UnderstandContext): string | undefined {
  const row = lexicon.saidOtherwise.find(({ fact, value, phrases, unlessAsked }) => {
    const before = answers !== undefined && Object.hasOwn(answers, fact) ? answers[fact] : undefined
    if (before === undefined || (before.kind === 'choice' && before.value === value)) return false
    return !unlessAsked.includes(asked) && firstSaid(phrases, reading, lexicon) !== undefined
  })
  return row?.fact
}

/** A first message, or one with no question open. */
function opening(plain: string, reading: Reading, said: string, context: UnderstandContext): Understood {
  const { answers, readBacks } = factsIn(plain, reading, context.lexicon, context.times, timeContextOf(context))
  const concerns = concernsIn(reading, context.lexicon).map(found => found.concern)
  const isSmall = concerns.length === 0 && Object.keys(answers).length === 0 && isSmallTalk(plain, context.lexicon)
  return { kind: 'concern', concerns, facts: answers, readBacks, said, ...(isSmall ? { small: true } : {}) }
}

/** Words in a message that may be taken for small talk, at most; a longer one says more than thanks. */
const SMALL_WORDS_AT_MOST = 8

/** Small words and nothing else, and no question. */
function isSmallTalk(plain: string, { smallWords }: Lexicon): boolean {
  const words = tokensOf(plain).map(({ word }) => word)
  return (
    words.length <= SMALL_WORDS_AT_MOST &&
    !/[?？]/.test(plain) &&
    words.some(word => smallWords.said.has(word)) &&
    words.every(word => smallWords.said.has(word) || smallWords.beside.has(word))
  )
}

function readBackTyped(
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

function questionRead(
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
  // "Yes" to the list of danger signs names none of them: it is known to be there, not which.
  const isUnnamedDanger =
    context.lexicon.dangerWordFacts.includes(question.fact) &&
    read.kind === 'misread' &&
    plainYesNo(reading, context.lexicon) === true
  return isUnnamedDanger ? { kind: 'answer', answer: { kind: 'unsure' }, said } : readAs(read, said, context)
}

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

const readAs = (read: Read, said: string, context: UnderstandContext): Understood =>
  read.kind === 'misread' ? { ...read, said } : counted(read.answer, said, context)

/** An answer to another question that is a danger sign ("green vomit") counts as the sign. */
function counted(answer: Answer, said: string, context: UnderstandContext): Understood {
  const fact = context.question?.fact ?? ''
  const values = answer.kind === 'choice' ? [answer.value] : answer.kind === 'many' ? answer.values : []
  const named = context.lexicon.countsAsDanger[fact] ?? {}
  const signs = [...new Set(values.flatMap(value => named[value] ?? signOf(fact, value, context.lexicon)))]
  return signs.length > 0 ? { kind: 'danger', signs, said } : { kind: 'answer', answer, said }
}

const signOf = (fact: string, value: string, lexicon: Lexicon): readonly string[] =>
  lexicon.dangerWordFacts.includes(fact) && lexicon.signs.some(sign => sign.id === value) ? [value] : []

const timeContextOf = (context: UnderstandContext): TimeContext => ({
  at: context.at,
  zone: context.zone,
  language: context.lexicon.language,
})
