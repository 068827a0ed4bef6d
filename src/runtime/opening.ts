import type { CaseEvent } from '../case/event.ts'
import type { Incoming } from '../case/message.ts'
import type { Understood } from './understanding.ts'

/** The concern of whoever wants a person, or says what no flow is for. */
export const SOMEONE = 'someone'

/** Serial that a channel gives to a tapped concern before anything is asked. */
const CONCERN_SERIAL = 0

/** How a case begins: its concern, and its first events in order. */
export interface Beginning {
  readonly concern: string
  readonly nickname?: string
  readonly events: readonly CaseEvent[]
}

type CaseOpened = CaseEvent & { readonly kind: 'caseOpened' }

/** A concern with a flow opens it; any other is `someone`, and a person is paged at once. */
function begin(concerns: ReadonlySet<string>, opened: CaseOpened, nickname?: string): Beginning {
  const name = nickname === undefined || nickname.trim() === '' ? {} : { nickname: nickname.trim().slice(0, 40) }
  if (concerns.has(opened.concern)) return { concern: opened.concern, ...name, events: [opened] }
  const { danger, ...calm } = opened
  const said = opened.said ?? ''
  const next: CaseEvent =
    danger !== undefined && danger.length > 0
      ? { kind: 'dangerSaid', signs: danger, said }
      : { kind: 'personWanted', said }
  return { concern: SOMEONE, ...name, events: [{ ...calm, concern: SOMEONE }, next] }
}

/** What a message that names nothing begins: the only flow there is, or a person. */
function plainConcern(concerns: ReadonlySet<string>): string {
  const served = [...concerns].filter(concern => concern !== SOMEONE)
  return served.length === 1 && served[0] !== undefined ? served[0] : SOMEONE
}

/** The beginning that a control makes where there is no open case, or for another child. */
export function beginningOfControl(
  body: Incoming['body'] & { readonly kind: 'control' },
  concerns: ReadonlySet<string>,
): Beginning {
  switch (body.control) {
    case 'start':
      return begin(concerns, { kind: 'caseOpened', concern: body.subject ?? plainConcern(concerns) })
    case 'new-child':
      return begin(concerns, { kind: 'caseOpened', concern: plainConcern(concerns) }, body.subject)
    case 'person':
    case 'cannot-travel':
    case 'wrong-tap':
    case 'they-rang':
    case 'change':
    case 'show-handover':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE })
  }
}

/** The concern tapped on a first screen, or undefined for any other message. */
export function tappedConcern(body: Incoming['body']): string | undefined {
  return body.kind === 'choice' && body.serial === CONCERN_SERIAL ? body.values[0] : undefined
}

/** The beginning that a concern's button makes. */
export const beginningOfTap = (concern: string, concerns: ReadonlySet<string>): Beginning =>
  begin(concerns, { kind: 'caseOpened', concern })

/** The beginning that a first message makes. What is not understood goes to a person: nobody is left without one. */
export function beginningOfUnderstood(understood: Understood, concerns: ReadonlySet<string>): Beginning {
  const { said } = understood
  switch (understood.kind) {
    case 'concern': {
      const { concern, facts, danger } = understood
      const held = { ...(facts === undefined ? {} : { facts }), ...(danger === undefined ? {} : { danger }) }
      return begin(concerns, { kind: 'caseOpened', concern, said, ...held })
    }
    case 'danger':
      return begin(concerns, {
        kind: 'caseOpened',
        concern: understood.concern ?? SOMEONE,
        said,
        danger: understood.signs,
      })
    case 'person':
    case 'despair':
    case 'cannot-travel':
    case 'answer':
    case 'read-back':
    case 'stale':
    case 'they-rang':
    case 'wrong-tap':
    case 'left':
    case 'arrived':
    case 'change':
    case 'misread':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE, said })
  }
}
