/**
 * The transcript: what happened to cases and what the line decided, as JSON Lines (UTF-8, one object a line, `\n`).
 *
 * The lines of a file, in this order:
 *
 * 1. `transcript`  version of this format, what was taken out, for what purpose anything was kept;
 * 2. `edition`     what the steps that follow read beside their flow: clinic, settings, languages, under the hash of that content;
 * 3. `flows`       sources of flows, where the file brings its own (may be left out), under their hash;
 * 4. `case`, then its `step` lines in order of `seq` without a gap, then its `sent` lines; the next case, in
 *    ascending order of their names (by UTF-16 code units, as `<` compares);
 * 5. `end`         counts. A file without it was cut off.
 *
 * An `edition` or `flows` line stands before the first case that names it, also between cases. Every line carries its number
 * (`line`, from 1) and last `chain`, the SHA-256 over the chain of the line before and the line's own text without it
 * (`chain.ts`). To read a file use `readingOf` (`reading.ts`): it takes one text line at a time, keeps one case in memory, and
 * gives whole cases and faults by line.
 *
 * Instants are whole milliseconds since 1970-01-01T00:00:00Z. What a clock later than the reader's says is a fault, not a guess.
 */
import { z } from 'zod'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'

/** Rises when a reader of the earlier version would misread a file. */
export const TRANSCRIPT_VERSION = 1

/** What a transcript may keep that is taken out unless a purpose is named. */
export const KEEPABLE = ['words', 'names', 'numbers'] as const
export type Keepable = (typeof KEEPABLE)[number]

const sha = z.string().regex(/^[0-9a-f]{64}$/)
const id = z.string().min(1).max(200)
const instantField = z.number().int().min(0).max(8.64e15)

/** Where a line stands. `chain` is written last. */
const place = { line: z.number().int().min(1).describe('number of the line, from 1') }
const chain = { chain: sha.describe('SHA-256 over the chain before and the text of this line without it') }

export const headSchema = z.strictObject({
  ...place,
  kind: z.literal('transcript'),
  version: z.number().int().min(1).describe('version of this format'),
  madeAt: instantField.describe('when the file was made'),
  software: z.string().max(100).describe('version of the program that made it'),
  kept: z.array(z.enum(KEEPABLE)).describe('what was not taken out; empty: de-identified'),
  purpose: z.string().max(200).optional().describe('what it was kept for; needed where anything was'),
  ...chain,
})

export const editionSchema = z.strictObject({
  ...place,
  kind: z.literal('edition'),
  edition: sha.describe('SHA-256 of `content` as canonical JSON'),
  content: z
    .looseObject({
      clinic: z.looseObject({ zone: z.string(), people: z.array(z.unknown()), desks: z.array(z.unknown()) }),
      settings: z.looseObject({}),
      language: z.string(),
      languages: z.array(z.string()),
      foreign: z.array(z.string()),
      concerns: z.array(z.string()),
    })
    .describe('clinic (without private addresses), settings, languages, concerns with the most urgent first'),
  ...chain,
})

export const flowsSchema = z.strictObject({
  ...place,
  kind: z.literal('flows'),
  flows: sha.describe('SHA-256 of `content` as canonical JSON'),
  content: z.strictObject({
    files: z.record(z.string(), z.string()).describe('texts of the files of flows/, by path'),
    drawings: z.record(z.string(), sha).describe('SHA-256 of each drawing, by id'),
  }),
  ...chain,
})

export const caseSchema = z.strictObject({
  ...place,
  kind: z.literal('case'),
  case: id.describe('name of the case in this file, the same in every file of this clinic'),
  family: id.describe('name of the chat: the same family writing again has the same'),
  channel: id.describe('how the family wrote: web, terminal, sms'),
  concern: id.describe('what it was opened for'),
  openedAt: instantField.describe('instant of its first step'),
  flow: sha.optional().describe('hash of the flow it was opened under; left out: its content was not hashed'),
  language: z.string().max(20).optional().describe('language it was opened in; left out: the first of the clinic'),
  serialAfter: z.number().int().min(0).describe('serial of the last question before it: 0 in a chat’s first case'),
  code: z.string().max(40).optional().describe('spoken code; only where names are kept'),
  nickname: z.string().max(80).optional().describe('the child’s nickname; only where names are kept'),
  closed: z.boolean().describe('whether it had ended when the file was made'),
  ...chain,
})

/** Every kind of event: what is missing here does not compile. */
const EVENT_KINDS: Readonly<Record<CaseEvent['kind'], z.ZodRawShape>> = {
  caseOpened: { concern: id },
  concernNamed: { concerns: z.array(id), said: z.string() },
  languageChosen: { language: id },
  resumed: { downSince: z.number() },
  answerGiven: { serial: z.number(), fact: id, answer: z.looseObject({ kind: id }), said: z.string() },
  readBackAnswered: { serial: z.number(), right: z.boolean(), said: z.string() },
  changeWanted: { fact: id },
  factSaid: { fact: id, answer: z.looseObject({ kind: id }), said: z.string() },
  staleAnswer: { serial: z.number(), said: z.string() },
  dangerSaid: { signs: z.array(id), said: z.string() },
  wrongTapSaid: {},
  personWanted: { said: z.string() },
  travelRefused: { said: z.string() },
  leftSaid: { said: z.string() },
  familyRungSaid: {},
  photoKept: { photo: id },
  notUnderstood: { reason: id, said: z.string() },
  greeted: {},
  alarmDue: { name: id, due: z.number() },
  pageSettled: { pageId: id, to: id, outcome: z.enum(['accepted', 'given-up']) },
  pageOpened: { pageId: id, by: id },
  pageAcknowledged: { by: z.looseObject({ id }), doing: z.looseObject({ kind: id }) },
  passedOn: { by: z.looseObject({ id }) },
  clinicianWrote: { by: z.looseObject({ id }), text: z.string() },
  callMade: { by: z.looseObject({ id }) },
  dispositionLowered: { by: z.looseObject({ id }), to: id, reason: z.string() },
  alarmStopped: { by: z.looseObject({ id }), name: id },
  outcomeSet: { by: z.looseObject({ id }), outcome: id, doNotWrite: z.boolean() },
  rotaChanged: { by: z.looseObject({ id }) },
  dayTaken: { by: z.looseObject({ id }), taker: z.looseObject({ id }) },
  replyGivenUp: { effectId: id },
}

