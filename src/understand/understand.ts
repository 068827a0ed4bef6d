/**
 * From what a caregiver typed or tapped to what it means. Pure and total: any message gives exactly one meaning.
 *
 * Order, for words: danger signs before all else, in any text at any moment; then despair and "a person, please";
 * then what may be said in the middle of a case; then the open question; then, with none open, what the message is
 * about. What cannot be read is said to be unread: it never becomes a milder answer.
 */
import type { Incoming } from '../case/message.ts'
import { questionRead, readAs, readBackTyped, signsOf } from './asked.ts'
import { type ConcernFound, concernsIn, SOMEONE } from './concern.ts'
import { dangerIn } from './danger.ts'
import { type FactsFound, factsIn } from './fact.ts'
import type { Lexicon } from './lexicon.ts'
import { otherAnswerIn } from './other-answer.ts'
import { type Found, type Reading, readingOf } from './pattern.ts'
import { firstNotDenied, firstSaid } from './phrase.ts'
import { hasWords, isBlank, picturesAsWords, plainOf } from './plain.ts'
import { phoneBeside, phoneIn } from './quantity.ts'
import { choiceTapped } from './tap.ts'
import { tokensOf } from './token.ts'
import { type Heard, timeContextOf, type UnderstandContext, type Understood } from './understood.ts'

/** Words past which a message is asked to be shorter; danger signs are looked for in all of it first. */
export const CHARACTERS_AT_MOST = 4_000

/** The fact of a number to ring. */
const RING_BACK = 'ring-back'

