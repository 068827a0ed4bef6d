/** The words of one language, compiled: danger phrases, negators, concerns, facts, controls, answers. */
import type { z } from 'zod'
import { type LexiconFile, lexiconFileSchema, type phraseSchema } from './lexicon-file.ts'
import { type Beside, besidesOf, type Pattern, patternOf, patternsOf } from './pattern.ts'
import { type Picture, plainOf } from './plain.ts'
import { type Vocabulary, vocabularyOf } from './vocabulary.ts'

export interface Phrase {
  readonly patterns: readonly Pattern[]
  readonly unlessBefore: readonly Beside[]
  readonly unlessAfter: readonly Beside[]
  readonly unlessWithin: ReadonlySet<string>
  readonly isThing: boolean
}

export interface Negation {
  readonly negators: ReadonlySet<string>
  readonly negatives: ReadonlySet<string>
  readonly denyingThings: ReadonlySet<string>
  readonly negatorsIfBefore: ReadonlyMap<string, ReadonlySet<string>>
  readonly notNegatingBefore: ReadonlyMap<string, ReadonlySet<string>>
  readonly partial: ReadonlySet<string>
  readonly contrast: ReadonlySet<string>
  readonly list: ReadonlySet<string>
  readonly again: ReadonlySet<string>
  readonly light: ReadonlySet<string>
  readonly subjects: ReadonlySet<string>
  readonly verbs: ReadonlySet<string>
  readonly over: readonly Pattern[]
  readonly earlier: ReadonlySet<string>
  /** Words of `earlier` that are none before one of these ("a bit of"). */
  readonly notEarlierBefore: ReadonlyMap<string, ReadonlySet<string>>
  readonly after: ReadonlySet<string>
  readonly doubt: ReadonlySet<string>
}

/** Words of things, each a pattern of one word: what "it" is where a concern's words name nothing. */
export interface ItMeans {
  readonly own: Pattern
  readonly other: Pattern
}

export interface Sign {
  readonly id: string
  readonly pastCounts: boolean
  readonly concern?: string
  readonly phrases: readonly Phrase[]
}

/** Bounds of a number that is asked for, the units it may be said in, and numbers that mean another thing too when written bare. */
export interface NumberFact {
  readonly min: number
  readonly max: number
  readonly units: readonly string[]
  readonly needsUnit: ReadonlySet<number>
}

export interface Lexicon {
  readonly language: string
  readonly vocabulary: Vocabulary
  readonly pictures: readonly Picture[]
  readonly negation: Negation
  readonly signs: readonly Sign[]
  readonly countsAsDanger: Readonly<Record<string, Readonly<Record<string, string>>>>
  readonly concerns: readonly {
    readonly id: string
    readonly phrases: readonly Phrase[]
    readonly onlyAlone: readonly Phrase[]
    readonly covers: readonly string[]
    /** So urgent that its first steps are never put off by a question. */
    readonly atOnce: boolean
    /** Its things, one of which must stand in a message that names a danger sign. */
    readonly besideDanger?: Pattern
    /** Its own things, and others: a find without an own one is left out where another was named last before it. */
    readonly itMeans?: ItMeans
    /** Questions whose answers are said in the words of the concern: no other trouble is named by them. */
    readonly unlessAsked: readonly string[]
    /** Where one of these is said, the concern comes before others that are more urgent by themselves. */
    readonly leads?: { readonly over: readonly string[]; readonly phrases: readonly Phrase[] }
  }[]
  readonly facts: readonly {
    readonly fact: string
    readonly value: string
    readonly many: boolean
    readonly isEvenSupposed: boolean
    readonly phrases: readonly Phrase[]
  }[]
  readonly sincePhrases: Readonly<Record<string, readonly Pattern[]>>
  readonly hypothetical: ReadonlySet<string>
  readonly otherTimes: readonly Pattern[]
  /** Times so long past that what was then is no danger now. */
  readonly longAgo: readonly Pattern[]
  /** Words after which a danger sign is only supposed. */
  readonly supposed: readonly Pattern[]
  readonly numberPhrases: Readonly<Record<string, readonly Pattern[]>>
  readonly temperatureWords: ReadonlySet<string>
  readonly celsius: ReadonlySet<string>
  readonly fahrenheit: ReadonlySet<string>
  readonly degrees: ReadonlySet<string>
  readonly ages: Readonly<Record<'days' | 'weeks' | 'months' | 'years', readonly Pattern[]>>
  readonly datePhrases: Readonly<Record<string, readonly Pattern[]>>
  readonly datePatterns: readonly Pattern[]
  readonly timePatterns: readonly Pattern[]
  readonly timeHedges: ReadonlySet<string>
  readonly controls: Readonly<Record<keyof LexiconFile['controls'], readonly Phrase[]>>
  readonly answers: {
    readonly yes: readonly Pattern[]
    readonly yesShort: readonly Pattern[]
    readonly no: readonly Pattern[]
    readonly noShort: readonly Pattern[]
    readonly notYet: readonly Pattern[]
    readonly unsure: readonly Phrase[]
    readonly doubtful: readonly Phrase[]
    readonly none: readonly Pattern[]
    readonly separators: ReadonlySet<string>
    readonly writeOnly: readonly Phrase[]
    readonly ringOn: readonly Phrase[]
    readonly noPhone: readonly Phrase[]
    readonly numbers: ReadonlyMap<string, number>
  }
  readonly values: Readonly<Record<string, Readonly<Record<string, readonly Phrase[]>>>>
  readonly smallWords: { readonly said: ReadonlySet<string>; readonly beside: ReadonlySet<string> }
  readonly units: ReadonlySet<string>
  readonly numberFacts: Readonly<Record<string, NumberFact>>
  readonly saidOtherwise: readonly {
    readonly fact: string
    readonly value: string
    readonly phrases: readonly Phrase[]
    readonly unlessAsked: readonly string[]
  }[]
  readonly dangerWordFacts: readonly string[]
}