/** By kind, so that one wrong field is told as that field and not as thirty shapes that do not fit. */
const eventSchemas = Object.fromEntries(
  Object.entries(EVENT_KINDS).map(([kind, shape]) => [kind, z.looseObject({ kind: z.literal(kind), ...shape })]),
)

const EFFECT_KINDS: Readonly<Record<Effect['kind'], z.ZodRawShape>> = {
  reply: { parts: z.array(z.looseObject({ kind: id })), audible: z.boolean() },
  page: { to: id, why: id, reason: z.string(), urgency: id, number: z.number(), of: z.number() },
  setAlarm: { name: id, due: z.number() },
  cancelAlarm: { name: id },
  note: { id },
  closeCase: {},
}

const effectSchemas = Object.fromEntries(
  Object.entries(EFFECT_KINDS).map(([kind, shape]) => [kind, z.looseObject({ kind: z.literal(kind), ...shape })]),
)

/** Refuses a value whose `kind` is not in the table, or that lacks what its kind must have. */
function byKind(schemas: Readonly<Record<string, z.ZodType>>, what: string) {
  return z.looseObject({ kind: z.string() }).check(context => {
    const { kind } = context.value
    const schema = Object.hasOwn(schemas, kind) ? schemas[kind] : undefined
    if (schema === undefined) {
      context.issues.push({ code: 'custom', message: `no ${what} "${kind.slice(0, 40)}"`, input: kind, path: ['kind'] })
      return
    }
    const read = schema.safeParse(context.value)
    for (const issue of read.error?.issues ?? [])
      context.issues.push({ code: 'custom', message: issue.message, input: context.value, path: [...issue.path] })
  })
}

export const stepSchema = z.strictObject({
  ...place,
  kind: z.literal('step'),
  case: id.describe('the case of the line `case` before it'),
  seq: z.number().int().min(1).describe('number of the event in its case, from 1'),
  at: instantField.describe('the instant the step was made at'),
  edition: sha.describe('the edition in force'),
  event: byKind(eventSchemas, 'event').describe('what happened, as in the table of events'),
  effects: z.array(byKind(effectSchemas, 'effect')).describe('what was decided, as in the table of effects'),
  ...chain,
})

export const sentSchema = z.strictObject({
  ...place,
  kind: z.literal('sent'),
  case: id.describe('the case of the line `case` before it'),
  seq: z.number().int().min(1).describe('number of the event that put it out'),
  position: z.number().int().min(0).describe('position among the effects of that event, from 0'),
  address: z.number().int().min(0).optional().describe('of a page: which address of whoever is paged, from 0'),
  lane: z.enum(['page', 'family']),
  status: z.enum(['waiting', 'sent', 'given-up']),
  tries: z.number().int().min(0).describe('how often it was tried'),
  at: instantField.optional().describe('when the other side took it; that is not when a person saw it'),
  reason: z.string().max(200).optional().describe('why it was given up'),
  text: z.string().optional().describe('what was sent, as JSON; only where words, names and numbers are kept'),
  ...chain,
})

export const endSchema = z.strictObject({
  ...place,
  kind: z.literal('end'),
  cases: z.number().int().min(0),
  steps: z.number().int().min(0),
  ...chain,
})

/** The schema of each kind of line, in the order they come in. */
export const LINE_SCHEMAS = {
  transcript: headSchema,
  edition: editionSchema,
  flows: flowsSchema,
  case: caseSchema,
  step: stepSchema,
  sent: sentSchema,
  end: endSchema,
} as const

export type LineKind = keyof typeof LINE_SCHEMAS

type Written<S extends z.ZodType> = Omit<z.infer<S>, 'line' | 'chain'>
export type TranscriptHead = z.infer<typeof headSchema>
export type EditionLine = z.infer<typeof editionSchema>
export type FlowsLine = z.infer<typeof flowsSchema>
export type CaseLine = z.infer<typeof caseSchema>
export type SentLine = z.infer<typeof sentSchema>
export type EndLine = z.infer<typeof endSchema>
export type StepLine = Omit<z.infer<typeof stepSchema>, 'event' | 'effects'> & {
  readonly event: CaseEvent & InLanguage
  readonly effects: readonly Effect[]
}
export type TranscriptLine = TranscriptHead | EditionLine | FlowsLine | CaseLine | StepLine | SentLine | EndLine

/** A line before it has its number and its chain. */
export type NewLine =
  | Written<typeof headSchema>
  | Written<typeof editionSchema>
  | Written<typeof flowsSchema>
  | Written<typeof caseSchema>
  | Omit<StepLine, 'line' | 'chain'>
  | Written<typeof sentSchema>
  | Written<typeof endSchema>
