/**
 * The shape of a lexicon file (flows/shared/lexicon.<language>.yaml): the words of one language, as data. It is compiled
 * by `lexiconOf`. No clinical word stands in code.
 */
import { z } from 'zod'

const id = z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens')
const patterns = z.array(z.string().min(1)).min(1)
const words = z
  .array(z.string().regex(/^(?:#|[\p{L}\p{Nd}]+\*?)$/u, 'one word in plain letters, without apostrophe or accent'))
  .min(1)

/** One word or several in plain letters. */
const WORDS_SAID = /^[\p{L}\p{Nd}]+( [\p{L}\p{Nd}]+)*$/u

export const phraseSchema = z.strictObject({
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
  phrases: z.array(phraseSchema).min(1),
})

export const lexiconFileSchema = z.strictObject({
  language: z.string().regex(/^[a-z]{2}$/),
  pictures: z
    .array(z.strictObject({ picture: z.string().min(1), once: z.string().min(1), twice: z.string().min(1).optional() }))
    .describe('Pictures people send in place of words; twice: sent more than once in a row.'),
  groups: z.record(id, words).describe('Named lists of words, written @name in patterns.'),
  'real-words': words.describe('Words that are never a misspelling of a word here.'),
  'short-words': words.describe('Words too short to be known misspelt, which are: one letter wrong, the first right.'),
  'same-as': z
    .record(z.string().regex(WORDS_SAID), z.string().regex(WORDS_SAID))
    .describe('Words said otherwise than here (dialect, short forms), with the words they are read as.'),
  endings: z
    .record(z.string().regex(/^\p{L}+$/u), z.array(z.string().regex(/^\p{L}*$/u)).min(1))
    .describe('Endings of words not known otherwise, longest first, with what the word ends in without them.'),
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
    'not-earlier-before': z
      .record(z.string(), words)
      .describe('A word of "earlier" right before one of these takes nothing back ("a bit of").'),
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
        phrases: z.array(phraseSchema).min(1),
        'only-alone': z.array(phraseSchema).optional(),
        covers: z.array(id).optional(),
        'at-once': z.literal(true).optional(),
        'unless-asked': z.array(id).optional(),
        'beside-danger': z
          .string()
          .min(1)
          .optional()
          .describe(
            'One-word pattern of its things: in a message with a danger sign and none of these it is not named.',
          ),
        'it-means': z
          .strictObject({ own: z.string().min(1), other: z.string().min(1) })
          .optional()
          .describe(
            'Its things and others, as one-word patterns: words naming no own thing, with another named last before them, are not of it.',
          ),
        leads: z.strictObject({ over: z.array(id).min(1), phrases: z.array(phraseSchema).min(1) }).optional(),
      }),
    )
    .describe(
      'Most urgent first. only-alone counts when no other concern was found; covers names concerns that are part of this one; at-once: first even where the same piece of a sentence names another, which is asked about otherwise; unless-asked names the questions whose answers are in its words; where one of its "leads" phrases is said, it comes before those named there.',
    ),
  facts: z
    .array(
      z.strictObject({
        fact: id,
        value: id,
        many: z.boolean().optional(),
        'even-supposed': z
          .literal(true)
          .optional()
          .describe('So either way, though it stands in a question ("can I crush this slow release tablet").'),
        phrases: z.array(phraseSchema).min(1),
      }),
    )
    .describe('What a first message already answers. The first row of a fact that fits wins: the worse stands first.'),
  'since-phrases': z
    .record(id, patterns)
    .describe('For moment facts: what happened; the time is looked for beside it.'),
  hypothetical: words.describe(
    'Before the words of a fact in its sentence: not said to be so ("if", "should"). It is asked.',
  ),
  'other-times': patterns.describe('In the sentence of a fact: it was so at another time ("last month"). It is asked.'),
  'long-ago': patterns.describe('Beside a danger sign: it was so long before now ("last year"), and is none.'),
  supposed: patterns.describe(
    'A danger sign at most two words after one of these is only supposed ("will it make him drowsy").',
  ),
  'number-phrases': z
    .record(id, patterns)
    .describe('For number facts: where the number stands, as #. Two different ones are asked about.'),
  'temperature-words': words.describe('Right before a number they make it a temperature (temp, fever).'),
  celsius: words,
  fahrenheit: words,
  degrees: words.describe('Words for degree: what follows may say of which scale.'),
  ages: z
    .strictObject({ days: patterns, weeks: patterns, months: patterns, years: patterns })
    .describe('How an age is said, by its unit; the number stands as #.'),
  'date-phrases': z.record(id, patterns).describe('For date facts: what happened; the date is looked for beside it.'),
  'date-patterns': patterns.describe('What a piece of a sentence that is a date looks like ("@count weeks ago").'),
  'time-patterns': patterns.describe(
    'What a piece of a sentence that is a time looks like ("@count @unit ago"). # stands for any digits.',
  ),
  'time-hedges': words.describe('Words beside a time that belong to it (about, more than, or so).'),
  controls: z.strictObject({
    person: z.array(phraseSchema),
    'cannot-travel': z.array(phraseSchema),
    'they-rang': z.array(phraseSchema),
    'wrong-tap': z.array(phraseSchema),
    left: z.array(phraseSchema),
    arrived: z.array(phraseSchema),
    despair: z.array(phraseSchema),
    distress: z
      .array(phraseSchema)
      .describe(
        'Says how the child is, or that something is badly wrong, and names nothing: danger is asked about first.',
      ),
    change: z.array(phraseSchema),
    news: z
      .array(phraseSchema)
      .describe(
        'Says that it is over, that the child rests or that help has come: heard while nothing is asked, and told to the clinician.',
      ),
    presence: z.array(phraseSchema).describe('Asks whether anyone is there, while a question is open.'),
    'mid-case': z
      .array(phraseSchema)
      .describe('Said in the middle of a case; leads to a person with the words as said.'),
  }),
  answers: z.strictObject({
    yes: patterns.describe('Plain yes: at the beginning, or in a short reply; beside a plain no they are two answers.'),
    'yes-short': patterns.describe('Yes in a reply of at most four words.'),
    no: patterns,
    'no-short': patterns,
    'not-yet': patterns.describe('Means no to "have you …" questions.'),
    unsure: z.array(phraseSchema).describe('The answer is not known; wins over a guess beside it.'),
    doubtful: z
      .array(phraseSchema)
      .describe('Words that make a guess of a choice, and so "not sure"; of a time they are common.'),
    none: patterns,
    separators: words.describe('Words between numbers of options (and).'),
    'write-only': z.array(phraseSchema),
    'ring-on': z.array(phraseSchema).describe('Words with which somebody gives a number to be rung on.'),
    'no-phone': z.array(phraseSchema).describe('There is no telephone, or no number to give.'),
    numbers: z.record(z.string(), z.number()).describe('Number words.'),
  }),
  values: z
    .record(id, z.record(id, z.array(phraseSchema)))
    .describe('Words for the values of a fact: fact, value, phrases.'),
  'small-words': z
    .strictObject({ said: words, beside: words })
    .describe('A message of these words alone, one of "said" among them, asks for nothing and answers nothing.'),
  units: z.array(z.string().min(1)).describe('Units of measure: a number that has one of another fact is no answer.'),
  'number-facts': z
    .record(
      id,
      z.strictObject({
        min: z.number(),
        max: z.number(),
        units: z.array(z.string()),
        'needs-unit': z.array(z.number()).optional().describe('Numbers that mean another thing too when written bare.'),
      }),
    )
    .describe('Bounds (inclusive) of a number, and the units it may be said in.'),
  'said-otherwise': z
    .array(
      z.strictObject({
        fact: id,
        value: id,
        phrases: z.array(phraseSchema).min(1),
        'unless-asked': z.array(id).optional().describe('Questions whose answer these words are.'),
      }),
    )
    .describe('Words that take back an earlier answer, whatever is asked: that question is then asked once more.'),
  'danger-word-facts': z.array(id).describe('Questions whose "yes, one of these" is not known by name.'),
})

export type LexiconFile = z.infer<typeof lexiconFileSchema>
