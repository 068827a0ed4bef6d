import type { CaseEvent } from '../case/event.ts'
import type { Incoming } from '../case/message.ts'
import type { Understood } from '../understand/understood.ts'

/** The concern of whoever wants a person, or says what no flow is for. */
export const SOMEONE = 'someone'

/** Serial that a channel gives to a tapped concern before anything is asked. */
const CONCERN_SERIAL = 0

/** Most characters of a child's nickname, inclusive. */
const NICKNAME_MAX = 40

export type CaseOpened = CaseEvent & { readonly kind: 'caseOpened' }

/** How a case begins. */
export interface Beginning {
  readonly event: CaseOpened
  readonly nickname?: string
  /** False where no flow is for it: the family gets the fixed text with the numbers, and a person is paged at once. */
  readonly isServed: boolean
  /** True where the message names neither concern nor danger nor the wish for a person: a case just ended can answer it. */
  readonly isSmall: boolean
}

/** The concern tapped on a first screen, or undefined for any other message. */
export function tappedConcern(body: Incoming['body']): string | undefined {
  return body.kind === 'choice' && body.serial === CONCERN_SERIAL ? body.values[0] : undefined
}

/**
 * How a message begins a case. Total: what names no concern that has a flow goes to a person.
 *
 * @param concerns  those that have a flow, the first the most usual
 */
export function beginningOf(body: Incoming['body'], understood: Understood, concerns: ReadonlySet<string>): Beginning {
  const tapped = tappedConcern(body)
  if (tapped !== undefined) return begin(concerns, { kind: 'caseOpened', concern: tapped })
  if (body.kind === 'control') return controlBeginning(body, concerns)
  return wordsBeginning(understood, concerns)
}

function begin(concerns: ReadonlySet<string>, event: CaseOpened, isSmall = false): Beginning {
  const isServed = concerns.has(event.concern)
  return {
    event: isServed ? event : { ...event, concern: SOMEONE },
    isServed: isServed || concerns.has(SOMEONE),
    isSmall,
  }
}

/** What is begun when nothing is named: the only flow there is, or a person. */
function plainConcern(concerns: ReadonlySet<string>): string {
  const served = [...concerns].filter(concern => concern !== SOMEONE)
  return served.length === 1 && served[0] !== undefined ? served[0] : SOMEONE
}

function plainBeginning(concerns: ReadonlySet<string>): Beginning {
  const concern = plainConcern(concerns)
  return begin(concerns, { kind: 'caseOpened', concern, ...(concern === SOMEONE ? { unclear: true } : {}) })
}

function controlBeginning(
  body: Incoming['body'] & { readonly kind: 'control' },
  concerns: ReadonlySet<string>,
): Beginning {
  switch (body.control) {
    case 'start':
      return body.subject === undefined
        ? plainBeginning(concerns)
        : begin(concerns, { kind: 'caseOpened', concern: body.subject })
    case 'new-child': {
      const nickname = body.subject?.trim().slice(0, NICKNAME_MAX) ?? ''
      const plain = plainBeginning(concerns)
      return nickname === '' ? plain : { ...plain, nickname }
    }
    case 'person':
    case 'cannot-travel':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE })
    case 'language':
    case 'wrong-tap':
    case 'they-rang':
    case 'change':
    case 'show-handover':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE }, true)
  }
}

function wordsBeginning(understood: Understood, concerns: ReadonlySet<string>): Beginning {
  switch (understood.kind) {
    case 'concern': {
      const { said } = understood
      // A typed time that has to be read back is no answer yet: it is asked in its turn.
      const facts = Object.fromEntries(
        Object.entries(understood.facts).filter(([fact]) => !(fact in understood.readBacks)),
      )
      // Most urgent first; one with a flow is begun, so that the family has steps while a person comes to the rest.
      const concern = understood.concerns.find(each => each !== SOMEONE && concerns.has(each)) ?? SOMEONE
      const isSmall = understood.concerns.length === 0
      const also = understood.concerns.filter(each => each !== SOMEONE && each !== concern)
      return begin(
        concerns,
        {
          ...{ kind: 'caseOpened', concern, said },
          ...(Object.keys(facts).length === 0 ? {} : { facts }),
          ...(also.length === 0 || concern === SOMEONE ? {} : { also }),
          ...(concern === SOMEONE ? { unclear: true } : {}),
          ...(understood.person === true ? { wantsPerson: true } : {}),
          ...(concern === SOMEONE && understood.distress === true ? { dangerFirst: true } : {}),
        },
        isSmall,
      )
    }
    case 'danger': {
      // The emergency text is in every flow: a danger sign always gets it, whatever else is known.
      const { signs, said } = understood
      const named = understood.concerns?.find(each => each !== SOMEONE && concerns.has(each))
      return begin(concerns, { kind: 'caseOpened', concern: named ?? plainConcern(concerns), said, danger: signs })
    }
    case 'person':
    case 'despair':
    case 'cannot-travel':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE, said: understood.said })
    case 'misread': {
      const { said, reason } = understood
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE, said, unclear: true, unread: reason }, true)
    }
    case 'answer':
    case 'fact':
    case 'read-back':
    case 'left':
    case 'arrived':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE, said: understood.said, unclear: true }, true)
    // The case it was kept for is over: what a photo began would know nothing of it.
    case 'photo-kept':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE, unclear: true, unread: 'media' }, true)
    case 'they-rang':
    case 'wrong-tap':
    case 'change':
    case 'control':
      return begin(concerns, { kind: 'caseOpened', concern: SOMEONE }, true)
  }
}
