/**
 * The shape of what the wording is checked by: shared/lint.yaml (every language), shared/lint.LANGUAGE.yaml (lists of words),
 * and lint-exceptions.yaml of a folder. Everything a clinic may want to say otherwise stands there and not in code.
 */
import { z } from 'zod'
import { READING_FORMULAS } from './reading.ts'

const id = z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens')
const kind = z.string().regex(/^[a-z]+(-[a-z]+)*$/, 'the part of a text id before the slash, such as "say"')
const words = z.array(z.string().min(1))

/** Findings that are counted or measured; the others come from lists of words. */
const MEASURED = [
  'reading-grade',
  'long-word',
  'sentence-length',
  'mean-length',
  'text-length',
  'acts-together',
  'acts-many',
  'negated-question',
  'number-without-unit',
  'colour-alone',
  'names-child',
  'number-lost',
  'hazardous-act',
] as const
export type MeasuredFinding = (typeof MEASURED)[number]

const finding = z
  .strictObject({
    severity: z.enum(['problem', 'warning']),
    expected: z.string().min(1).describe('What to write in its place: ends the line that the check prints.'),
    'not-in': z.array(kind).optional().describe('Kinds of text it is not looked for in.'),
    always: z.literal(true).optional().describe('It cannot be silenced.'),
  })
  .describe('One kind of finding.')

/** shared/lint.yaml */
export const lintSchema = z.strictObject({
  'read-by-families': z.array(kind).min(1).describe('Kinds of text that a family reads. Only these are checked.'),
  'screens-apart': z.array(z.string()).describe('Texts of the screens that begin so are read by no family.'),
  'tell-acts': z.array(kind).min(1).describe('Kinds that can tell somebody to do something.'),
  graded: z.array(kind).min(1).describe('Kinds whose reading grade is measured.'),
  questions: z.array(kind).min(1).describe('Kinds that are questions.'),
  limits: z.strictObject({
    'sentence-words': z.number().int().positive(),
    'mean-words': z.number().positive(),
    'text-words': z.record(kind, z.number().int().positive()).describe('Most words of a whole text, by kind.'),
    'sentence-acts': z.number().int().positive(),
    'text-acts': z.number().int().positive(),
    'graded-words': z.number().int().positive().describe('A text with fewer words has no reading grade.'),
  }),
  numbers: z
    .array(z.string())
    .describe('Variables that hold a number to ring: a text has the same ones in every language.'),
  'names-of-child': z.array(z.string()).describe('Variables that name the child.'),
  findings: z
    .record(id, finding)
    .refine(
      findings => MEASURED.every(one => one in findings),
      `all of ${MEASURED.join(', ')}: take the line from the release`,
    ),
})

const barred = z.strictObject({
  phrases: words.optional().describe('Words one after the other, anywhere in a text.'),
  acts: words.optional().describe('A verb and what it is done to: all in one sentence, the verb not forbidden there.'),
  unless: words.optional().describe('A sentence with one of these is let pass.'),
})

/** shared/lint.LANGUAGE.yaml */
export const lintWordsSchema = z.strictObject({
  reading: z.partialRecord(
    z.enum(READING_FORMULAS),
    z
      .strictObject({ most: z.number().optional(), least: z.number().optional() })
      .refine(limit => (limit.most === undefined) !== (limit.least === undefined), 'exactly one of "most" and "least"'),
  ),
  'word-syllables': z.number().int().positive().describe('Most syllables of a word in a graded text.'),
  syllables: z.record(z.string(), z.number().int().positive()).describe('Words whose spelling misleads the count.'),
  samples: z.record(z.string(), z.string()).describe('What stands for a variable while a text is measured.'),
  negations: z.strictObject({
    before: words.min(1).describe('Words that forbid a verb they stand before.'),
    beside: words.describe('Words that forbid only the verb or thing they stand straight beside.'),
    reach: z.number().int().positive().describe('How many words before a verb a negation still forbids it.'),
  }),
  conditions: words.describe('Words of a condition: a negation after one belongs to it.'),
  'clause-breaks': words.describe('Words that begin a part of a sentence with its own yes or no.'),
  requests: words.describe('Beginnings of a question that asks for an act.'),
  'question-negations': words.describe('Words that make a question hard to answer with yes or no.'),
  verbs: words.min(1).describe('Verbs that begin an instruction.'),
  'lead-ins': words.describe('What may stand before the verb of an instruction.'),
  'acts-as-one': z.array(words.min(2)).describe('Verbs that are one act when they stand in one sentence.'),
  ands: words.min(1).describe('Words that join two instructions.'),
  colours: words,
  'colour-of': words.describe('Things and signs beside which a colour does not stand alone.'),
  units: words,
  'units-before': words.describe('Words before a number that say what it counts.'),
  barred: z.record(id, barred),
  'plain-words': z.record(z.string(), z.string()).describe('A long or stiff word, and the plain one.'),
})

/** lint-exceptions.yaml of a flow's folder, or of flows/shared. */
export const lintExceptionsSchema = z.array(
  z.strictObject({
    text: z.string().describe('The id of the text.'),
    finding: id,
    language: z.string().optional().describe('Left out: in every language.'),
    reason: z.string().min(10, 'why this text may say so, in a sentence'),
    by: z.string().min(2, 'who decided it'),
  }),
)

export type LintRules = z.infer<typeof lintSchema>
export type LintWords = z.infer<typeof lintWordsSchema>
export type LintException = z.infer<typeof lintExceptionsSchema>[number]
export type Barred = z.infer<typeof barred>
