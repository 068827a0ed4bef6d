import type { Answer } from '../case/answer.ts'
import { familyLine, type Line, languagesOf, lineIn, wordingOf } from '../case/line.ts'
import type { Question } from '../case/message.ts'
import { questionOf } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import { caseValues } from '../case/values.ts'
import type { Instant } from '../time/instant.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import { understand } from '../understand/understand.ts'
import type { OtherAnswer, UnderstandContext, Understood } from '../understand/understood.ts'
import { languageAsked } from './language-asked.ts'
import type { RunningCase } from './machine.ts'
import type { InLanguage, Understand } from './understanding.ts'

/** The language a text is written in: a language's tag, one that no lexicon is for, or not to be told. */
export type LanguageOf = (text: string) => string | { readonly other: string } | undefined

export interface LineReading extends Pick<UnderstandContext, 'defaultRegion' | 'times'> {
  /** By language: each that families may use, and others that are read though nothing is said in them. */
  readonly lexicons: ReadonlyMap<string, Lexicon>
  readonly languageOf?: LanguageOf
}

type Message = Parameters<Understand>[0]
type Heard = Understood & InLanguage

/**
 * Reads messages with the words of one line: its lexicons, its zone, and the open question as the family sees it.
 *
 * A message is read in the language of its case; a first one in the language it is written in, else that of the screen it
 * came from. Danger counts in every language of the line. What cannot be read in the one language is tried in the others.
 */
export function lineUnderstanding(line: Line, given: LineReading): Understand {
  const buttons = buttonsOf(line)
  const languages = languagesOf(line)

  /** Read as an answer to what is open; where it is none, for what it is about. */
  function readIn(language: string, message: Message): Understood {
    const answer = readAgainst(language, message)
    if (message.state?.open === undefined || message.body.kind !== 'text' || !isWeak(answer)) return answer
    const about = readAgainst(language, message, true)
    return about.kind === 'concern' && about.concerns.length > 0 ? about : answer
  }

  function readAgainst(language: string, { body, state, at }: Message, isHidden = false): Understood {
    // A question that has no words in this language was read in the first one.
    const spoken = languages.includes(language) ? lineIn(line, language) : line
    const lexicon = given.lexicons.get(language) ?? given.lexicons.get(languages[0] ?? '')
    if (lexicon === undefined) throw new Error(`no lexicon in "${language}"`)
    const question = isHidden || state?.open === undefined ? undefined : openQuestion(spoken, state, state.open, at)
    const fact = question === undefined ? undefined : line.flows.facts[question.fact]
    return understand(body, {
      lexicon,
      defaultRegion: given.defaultRegion,
      times: given.times,
      at,
      zone: line.clinic.zone,
      ...(question === undefined ? {} : { question, ...buttons(spoken, state?.concern ?? '', question.fact) }),
      ...(isHidden && state?.open !== undefined ? { askedBeside: state.open.fact } : {}),
      ...(state === undefined ? {} : { answers: answersOf(state) }),
      ...(body.kind === 'choice' ? labelTapped(spoken, state as CaseState | undefined, body.serial) : {}),
      ...(question === undefined || fact === undefined ? {} : { fact: { ...fact, id: question.fact } }),
      readBack: state?.open?.readBack !== undefined,
    })
  }

  /** Which language a message is read in first, and what its words tell of it. */
  function ledBy({ body, state, language }: Message): { lead: string; told: ReturnType<LanguageOf> } {
    const own = state === undefined ? language : familyLine(line, state).language
    const shown = own !== undefined && languages.includes(own) ? own : (languages[0] ?? line.language)
    const told = body.kind === 'text' && tellsLanguage(body.text) ? given.languageOf?.(body.text) : undefined
    const isSpoken = typeof told === 'string' && languages.includes(told)
    const isPlain = language === undefined || (body.kind === 'text' && wordsIn(body.text) > FEW_WORDS)
    return { lead: state === undefined && isSpoken && isPlain ? told : shown, told }
  }

  return message => {
    const { lead, told } = ledBy(message)
    const first = readIn(lead, message)
    const isFirst = message.state === undefined
    if (message.body.kind !== 'text') return { ...first, ...(isFirst ? { language: lead } : {}) }
    const spokenIn = (language: string | undefined): InLanguage => ({
      ...(language === undefined || !languages.includes(language) ? {} : { language }),
      ...foreignIn(told, languages),
    })
    if (outranks(first)) return { ...first, ...spokenIn(isFirst ? lead : undefined) }
    const others = [...given.lexicons.keys()]
      .filter(language => language !== lead)
      .map(language => ({ language, heard: readIn(language, message) }))
    const urgent = others.find(({ heard }) => outranks(heard))
    const asked = languageAsked(message.body.text, languages)
    if (urgent === undefined && asked !== undefined) return { ...first, language: asked, asksLanguage: true }
    const better = urgent ?? (isWeak(first) ? others.find(({ heard }) => !isWeak(heard)) : undefined)
    if (better === undefined) return { ...first, ...spokenIn(isFirst ? lead : undefined) }
    const isMeant = isFirst ? typeof told !== 'string' || told === better.language : told === better.language
    const meant = isMeant && languages.includes(better.language) ? better.language : undefined
    return { ...better.heard, ...spokenIn(meant ?? (isFirst ? lead : undefined)) }
  }
}

