/**
 * A recorded case as HL7 FHIR R4 (4.0.1): what was asked and answered, each message and page, each act of a clinician, and where it
 * all comes from. Resources stand alone, one a line; nobody in them is a Patient or Practitioner resource, since no record of either
 * is kept here: they are named as the transcript names them.
 */
import type { Effect } from '../case/effect.ts'
import { familyLine, type Line, staffLine } from '../case/line.ts'
import { renderPage, renderReply } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import { instant } from '../time/instant.ts'
import { fhirId, type Resource, responseOf } from './fhir-questionnaire.ts'
import { isoOf } from './iso.ts'
import type { RecordedCase } from './reading.ts'
import type { SentLine, StepLine } from './transcript.ts'

/** The program that speaks, as a device. */
export const deviceOf = (software: string): Resource => {
  const [, version = 'unknown'] = software.split(' ')
  return {
    resourceType: 'Device',
    id: 'bot',
    status: 'active',
    deviceName: [{ name: 'smallhours', type: 'model-name' }],
    version: [{ value: version }],
    type: { text: 'Software that answers families by approved text and pages clinicians' },
  }
}

const DEVICE = 'Device/bot'

export interface CaseAsFhir {
  readonly recorded: RecordedCase
  readonly line: Line
  /** The case after each step, for the words; undefined while people had it. */
  readonly states: readonly (CaseState | undefined)[]
  /** Chain of the transcript's line that the case begins with. */
  readonly chain: string
}

export function caseResources({ recorded, line, states, chain }: CaseAsFhir): readonly Resource[] {
  const response = responseOf(recorded, line, DEVICE)
  const about = `QuestionnaireResponse/${response.id}`
  const messages = recorded.steps.flatMap((step, index) =>
    step.effects.flatMap((effect, position) =>
      effect.kind === 'reply' || effect.kind === 'page'
        ? [communicationOf({ recorded, line, step, effect, position, state: states[index], about })]
        : [],
    ),
  )
  const acts = recorded.steps.flatMap(step => auditOf(step))
  return [response, ...messages, ...acts, provenanceOf(recorded, [about], chain)]
}

interface Message {
  readonly recorded: RecordedCase
  readonly line: Line
  readonly step: StepLine
  readonly effect: Effect & { readonly kind: 'reply' | 'page' }
  readonly position: number
  readonly state: CaseState | undefined
  readonly about: string
}

function communicationOf({ recorded, line, step, effect, position, state, about }: Message): Resource {
  const tries = recorded.sent.filter(row => row.seq === step.seq && row.position === position)
  const sentAt = tries.flatMap(row => row.at ?? []).toSorted((a, b) => a - b)[0]
  const urgent = effect.kind === 'page' && effect.urgency !== 'speak'
  return {
    resourceType: 'Communication',
    id: fhirId(`${step.case}-${step.seq}-${position}`),
    ...(state === undefined ? {} : { language: spokenIn(line, effect, state) }),
    status: statusOf(tries),
    ...(statusOf(tries) === 'not-done' ? { statusReason: { text: tries[0]?.reason ?? 'given up' } } : {}),
    category: [{ text: effect.kind === 'page' ? `page: ${effect.why}` : 'reply to the family' }],
    priority: urgent ? 'stat' : effect.kind === 'page' ? 'urgent' : 'routine',
    about: [{ reference: about }],
    ...(sentAt === undefined ? {} : { sent: isoOf(sentAt) }),
    sender: { reference: DEVICE },
    recipient: [{ display: effect.kind === 'page' ? effect.to : 'family' }],
    payload: [{ contentString: wordsOf(line, state, effect, step) }],
  }
}

/** A reply is in the family's language as it stood then, a page in that of the clinic's own people. */
const spokenIn = (line: Line, { kind }: Message['effect'], of: CaseState): string =>
  (kind === 'page' ? staffLine(line) : familyLine(line, of)).language

/** What the other side took is completed: whether a person saw it, no channel tells. */
function statusOf(tries: readonly SentLine[]): string {
  if (tries.some(({ status }) => status === 'sent')) return 'completed'
  if (tries.some(({ status }) => status === 'waiting')) return 'in-progress'
  return tries.length === 0 ? 'unknown' : 'not-done'
}

/** The words as they would be worked out now, or their ids where they cannot be. */
function wordsOf(line: Line, state: CaseState | undefined, effect: Message['effect'], { at }: StepLine): string {
  const ids =
    effect.kind === 'page'
      ? effect.reason
      : effect.parts.map(part => ('id' in part ? part.id : 'fact' in part ? part.fact : part.kind)).join(' ')
  if (state === undefined) return ids || effect.kind
  try {
    const texts =
      effect.kind === 'page'
        ? renderPage(line, state, effect, instant(at))
        : renderReply(line, state, effect, instant(at), { repeated: false }).map(({ text }) => text)
    return texts.join('\n') || ids
  } catch {
    return ids || effect.kind
  }
}

/** Each act of a clinician on the case. */
function auditOf({ case: name, seq, at, event }: StepLine): readonly Resource[] {
  if (!('by' in event)) return []
  const by = typeof event.by === 'string' ? { id: event.by, role: '' } : event.by
  return [
    {
      resourceType: 'AuditEvent',
      id: fhirId(`${name}-${seq}-act`),
      type: {
        system: 'http://terminology.hl7.org/CodeSystem/audit-event-type',
        code: 'rest',
        display: 'RESTful Operation',
      },
      subtype: [{ system: 'urn:smallhours:event', code: event.kind }],
      action: event.kind === 'pageOpened' ? 'R' : 'U',
      recorded: isoOf(at),
      outcome: '0',
      agent: [{ who: { display: by.id }, ...(by.role === '' ? {} : { role: [{ text: by.role }] }), requestor: true }],
      source: { observer: { reference: DEVICE } },
      entity: [{ what: { identifier: { system: 'urn:smallhours:case', value: name } } }],
    },
  ]
}

function provenanceOf({ head, steps }: RecordedCase, targets: readonly string[], chain: string): Resource {
  return {
    resourceType: 'Provenance',
    id: fhirId(`from-${head.case}`),
    target: targets.map(reference => ({ reference })),
    recorded: isoOf(steps.at(-1)?.at ?? head.openedAt),
    agent: [{ type: { text: 'assembler' }, who: { reference: DEVICE } }],
    entity: [
      {
        role: 'source',
        what: { identifier: { system: 'urn:smallhours:transcript-chain', value: chain } },
      },
    ],
  }
}