/** What the message means. */
export function understand(body: Incoming['body'], context: UnderstandContext): Heard {
  switch (body.kind) {
    case 'media':
      return body.kept === undefined
        ? { kind: 'misread', reason: 'media', said: '' }
        : { kind: 'photo-kept', photo: body.kept }
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

function textRead(text: string, context: UnderstandContext): Heard {
  const said = text.toWellFormed()
  if (isBlank(text)) return { kind: 'misread', reason: 'empty', said }
  const plain = picturesAsWords(plainOf(text), context.lexicon.pictures)
  const beside =
    context.question?.accepts === 'phone' ? undefined : phoneBeside(plain, context.defaultRegion, context.lexicon)
  if (beside === undefined) return wordsRead(plain, said, context)
  const { number } = beside
  const rest = wordsRead(beside.rest, said, context)
  if (rest.kind !== 'misread') return { ...rest, phone: number }
  return context.answers === undefined && context.question === undefined
    ? { kind: 'concern', concerns: [], facts: {}, readBacks: {}, said, phone: number }
    : { kind: 'fact', fact: RING_BACK, answer: { kind: 'phone', number }, said }
}

function wordsRead(plain: string, said: string, context: UnderstandContext): Understood {
  const { lexicon } = context
  const reading = readingOf(tokensOf(plain), lexicon.vocabulary)
  const danger = dangerIn(reading, lexicon)
  if (danger.length > 0) {
    const concerns = concernsIn(reading, lexicon, danger).map(found => found.concern)
    return { kind: 'danger', signs: danger.map(found => found.sign), concerns, said }
  }
  if (firstSaid(lexicon.controls.despair, reading, lexicon) !== undefined) return { kind: 'despair', said }
  if (said.length > CHARACTERS_AT_MOST) return { kind: 'misread', reason: 'too-long', said }
  if (!hasWords(plain)) return { kind: 'misread', reason: 'no-words', said }
  return (
    phoneGiven(plain, reading, said, context) ??
    troubleBesidePerson(plain, reading, said, context) ??
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

/** "The tube came out, please ring me" begins a case with the steps for the tube; a person is wanted beside. */
function troubleBesidePerson(
  plain: string,
  reading: Reading,
  said: string,
  context: UnderstandContext,
): Understood | undefined {
  const isFirst = context.answers === undefined && context.question === undefined
  if (!isFirst || firstSaid(context.lexicon.controls.person, reading, context.lexicon) === undefined) return undefined
  const named = opening(plain, reading, said, context)
  const isTrouble = named.kind === 'concern' && named.concerns.some(concern => concern !== SOMEONE)
  return isTrouble ? { ...named, person: true } : undefined
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
  const facts = factsSaid(plain, reading, context).answers
  const withChild = facts['with-child']
  if (withChild !== undefined && question.fact !== 'with-child')
    return { kind: 'concern', concerns: [], facts: { 'with-child': withChild }, readBacks: {}, said }
  const taken = takenBack(reading, question.fact, context)
  if (taken !== undefined) return { kind: 'change', fact: taken, said }
  const wrong = saidWrongly(reading, question.fact, context)
  if (wrong !== undefined) return { kind: 'change', fact: wrong }
  const read = questionRead(plain, reading, said, question, context)
  if (read.kind !== 'misread') return read
  const isAsking = firstSaid(context.lexicon.controls.presence, reading, context.lexicon) !== undefined
  if (isAsking || isSmallTalk(plain, context.lexicon))
    return { kind: 'concern', concerns: [], facts: {}, readBacks: {}, said, small: true }
  const other = answerToOther(reading, said, context)
  if (other !== undefined) return other
  // "He's fine" is no answer to what shows danger: it is asked until it is seen.
  if (context.lexicon.dangerWordFacts.includes(question.fact)) return read
  const isOver = isNews(plain, reading, concernsIn(reading, context.lexicon), context.lexicon)
  return isOver ? { kind: 'concern', concerns: [], facts: {}, readBacks: {}, said, news: true } : read
}

/** Words that are a button of another question are its answer: nothing new is the matter. */
function answerToOther(reading: Reading, said: string, context: UnderstandContext): Understood | undefined {
  const other = otherAnswerIn(reading, context.otherAnswers ?? [])
  if (other === undefined) return undefined
  const answer = { kind: 'choice', value: other.value } as const
  const signs = signsOf(other.fact, answer, context.lexicon)
  return signs.length > 0 ? { kind: 'danger', signs, said } : { kind: 'fact', fact: other.fact, answer, said }
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

/**
 * "Change answer", "I got that wrong", beside which no trouble is named: the answer given last; said again while that one is
 * asked, the one before it.
 */
function saidWrongly(reading: Reading, asked: string | undefined, context: UnderstandContext): string | undefined {
  const { answers = {}, lexicon } = context
  if (firstSaid(lexicon.controls.change, reading, lexicon) === undefined) return undefined
  if (concernsIn(reading, lexicon).length > 0) return undefined
  const facts = Object.keys(answers)
  const place = asked === undefined ? -1 : facts.indexOf(asked)
  return facts.at(place < 0 ? -1 : place - 1)
}

/** A first message, or one with no question open. */
function opening(plain: string, reading: Reading, said: string, context: UnderstandContext): Understood {
  const wrong = saidWrongly(reading, undefined, context)
  if (wrong !== undefined) return { kind: 'change', fact: wrong }
  const { answers, readBacks } = factsSaid(plain, reading, context)
  const found = concernsIn(reading, context.lexicon)
  const concerns = found.map(({ concern }) => concern).filter(concern => !isAnswerToAsked(concern, context))
  const isSmall = concerns.length === 0 && Object.keys(answers).length === 0 && isSmallTalk(plain, context.lexicon)
  const named = { kind: 'concern', concerns, facts: answers, readBacks, said } as const
  if (isSmall) return { ...named, small: true }
  if (isNews(plain, reading, found, context.lexicon)) return { ...named, news: true }
  const isDistress =
    concerns.every(concern => concern === SOMEONE) &&
    firstNotDenied(context.lexicon.controls.distress, reading, context.lexicon) !== undefined
  return isDistress ? { ...named, distress: true } : named
}

/** "A button with a balloon" to "Which of these is the tube?" names no trouble with the balloon. */
function isAnswerToAsked(concern: string, { lexicon, askedBeside }: UnderstandContext): boolean {
  const unless = lexicon.concerns.find(({ id }) => id === concern)?.unlessAsked ?? []
  return askedBeside !== undefined && unless.includes(askedBeside)
}

function factsSaid(plain: string, reading: Reading, context: UnderstandContext): FactsFound {
  const { lexicon, times } = context
  return factsIn({ plain, reading, lexicon, times, context: timeContextOf(context) })
}

/** Words in a message that may be taken for small talk, at most; a longer one says more than thanks. */
const SMALL_WORDS_AT_MOST = 8

/** Words in a message that may be taken for news and nothing else, at most. */
const NEWS_WORDS_AT_MOST = 10

/** Says that it is over or that help has come, asks nothing, and says nothing bad or of another trouble beside it. */
function isNews(plain: string, reading: Reading, found: readonly ConcernFound[], lexicon: Lexicon): boolean {
  const { tokens } = reading
  if (tokens.length > NEWS_WORDS_AT_MOST || /[?？]/.test(plain)) return false
  const news = firstSaid(lexicon.controls.news, reading, lexicon)
  if (news === undefined) return false
  const isIn = ({ from, to }: Pick<Found, 'from' | 'to'>): boolean => from >= news.from && to <= news.to
  const goesOn = ({ word }: { readonly word: string }, at: number): boolean =>
    !isIn({ from: at, to: at }) && at < tokens.length - 1 && lexicon.negation.contrast.has(word)
  if (tokens.some(goesOn) || found.some(({ words }) => words !== undefined && !isIn(words))) return false
  return firstNotDenied(lexicon.controls.distress, reading, lexicon, isIn) === undefined
}

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