/**
 * Checks and compiles a parsed lexicon file.
 * Throws `ZodError` when its shape is wrong and `SyntaxError` when a pattern cannot be read; both name the place.
 */
export function lexiconOf(file: unknown): Lexicon {
  const data = lexiconFileSchema.parse(file)
  const vocabulary = vocabularyOf(
    data['real-words'],
    Object.entries(data.endings).map(([ending, instead]) => ({ ending, instead })),
    data['same-as'],
    data['short-words'],
  )
  const many = (texts: readonly string[]): readonly Pattern[] =>
    texts.flatMap(text => patternsOf(text, data.groups, vocabulary))
  const one = (text: string): Pattern => patternOf(text, data.groups, vocabulary)
  const beside = (texts: readonly string[] | undefined, side: 'before' | 'after'): readonly Beside[] =>
    (texts ?? []).flatMap(text => besidesOf(text, side, data.groups, vocabulary))
  const phrases = (list: readonly z.infer<typeof phraseSchema>[] | undefined): readonly Phrase[] =>
    (list ?? []).map(entry => ({
      patterns: many(entry.find),
      unlessBefore: beside(entry['unless-before'], 'before'),
      unlessAfter: beside(entry['unless-after'], 'after'),
      unlessWithin: new Set(entry['unless-within'] ?? []),
      isThing: entry.thing === true,
    }))
  const { negation, controls, answers } = data
  const sets = (record: Readonly<Record<string, readonly string[]>>): ReadonlyMap<string, ReadonlySet<string>> =>
    new Map(Object.entries(record).map(([key, list]) => [key, new Set(list)]))
  return {
    language: data.language,
    vocabulary,
    pictures: data.pictures.map(({ picture, once, twice }) => ({
      picture: plainOf(picture),
      once,
      twice: twice ?? once,
    })),
    negation: {
      negators: new Set(negation.negators),
      negatives: new Set([...negation.negators, ...negation.negatives]),
      denyingThings: new Set(negation['denying-things']),
      negatorsIfBefore: sets(negation['negators-if-before']),
      notNegatingBefore: sets(negation['not-negating-before']),
      partial: new Set(negation.partial),
      contrast: new Set(negation.contrast),
      list: new Set(negation.list),
      again: new Set(negation.again),
      light: new Set(negation.light),
      subjects: new Set(negation.subjects),
      verbs: new Set(negation.verbs),
      over: many(negation.over),
      earlier: new Set(negation.earlier),
      notEarlierBefore: sets(negation['not-earlier-before']),
      after: new Set(negation.after),
      doubt: new Set(negation.doubt),
    },
    signs: Object.entries(data.danger).map(([id, entry]) => ({
      id,
      pastCounts: entry['past-counts'],
      ...(entry.concern === undefined ? {} : { concern: entry.concern }),
      phrases: phrases(entry.phrases),
    })),
    countsAsDanger: data['counts-as-danger'],
    concerns: data.concerns.map(entry => ({
      id: entry.id,
      phrases: phrases(entry.phrases),
      onlyAlone: phrases(entry['only-alone']),
      covers: entry.covers ?? [],
      atOnce: entry['at-once'] === true,
      unlessAsked: entry['unless-asked'] ?? [],
      ...(entry['beside-danger'] === undefined ? {} : { besideDanger: one(entry['beside-danger']) }),
      ...(entry['it-means'] === undefined ? {} : { itMeans: mapped(entry['it-means'], one) }),
      ...(entry.leads === undefined
        ? {}
        : { leads: { over: entry.leads.over, phrases: phrases(entry.leads.phrases) } }),
    })),
    facts: data.facts.map(entry => ({
      fact: entry.fact,
      value: entry.value,
      many: entry.many === true,
      isEvenSupposed: entry['even-supposed'] === true,
      phrases: phrases(entry.phrases),
    })),
    sincePhrases: mapped(data['since-phrases'], many),
    hypothetical: new Set(data.hypothetical),
    otherTimes: many(data['other-times']),
    longAgo: many(data['long-ago']),
    supposed: many(data.supposed),
    numberPhrases: mapped(data['number-phrases'], many),
    temperatureWords: new Set(data['temperature-words']),
    celsius: new Set(data.celsius),
    fahrenheit: new Set(data.fahrenheit),
    degrees: new Set(data.degrees),
    ages: mapped(data.ages, many),
    datePhrases: mapped(data['date-phrases'], many),
    datePatterns: many(data['date-patterns']),
    timePatterns: many(data['time-patterns']),
    timeHedges: new Set(data['time-hedges']),
    controls: mapped(controls, phrases),
    answers: {
      yes: many(answers.yes),
      yesShort: many(answers['yes-short']),
      no: many(answers.no),
      noShort: many(answers['no-short']),
      notYet: many(answers['not-yet']),
      unsure: phrases(answers.unsure),
      doubtful: phrases(answers.doubtful),
      none: many(answers.none),
      separators: new Set(answers.separators),
      writeOnly: phrases(answers['write-only']),
      ringOn: phrases(answers['ring-on']),
      noPhone: phrases(answers['no-phone']),
      numbers: new Map(Object.entries(answers.numbers)),
    },
    values: mapped(data.values, values => mapped(values, phrases)),
    smallWords: { said: new Set(data['small-words'].said), beside: new Set(data['small-words'].beside) },
    units: new Set(data.units),
    numberFacts: mapped(data['number-facts'], fact => ({ ...fact, needsUnit: new Set(fact['needs-unit']) })),
    saidOtherwise: data['said-otherwise'].map(row => ({
      fact: row.fact,
      value: row.value,
      phrases: phrases(row.phrases),
      unlessAsked: row['unless-asked'] ?? [],
    })),
    dangerWordFacts: data['danger-word-facts'],
  }
}

/** The lexicon of a language. Throws `RangeError`, naming the file, where there is none: no other is read in its place. */
export function lexiconIn(lexicons: ReadonlyMap<string, Lexicon>, language: string): Lexicon {
  const lexicon = lexicons.get(language)
  if (lexicon !== undefined) return lexicon
  const known = [...lexicons.keys()].toSorted().join(', ')
  throw new RangeError(
    `no lexicon for "${language}" (there are: ${known}): write flows/shared/lexicon.${language}.yaml, or serve another language`,
  )
}

function mapped<Key extends string, From, To>(
  record: Readonly<Record<Key, From>>,
  change: (from: From) => To,
): Record<Key, To> {
  const result = {} as Record<Key, To>
  for (const key of Object.keys(record) as Key[]) result[key] = change(record[key])
  return result
}
