/**
 * The words of one language, as data: danger phrases, negators, concerns, facts, controls, answers.
 * A lexicon file (flows/shared/lexicon.<language>.yaml) is checked by `lexiconFileSchema` and compiled by `lexiconOf`.
 * No clinical word stands in code.
 */
import { z } from 'zod'
import { type Beside, besidesOf, type Pattern, patternsOf } from './pattern.ts'
import { type Picture, plainOf } from './plain.ts'
import { type Vocabulary, vocabularyOf } from './vocabulary.ts'

const id = z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens')
const patterns = z.array(z.string().min(1)).min(1)
const words = z
  .array(z.string().regex(/^(?:#|[\p{L}\p{Nd}]+\*?)$/u, 'one word in plain letters, without apostrophe or accent'))
  .min(1)

const phrase = z.strictObject({
  find: patterns.describe('Any of these patterns.'),
  'unless-before': patterns
    .optional()
    .describe('Not when one of these leads up to it in the same sentence; "tube ..2" with up to two words between.'),
  'unless-after': patterns
    .optional()
    .describe('Not when one of these follows in the same sentence; "..1 cap" with one word between.'),
  'unless-within': words.optional().describe('Not when one of these words stands inside it.'),
  thing: z.literal(true).optional().describe('Reads as a thing ("blue lips"): "no" may reach it through a list.'),
})

const sign = z.strictObject({
  'past-counts': z.boolean().describe('Still counts when it is said to be over ("not fitting any more").'),
  concern: id.optional().describe('What it is about when nothing else is named.'),
  phrases: z.array(phrase).min(1),
})

export const lexiconFileSchema = z.strictObject({
  language: z.string().regex(/^[a-z]{2}$/),
  pictures: z
    .array(z.strictObject({ picture: z.string().min(1), once: z.string().min(1), twice: z.string().min(1).optional() }))
    .describe('Pictures people send in place of words; twice: sent more than once in a row.'),
  groups: z.record(id, words).describe('Named lists of words, written @name in patterns.'),
  'real-words': words.describe('Words that are never a misspelling of a word here.'),
  negation: z.strictObject({
    negators: words,
    negatives: words.describe('Words that, inside a phrase of the lexicon, make it a whole statement ("cannot wake").'),
    'denying-things': words.describe('Negators that stand before things (no, without).'),
    'negators-if-before': z
      .record(z.string(), words)
      .describe('Negators only right before one of these words (cannot: see, find).'),
    'not-negating-before': z
      .record(z.string(), words)
      .describe('A negator right before one of these words denies nothing ("not sure"); "any" holds for all negators.'),
    partial: words.describe('Right after a negator they make it half a denial, which is none ("not very").'),
    contrast: words.describe('What comes after no longer belongs to the denial (but, and, because).'),
    list: words.describe('Words that close a list a denial reaches through (or, nor).'),
    again: words.describe('Negators that begin anew inside a list (nor).'),
    light: words.describe('Words a denial reaches over ("not showing any signs of").'),
    subjects: words.describe('Who or what a new statement is about (she, lips): a denial does not reach past one.'),
    verbs: words.describe('Words that make a statement and so end a list (is, has).'),
    over: patterns.describe('Said of something that was there before (any more, now).'),
    earlier: words.describe('After a contrast they say that it was there (earlier, before).'),
    after: words.describe('A denial standing after a mark ("blood? no").'),
    doubt: words.describe('Right before a negator they make it unclear ("don’t think").'),
  }),
  danger: z.record(id, sign),
  'counts-as-danger': z
    .record(id, z.record(id, id))
    .describe('Answers to other questions that are danger signs: fact, value, sign.'),
  concerns: z
    .array(
      z.strictObject({
        id,
        phrases: z.array(phrase).min(1),
        'only-alone': z.array(phrase).optional(),
        covers: z.array(id).optional(),
      }),
    )
    .describe(
      'Most urgent first. only-alone counts when no other concern was found; covers names concerns that are part of this one.',
    ),
  facts: z
    .array(z.strictObject({ fact: id, value: id, many: z.boolean().optional(), phrases: z.array(phrase).min(1) }))
    .describe('What a first message already answers. The first row of a fact that fits wins.'),
  'since-phrases': z
    .record(id, patterns)
    .describe('For moment facts: what happened; the time is looked for beside it.'),
  'time-patterns': patterns.describe(
    'What a piece of a sentence that is a time looks like ("@count @unit ago"). # stands for any digits.',
  ),
  'time-hedges': words.describe('Words beside a time that belong to it (about, more than, or so).'),
  controls: z.strictObject({
    person: z.array(phrase),
    'cannot-travel': z.array(phrase),
    'they-rang': z.array(phrase),
    'wrong-tap': z.array(phrase),
    left: z.array(phrase),
    arrived: z.array(phrase),
    despair: z.array(phrase),
    change: z.array(phrase),
    'mid-case': z.array(phrase).describe('Said in the middle of a case; leads to a person with the words as said.'),
  }),
  answers: z.strictObject({
    yes: patterns.describe('Plain yes: at the beginning, or in a short reply; beside a plain no they are two answers.'),
    'yes-short': patterns.describe('Yes in a reply of at most four words.'),
    no: patterns,
    'no-short': patterns,
    'not-yet': patterns.describe('Means no to "have you …" questions.'),
    unsure: z.array(phrase).describe('The answer is not known; wins over a guess beside it.'),
    doubtful: z
      .array(phrase)
      .describe('Words that make a guess of a choice, and so "not sure"; of a time they are common.'),
    none: patterns,
    separators: words.describe('Words between numbers of options (and).'),
    'write-only': z.array(phrase),
    numbers: z.record(z.string(), z.number()).describe('Number words.'),
  }),
  values: z.record(id, z.record(id, z.array(phrase))).describe('Words for the values of a fact: fact, value, phrases.'),
  'small-words': z
    .strictObject({ said: words, beside: words })
    .describe('A message of these words alone, one of "said" among them, asks for nothing and answers nothing.'),
  units: z.array(z.string().min(1)).describe('Units of measure: a number that has one of another fact is no answer.'),
  'number-facts': z
    .record(id, z.strictObject({ min: z.number(), max: z.number(), units: z.array(z.string()) }))
    .describe('Bounds (inclusive) of a number, and the units it may be said in.'),
  'said-otherwise': z
    .array(
      z.strictObject({
        fact: id,
        value: id,
        phrases: z.array(phrase).min(1),
        'unless-asked': z.array(id).optional().describe('Questions whose answer these words are.'),
      }),
    )
    .describe('Words that take back an earlier answer, whatever is asked: that question is then asked once more.'),
  'danger-word-facts': z.array(id).describe('Questions whose "yes, one of these" is not known by name.'),
})

export type LexiconFile = z.infer<typeof lexiconFileSchema>

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
  readonly after: ReadonlySet<string>
  readonly doubt: ReadonlySet<string>
}

export interface Sign {
  readonly id: string
  readonly pastCounts: boolean
  readonly concern?: string
  readonly phrases: readonly Phrase[]
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
  }[]
  readonly facts: readonly {
    readonly fact: string
    readonly value: string
    readonly many: boolean
    readonly phrases: readonly Phrase[]
  }[]
  readonly sincePhrases: Readonly<Record<string, readonly Pattern[]>>
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
    readonly numbers: ReadonlyMap<string, number>
  }
  readonly values: Readonly<Record<string, Readonly<Record<string, readonly Phrase[]>>>>
  readonly smallWords: { readonly said: ReadonlySet<string>; readonly beside: ReadonlySet<string> }
  readonly units: ReadonlySet<string>
  readonly numberFacts: Readonly<
    Record<string, { readonly min: number; readonly max: number; readonly units: readonly string[] }>
  >
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
  const vocabulary = vocabularyOf(data['real-words'])
  const many = (texts: readonly string[]): readonly Pattern[] =>
    texts.flatMap(text => patternsOf(text, data.groups, vocabulary))
  const beside = (texts: readonly string[] | undefined, side: 'before' | 'after'): readonly Beside[] =>
    (texts ?? []).flatMap(text => besidesOf(text, side, data.groups, vocabulary))
  const phrases = (list: readonly z.infer<typeof phrase>[] | undefined): readonly Phrase[] =>
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
    })),
    facts: data.facts.map(entry => ({
      fact: entry.fact,
      value: entry.value,
      many: entry.many === true,
      phrases: phrases(entry.phrases),
    })),
    sincePhrases: mapped(data['since-phrases'], many),
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
      numbers: new Map(Object.entries(answers.numbers)),
    },
    values: mapped(data.values, values => mapped(values, phrases)),
    smallWords: { said: new Set(data['small-words'].said), beside: new Set(data['small-words'].beside) },
    units: new Set(data.units),
    numberFacts: data['number-facts'],
    saidOtherwise: data['said-otherwise'].map(row => ({
      fact: row.fact,
      value: row.value,
      phrases: phrases(row.phrases),
      unlessAsked: row['unless-asked'] ?? [],
    })),
    dangerWordFacts: data['danger-word-facts'],
  }
}

function mapped<Key extends string, From, To>(
  record: Readonly<Record<Key, From>>,
  change: (from: From) => To,
): Record<Key, To> {
  const result = {} as Record<Key, To>
  for (const key of Object.keys(record) as Key[]) result[key] = change(record[key])
  return result
}
