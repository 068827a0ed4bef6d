/**
 * The shape of the flow language: what may stand in the files of a flow folder and of flows/shared.
 * The reference page for clinicians is generated from these schemas; each `.describe` is a sentence of it.
 */
import { z } from 'zod'

export const DISPOSITIONS = ['ambulance', 'set-out', 'speak', 'tell-clinic', 'at-home'] as const

const id = z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens, such as "keep-tube"')
const stepRef = z
  .string()
  .regex(
    /^(shared\/|back\/)?[a-z0-9]+(-[a-z0-9]+)*$/,
    'a step id of this flow, "shared/" and a shared step id, or in a shared step "back/" and a name',
  )

/** Conditions of a route row: every fact named must have one of the values listed. */
const condition = z
  .record(id, z.array(z.string()).min(1))
  .describe(
    'All facts named must have one of the listed values. "unsure" counts as the value facts.yaml says it acts as.',
  )

const row = z.strictObject({
  if: condition.optional().describe('Left out on the last row only.'),
  go: z
    .union([stepRef, z.literal('resume')])
    .describe('The next step, or "resume": back to the question that was open.'),
})

const ALARM_MOMENTS = ['leave-by', 'closure-soonest', 'closure-latest', 'closure-overdue', 'arrival'] as const

const alarm = z
  .strictObject({
    name: id.describe('Unique in the flow; setting it again moves it.'),
    at: z.enum(ALARM_MOMENTS).optional().describe('A moment worked out from the answers.'),
    after: id.optional().describe('A setting that is a length of time, counted from when the step was entered.'),
    go: stepRef.describe('The step it leads to. It never leaves the emergency steps.'),
    late: z
      .enum(['say', 'recompute', 'page', 'drop'])
      .default('say')
      .describe(
        'What happens when the line was down over its moment: say so (default), work it out anew, page, or drop it.',
      ),
  })
  .refine(value => (value.at === undefined) !== (value.after === undefined), 'exactly one of "at" and "after"')

export const stepSchema = z
  .strictObject({
    say: z.array(id).optional().describe('Advice or notices, in order.'),
    'start-clock': z.literal('closure').optional().describe('From here the closure window counts.'),
    decide: z.enum(DISPOSITIONS).optional().describe('The disposition from here on; it only ever rises within a case.'),
    page: id.optional().describe('Pages the on-call clinician; the id is the reason, worded under reason/<id>.'),
    note: id.optional().describe('Leaves a note for the clinic’s day, worded under note/<id>.'),
    alarms: z.array(alarm).optional(),
    cancel: z.array(id).optional().describe('Alarms that no longer matter.'),
    set: z.record(id, z.string()).optional().describe('Facts that follow from being here (attempt: made).'),
    ask: id
      .optional()
      .describe('One question: the id of the fact it fills. A fact already answered is not asked again.'),
    quiet: z
      .literal(true)
      .optional()
      .describe('With ask: no answer is needed now (someone is driving); silence is not chased here.'),
    again: z.boolean().optional().describe('With ask: ask even if it was answered before (a follow-up).'),
    wait: z.literal(true).optional().describe('Nothing is asked; the case rests until something happens.'),
    end: z.literal(true).optional().describe('The concern ends here; a disposition must have been decided.'),
    go: z.union([stepRef, z.literal('resume')]).optional(),
    route: z.array(row).min(1).optional().describe('First row that fits wins; the last has no condition.'),
  })
  .refine(
    step => [step.wait, step.end, step.go, step.route].filter(part => part !== undefined).length === 1,
    'exactly one of "go", "route", "wait" and "end"',
  )
  .refine(step => step.ask === undefined || step.wait === undefined, 'either "ask" or "wait"')

export const flowSchema = z.strictObject({
  concern: id,
  start: stepRef,
  silence: z
    .strictObject({ ask: stepRef, page: stepRef })
    .optional()
    .describe(
      'Where silence leads: after the setting left-check the first, after left-silent the second. Both end in "resume".',
    ),
  unanswered: stepRef
    .optional()
    .describe('Where it leads when a "speak" page ran out with no answer; ends in "resume" or goes on from there.'),
  left: stepRef
    .optional()
    .describe(
      'Where "we have left" leads when it is said while something else is asked: no more questions for someone on the road.',
    ),
  back: z
    .record(id, stepRef)
    .optional()
    .describe(
      'Where shared steps hand back to this flow, by name: a shared step that goes to "back/well" goes to the step that stands here under "well".',
    ),
  steps: z.record(id, stepSchema),
})

export const sharedStepsSchema = z.strictObject({ steps: z.record(id, stepSchema) })

/** flows/shared/facts.yaml */
const tapSpan = z
  .tuple([z.string(), z.string()])
  .describe('Shortest and longest time ago (or length), ISO 8601 durations.')

