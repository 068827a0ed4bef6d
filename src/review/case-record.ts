import { type Effect, PARKED_REASON } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { RecordedCase } from '../replay/reading.ts'
import { type Instant, instant } from '../time/instant.ts'

/** One step of a case as it was made. */
export interface RecordStep {
  readonly at: Instant
  readonly event: CaseEvent & InLanguage
  readonly effects: readonly Effect[]
  /** The edition that it was made under; left out: the line as it is. */
  readonly edition?: string
}

/** A case as it is on record, in the store or in a transcript. */
export interface CaseRecord {
  readonly caseId: string
  /** The same for every case of one chat. It need not tell which. */
  readonly family: string
  readonly channel: string
  readonly concern: string
  /** Left out: the first language of the clinic. */
  readonly language?: string
  readonly openedAt: Instant
  /** Serial of the last question of the same chat before it. */
  readonly serialAfter: number
  readonly closed: boolean
  /** In order. */
  readonly steps: readonly RecordStep[]
}

/** Whether people took the case over because it could not go on by itself: it pages for that reason, and no flow does. */
export const wasHanded = ({ steps }: Pick<CaseRecord, 'steps'>): boolean =>
  steps.some(({ effects }) => effects.some(effect => effect.kind === 'page' && effect.reason === PARKED_REASON))

/** A case as a transcript has it. */
export function recordIn({ head, steps }: RecordedCase): CaseRecord {
  const { family, channel, concern, language, serialAfter, closed } = head
  return {
    ...{ caseId: head.case, family, channel, concern, serialAfter, closed, openedAt: instant(head.openedAt) },
    ...(language === undefined ? {} : { language }),
    steps: steps.map(({ at, event, effects, edition }) => ({ at: instant(at), event, effects, edition })),
  }
}

/** A case as it is stored; undefined where its first step is no opening. @param family  stands for its chat */
export function recordStored(
  { caseId, channel, closed, family }: Pick<CaseRecord, 'caseId' | 'channel' | 'closed' | 'family'>,
  steps: readonly RecordStep[],
): CaseRecord | undefined {
  const [first] = steps
  if (first?.event.kind !== 'caseOpened') return undefined
  const { concern, serialAfter = 0, inLanguage } = first.event
  return {
    ...{ caseId, channel, closed, family, concern, serialAfter, openedAt: first.at, steps },
    ...(inLanguage === undefined ? {} : { language: inLanguage }),
  }
}
