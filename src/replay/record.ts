/** The lines of one case, from what was stored of it. */
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { Instant } from '../time/instant.ts'
import { type CaseNames, deidentifiedEffect, deidentifiedEvent } from './de-identify.ts'
import type { CaseLine, NewLine, SentLine } from './transcript.ts'

export interface StoredStep {
  readonly seq: number
  readonly at: Instant
  readonly event: CaseEvent & InLanguage
  readonly effects: readonly Effect[]
}

/** A row of the outbox: what became of one effect at one address. */
export interface StoredSent extends Pick<SentLine, 'lane' | 'status' | 'tries' | 'seq' | 'position'> {
  readonly address?: number
  readonly at?: Instant
  readonly reason?: string
  readonly text?: string
}

export interface StoredCase {
  readonly channel: string
  readonly chat: string
  readonly flow?: string
  readonly closed: boolean
  readonly code?: string
  readonly nickname?: string
  readonly steps: readonly StoredStep[]
  readonly sent: readonly StoredSent[]
}

/** What of a case goes with it beyond what is understood. */
export interface Keeping {
  readonly names: CaseNames
  /** Spoken code and nickname. */
  readonly keepsNames: boolean
  /** Rendered texts. */
  readonly keepsTexts: boolean
  /** The edition in force at an instant. */
  readonly editionAt: (at: Instant) => string
}

/** Lines of a case in the order of a transcript; none for a case without a step, or whose first is not its opening. */
export function caseLines(
  stored: StoredCase,
  { names, keepsNames, keepsTexts, editionAt }: Keeping,
): readonly NewLine[] {
  const [first] = stored.steps
  if (first?.event.kind !== 'caseOpened') return []
  const name = names.case(names.caseId)
  const { serialAfter = 0, inLanguage } = first.event
  const head: Omit<CaseLine, 'line' | 'chain'> = {
    kind: 'case',
    case: name,
    family: names.family(stored.channel, stored.chat),
    channel: stored.channel,
    concern: first.event.concern,
    openedAt: first.at,
    ...(stored.flow === undefined ? {} : { flow: stored.flow }),
    ...(inLanguage === undefined ? {} : { language: inLanguage }),
    serialAfter,
    ...(keepsNames && stored.code !== undefined ? { code: stored.code } : {}),
    ...(keepsNames && stored.nickname !== undefined ? { nickname: stored.nickname } : {}),
    closed: stored.closed,
  }
  const steps = stored.steps.map(({ seq, at, event, effects }) => ({
    kind: 'step' as const,
    case: name,
    seq,
    at,
    edition: editionAt(at),
    event: deidentifiedEvent(event, names),
    effects: effects.map(effect => deidentifiedEffect(effect, names)),
  }))
  const sent = stored.sent.map(({ text, ...row }) => ({
    kind: 'sent' as const,
    case: name,
    ...row,
    ...(keepsTexts && text !== undefined ? { text } : {}),
  }))
  return [head, ...steps, ...sent]
}