export const factSchema = z.strictObject({
  kind: z.enum(['choice', 'many', 'moment', 'date', 'length', 'number', 'phone']),
  values: z
    .array(id)
    .optional()
    .describe('For choice and many: the values, in the order shown. "unsure" is always accepted and not listed.'),
  apart: z.array(id).optional().describe('Values shown apart, after the others (none).'),
  drawing: id
    .optional()
    .describe('A drawing above the buttons, under flows/shared/drawings; its words are the text "drawing/ID".'),
  drawings: z.boolean().optional().describe('Each value has a drawing under flows/shared/drawings.'),
  'act-at-once': z.boolean().optional().describe('For many: the first tap answers (danger signs).'),
  taps: z
    .record(id, z.union([tapSpan, z.literal('words')]))
    .optional()
    .describe('Buttons for moments and lengths; "words" asks for typed words.'),
  'read-back': z.boolean().optional().describe('A typed answer is read back as a clock time and confirmed.'),
  'unsure-acts-as': z
    .string()
    .optional()
    .describe(
      'The listed value that "not sure" counts as in every condition. Left out: only conditions that list "unsure" match it.',
    ),
  'stands-for': z
    .record(id, z.record(id, z.array(z.string())))
    .optional()
    .describe(
      'For many: the single questions a value stands for, with the answers (or ranges, "36..37.4") that leave it out. What is chosen is asked about by itself.',
    ),
  sticky: z.boolean().optional().describe('History: kept when an earlier answer is changed.'),
  settable: z.boolean().optional().describe('Filled by steps ("set"), never asked.'),
})

/** A derived fact: worked out by the computation of that name. */
export const derivedSchema = z.strictObject({
  values: z.array(id).min(2),
  from: z.array(id).describe('The facts it is worked out from.'),
})

export const factsFileSchema = z.strictObject({
  facts: z.record(id, factSchema),
  derived: z.record(id, derivedSchema),
  policies: z
    .record(id, z.array(z.string()))
    .describe('Clinic settings that conditions may read, with their values (on, off).'),
})

/** sources.yaml of a flow, and of flows/shared. */
export const sourceSchema = z.strictObject({
  title: z.string(),
  body: z.string().optional(),
  year: z.union([z.number(), z.string()]).optional(),
  address: z.string().optional(),
  locator: z.string().optional(),
  how: z.enum(['direct', 'derived', 'worked-case', 'case-report', 'practice']),
})

export const adviceSchema = z
  .strictObject({
    tags: z
      .array(id)
      .describe('What it makes someone do: tags of flows/shared/tags.yaml. Empty: a notice, asking for no act.'),
    'rests-on': z.array(z.string()).optional().describe('Ids of sources.'),
    practice: z.string().optional().describe('Why it is said, where there is no source: common practice, in one line.'),
    'closes-replies': z
      .literal(true)
      .optional()
      .describe(
        'Said last wherever a reply asks for an act and names no number to ring. One in all, in the shared sources.',
      ),
    'in-place-of': z
      .array(id)
      .optional()
      .describe('Advice that a reply leaves out when it says this too: the same act in other words.'),
    drawing: id
      .optional()
      .describe('A drawing beside it, under flows/shared/drawings; its words are the text "drawing/ID".'),
    own: z.string().optional().describe('A rule of this line itself (how the bot speaks, what it asks), in one line.'),
  })
  .refine(
    advice =>
      advice.tags.length === 0 ||
      (advice['rests-on']?.length ?? 0) > 0 ||
      advice.practice !== undefined ||
      advice.own !== undefined,
    'advice that asks for an act cites "rests-on", or says "practice" or "own"',
  )

export const sourcesFileSchema = z.strictObject({
  sources: z.record(z.string(), sourceSchema),
  advice: z.record(id, adviceSchema),
})

/** flows/shared/tags.yaml */
export const tagsFileSchema = z.strictObject({
  tags: z.record(
    id,
    z.strictObject({
      means: z.string(),
      hazardous: z.boolean().optional(),
      words: z.record(z.string(), z.array(z.string())).optional(),
    }),
  ),
})

/** wording.<language>.yaml: text ids to ICU MessageFormat texts. */
export const wordingSchema = z.record(z.string().regex(/^[a-z0-9-]+(\/[a-z0-9-]+)*$/, 'a text id'), z.string().min(1))

export type FlowDocument = z.infer<typeof flowSchema>
export type StepDocument = z.infer<typeof stepSchema>
export type AlarmDocument = z.infer<typeof alarm>
export type RouteRow = z.infer<typeof row>
export type FactDocument = z.infer<typeof factSchema>
export type FactsFile = z.infer<typeof factsFileSchema>
export type AdviceDocument = z.infer<typeof adviceSchema>
export type SourcesFile = z.infer<typeof sourcesFileSchema>
export type TagsFile = z.infer<typeof tagsFileSchema>
export type Wording = z.infer<typeof wordingSchema>
