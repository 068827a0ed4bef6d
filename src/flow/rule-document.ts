/**
 * The shape of a file of safety rules, flows/rules/*.yaml. A rule has one of the forms of the published property patterns:
 * absence, universality, existence, precedence and response (Dwyer, Avrunin and Corbett, "Patterns in property
 * specifications for finite-state verification", 1999), the last with a bound in time (Konrad and Cheng, "Real-time
 * specification patterns", 2005). Each `.describe` is a sentence of the reference page.
 */
import { z } from 'zod'
import { DISPOSITIONS, sourceSchema } from './document.ts'

const id = z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens')
const ids = z.array(id).min(1)
const some = z.union([z.literal('any'), ids])
const acts = z
  .array(
    z
      .string()
      .regex(/^(advice\/)?[a-z0-9]+(-[a-z0-9]+)*$/, 'a tag of flows/shared/tags.yaml, or "advice/" and an advice id'),
  )
  .min(1)

/** What the family does, beyond answering what is asked. */
export const FAMILY = [
  'opened',
  'danger-said',
  'person-wanted',
  'travel-refused',
  'left-said',
  'wrong-tap',
  'restarted',
] as const

export const happeningSchema = z
  .strictObject({
    says: acts.optional().describe('One of these tags is said, or one of these pieces of advice (`advice/ID`).'),
    decides: z.enum(DISPOSITIONS).optional().describe('This disposition, or a more urgent one, is decided.'),
    pages: some.optional().describe('The on-call clinician is paged: `any`, or for one of these reasons.'),
    asks: some
      .optional()
      .describe('A question is put that silence is chased for: `any`, or one of these facts. Not one marked `quiet`.'),
    rests: z.literal(true).optional().describe('Talk comes to rest: nothing is asked.'),
    ends: z.literal(true).optional().describe('Talk comes to its end.'),
    family: z.array(z.enum(FAMILY)).min(1).optional().describe('The family writes or taps something of its own.'),
    answers: some.optional().describe('The family answers the open question: `any`, or one of these facts.'),
    alarm: some.optional().describe('A stored alarm fires: `any`, or one of these names.'),
  })
  .refine(value => Object.keys(value).length > 0, 'at least one of says, decides, pages, asks, rests, ends, family …')
  .describe('Something that happens. Where several parts are named, one step does them all.')

/** What families may come with: one flow each, some of them not written yet. */
export const CONCERNS = [
  'tube-out',
  'tube-moved',
  'clogged',
  'leaking',
  'balloon',
  'skin',
  'bleeding',
  'feed-trouble',
  'broken',
  'medicine',
  'someone',
] as const

/** Keys of a condition that are no fact. */
export const HISTORY = ['danger', 'left', 'paged'] as const
export const CONDITION_WORDS = ['decided', 'history', 'armed', 'said', 'in-force'] as const

const conditionSchema = z
  .record(id, z.union([z.string(), z.array(z.string()).min(1)]))
  .describe(
    'All must hold. A fact, derived fact or policy with its values; or `decided` (this disposition or a more urgent one), `history` (danger, left, paged: it has happened), `armed` (an alarm of this name, or at this moment, is set), `said` (this tag has been said), `in-force` (advice with this hazardous tag has been said and not taken back).',
  )

const goalSchema = z.union([happeningSchema, z.strictObject({ holds: conditionSchema })])

const within = z
  .union([
    z.literal('same-reply'),
    z.strictObject({ silent: z.string().describe('An ISO 8601 length, or a setting that is a length of time.') }),
  ])
  .describe(
    '`same-reply`: before anything else happens. `silent`: when nobody answers and only stored alarms happen, counted anew from each alarm at a moment of the answers, which writes to the family.',
  )

export const ruleSchema = z
  .strictObject({
    was: z.string().optional().describe('The number it had in the first list of rules.'),
    means: z.string().min(1).describe('What must hold, in one plain sentence.'),
    hazards: z.array(z.string().regex(/^H[0-9]+$/, 'a hazard such as H2')).min(1),
    reason: z.string().min(1),
    sources: z.array(z.string()).optional().describe('Sources of flows/shared/sources.yaml it rests on.'),
    practice: z.string().optional().describe('Where there is no source.'),
    own: z.string().optional().describe('A rule of this line itself.'),
    flows: ids.optional().describe('Concerns it is about. Left out: every flow.'),
    'not-yet': z
      .string()
      .optional()
      .describe('Why nothing in the shipped flows comes up that it speaks of. Once something does, this must go.'),
    awaits: z
      .array(z.enum(CONCERNS))
      .min(1)
      .optional()
      .describe(
        'Concerns in which what it speaks of comes up. While none of them has a flow the rule is pending, and the check says so; once one has, it must come up.',
      ),
    absence: happeningSchema.optional().describe('This never happens.'),
    universality: conditionSchema.optional().describe('This holds at every moment.'),
    existence: happeningSchema.optional().describe('This has happened by the time of `before`.'),
    precedence: z
      .strictObject({ of: happeningSchema, needs: happeningSchema })
      .optional()
      .describe('`of` never happens unless `needs` has happened, in the same reply at the latest.'),
    response: z
      .strictObject({ after: happeningSchema, must: z.union([goalSchema, z.array(goalSchema).min(1)]), within })
      .optional()
      .describe('Whenever `after` happens, everything under `must` happens within its time.'),
    while: conditionSchema.optional().describe('Only where this holds as it happens.'),
    unless: z
      .union([conditionSchema, z.array(conditionSchema).min(1)])
      .optional()
      .describe('Not where this, or one of these, holds.'),
    after: happeningSchema.optional().describe('Only once this has happened.'),
    before: happeningSchema.optional().describe('Only until this happens.'),
  })
  .refine(
    rule =>
      [rule.absence, rule.universality, rule.existence, rule.precedence, rule.response].filter(
        form => form !== undefined,
      ).length === 1,
    'exactly one of absence, universality, existence, precedence and response',
  )
  .refine(rule => rule.existence === undefined || rule.before !== undefined, '"before" with "existence"')
  .refine(
    rule => (rule.sources?.length ?? 0) > 0 || rule.practice !== undefined || rule.own !== undefined,
    '"sources", or "practice" or "own" where there are none',
  )

export const rulesFileSchema = z.strictObject({
  sources: z
    .record(z.string(), sourceSchema)
    .optional()
    .describe('What rules rest on beside the sources of the flows, by id.'),
  rules: z.record(id, ruleSchema).optional(),
  worse: z
    .record(id, z.array(z.array(z.string()).min(1)).min(2))
    .optional()
    .describe(
      'By fact, its values from the mildest to the worst, all else equal; those in one list are not compared. A worse value never leads to a milder disposition.',
    ),
})

export type Happening = z.infer<typeof happeningSchema>
export type Condition = z.infer<typeof conditionSchema>
export type Goal = z.infer<typeof goalSchema>
export type RulesFile = z.infer<typeof rulesFileSchema>
export type RuleDocument = z.infer<typeof ruleSchema>

export interface Rule extends RuleDocument {
  readonly id: string
}

/** Whether a rule is about flows that nobody has written yet. */
export function isPending(rule: RuleDocument, concerns: { has(concern: string): boolean }): boolean {
  return rule.awaits?.every(concern => !concerns.has(concern)) === true
}

/** Everything the folder of rules says. */
export interface RuleSet {
  readonly rules: readonly Rule[]
  /** By fact: groups of values, mildest first. */
  readonly worse: Readonly<Record<string, readonly (readonly string[])[]>>
}