/** So few words tell a language less surely than the screen does. */
const FEW_WORDS = 2

/** Fewer words than this in Latin letters are taken for no language: "born 3 May", a name, a code. */
const TELLING_WORDS = 4

/** Whether a text is long enough to tell a language; in any script but the Latin, always. */
const tellsLanguage = (text: string): boolean =>
  /(?!\p{Script=Latin})\p{L}/u.test(text) || wordsIn(text) >= TELLING_WORDS

/** Words of two letters and more, in the beginning of a text. */
const wordsIn = (text: string): number => text.slice(0, 1_000).match(/\p{L}{2,}/gu)?.length ?? 0

/** The language of the words, where nothing is said in it here. */
function foreignIn(told: ReturnType<LanguageOf>, languages: readonly string[]): InLanguage {
  if (told === undefined) return {}
  if (typeof told === 'object') return { foreign: told.other }
  return languages.includes(told) ? {} : { foreign: told }
}

/** Said in any language, it counts before anything that was read in another. */
const outranks = ({ kind }: Heard): boolean => kind === 'danger' || kind === 'despair'

/** Why words were no answer, where words of another language may be one. */
const UNREAD = [
  'not-an-option',
  'no-words',
  'time-unclear',
  'date-unclear',
  'length-unclear',
  'number-unclear',
  'phone-unclear',
] as const

/** Nothing was found in it. */
function isWeak(heard: Understood): boolean {
  if (heard.kind === 'misread') return (UNREAD as readonly string[]).includes(heard.reason)
  const isEmpty = heard.kind === 'concern' && heard.concerns.length === 0 && Object.keys(heard.facts).length === 0
  return isEmpty && !(heard.kind === 'concern' && (heard.small === true || heard.news === true))
}

function answersOf(state: RunningCase): Readonly<Record<string, Answer>> {
  const { answers } = state as CaseState
  return Object.fromEntries(Object.entries(answers).map(([fact, { answer }]) => [fact, answer]))
}

/** Labels of the question that a tap belongs to, by its serial. */
function labelTapped(
  line: Line,
  state: CaseState | undefined,
  serial: number,
): Pick<UnderstandContext, 'tappedLabel'> | undefined {
  const fact = state?.askedBySerial?.[serial]
  if (state === undefined || fact === undefined) return undefined
  const wording = wordingOf(line, state.concern)
  const ids = (value: string) => [`option/${fact}/${value}`, `option/${value}`]
  return {
    tappedLabel: value => {
      const id = ids(value).find(one => wording.has(one))
      return id === undefined ? undefined : wording.text(id)
    },
  }
}

/** The buttons of every question of a concern but one; worked out once for each, in each language. */
function buttonsOf(
  line: Line,
): (spoken: Line, concern: string, fact: string) => Pick<UnderstandContext, 'otherLabels' | 'otherAnswers'> {
  type Others = Pick<UnderstandContext, 'otherLabels' | 'otherAnswers'>
  const known = new Map<string, Others>()
  const readOf = new Map<string, readonly OtherAnswer[]>()
  const read = (language: string, concern: string): readonly OtherAnswer[] => {
    const key = `${language} ${concern}`
    const labels = readOf.get(key) ?? labelsIn(language, concern)
    readOf.set(key, labels)
    return labels
  }
  function labelsIn(language: string, concern: string): readonly OtherAnswer[] {
    const wording = wordingOf(lineIn(line, language), concern)
    return [...wording.ids].flatMap(id => {
      const [, fact, value] = id.startsWith('option/') ? id.split('/') : []
      if (fact === undefined || value === undefined) return []
      // A label that has to be filled in is no words to compare with.
      const label = wording.source(id) ?? ''
      return label.includes('{') ? [] : [{ fact, value, label }]
    })
  }
  function beside(language: string, concern: string, asked: string): Others {
    const others = read(language, concern).filter(({ fact }) => fact !== asked)
    const choices = choicesOf(line, concern)
    const answers = others.filter(({ fact }) => choices.has(fact))
    return { otherLabels: others.map(({ label }) => label), otherAnswers: answers }
  }
  return ({ language }, concern, asked) => {
    const key = `${language} ${concern} ${asked}`
    const others = known.get(key) ?? beside(language, concern, asked)
    known.set(key, others)
    return others
  }
}

/** The facts that a flow asks, and one of whose buttons is a whole answer. */
function choicesOf(line: Line, concern: string): ReadonlySet<string> {
  const asked = [...(line.flows.flows.get(concern)?.steps.values() ?? [])].flatMap(({ ask }) => ask ?? [])
  return new Set(asked.filter(fact => line.flows.facts[fact]?.kind === 'choice'))
}

function openQuestion(line: Line, state: RunningCase, open: { serial: number; fact: string }, at: Instant): Question {
  const whole = state as CaseState
  return questionOf(line, open.serial, open.fact, wordingOf(line, whole.concern), caseValues(line, whole, at))
}
