import type { CaseEvent } from '../case/event.ts'
import type { Outgoing, Part } from '../case/message.ts'
import type { Channel } from '../channels/channel.ts'
import type { OutboxRow, StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import type { OnFault } from './fault.ts'
import type { Outcome } from './lane.ts'
import { type Machine, REPEAT_LABEL, type Reply } from './machine.ts'
import { languageIn, parkedOf } from './parking.ts'
import { freshIn, type Kept, keptOf, type Ready, type Sending, sentOf, toKeep } from './sending.ts'

export interface ReplySendingDependencies {
  readonly machine: Machine
  readonly channelOf: (id: string) => Channel | undefined
  readonly tell: (caseId: string, event: CaseEvent, deliveryId: string) => void
  readonly onFault: OnFault
}

/** Replies to families: rendered when first claimed, the same text at every repeat, and then labelled as one. */
export function replySending(deps: ReplySendingDependencies): Sending {
  const { machine, onFault } = deps

  function ready(row: OutboxRow, stored: StoredCase | undefined, now: Instant): Ready {
    const kept = keptOf<Outgoing>(row)
    const firstAt = kept?.firstAt ?? now
    if (stored === undefined) return { firstAt, send: async () => ({ kind: 'refused', reason: 'case-erased' }) }
    const effect = JSON.parse(row.effect) as Reply
    const reused = freshIn(row, kept, now)
    if (reused !== undefined) {
      const outgoing = repeated(row, stored, effect, reused)
      return { firstAt, send: () => deliver(row, outgoing) }
    }
    const outgoing = fresh(row, stored, effect, now)
    const content = JSON.stringify(toKeep(outgoing, firstAt, timesAhead(stored, now), now))
    return { content, firstAt, send: () => deliver(row, outgoing) }
  }

  /** Instants still to come that the texts of a case may name. */
  function timesAhead(stored: StoredCase, now: Instant): readonly Instant[] {
    try {
      return parkedOf(stored.state) === undefined ? machine.timesAhead(machine.parse(stored.state), now) : []
    } catch {
      // It cannot be read: the fixed text goes out, which names none.
      return []
    }
  }

  function fresh(row: OutboxRow, stored: StoredCase, effect: Reply, now: Instant): Outgoing {
    const language = languageOf(stored)
    return {
      ...stored.chat,
      caseId: row.caseId,
      effectId: row.effectId,
      at: now,
      parts: partsOf(row, stored, effect, now),
      ...(language === undefined ? {} : { language }),
      repeated: row.outcomeUnknown,
      audible: effect.audible,
    }
  }

  function repeated(row: OutboxRow, stored: StoredCase, effect: Reply, kept: Kept<Outgoing>): Outgoing {
    const outgoing = sentOf<Outgoing>(kept)
    if (!row.outcomeUnknown || outgoing.parts.some(isLabel)) return { ...outgoing, repeated: row.outcomeUnknown }
    const label = partsOf(row, stored, effect, outgoing.at).filter(isLabel)
    return { ...outgoing, repeated: true, parts: [...label, ...outgoing.parts] }
  }

  function partsOf(row: OutboxRow, stored: StoredCase, effect: Reply, at: Instant): readonly Part[] {
    try {
      const parked = parkedOf(stored.state)
      const words = effect.parts.flatMap(part => (part.kind === 'clinician' ? [part] : []))
      // A parked case has no state to render from; a clinician's own words need none.
      if (parked !== undefined && words.length > 0)
        return words.map(({ name, role, text }) => ({ kind: 'person', name, role, text }))
      if (parked !== undefined && isFallback(effect)) return machine.fallbackParts(at, languageIn(parked.state))
      const state = machine.parse(parked === undefined ? stored.state : (parked.state ?? ''))
      return machine.renderReply(state, effect, at, { repeated: row.outcomeUnknown })
    } catch (error) {
      onFault({ code: 'render-failed', caseId: row.caseId, effectId: row.effectId, lane: 'family', error })
      // The family is told to ring: a person must know of it, once a case.
      deps.tell(row.caseId, { kind: 'personWanted', said: '' }, `${row.caseId}:unrendered`)
      return machine.fallbackParts(at, languageOf(stored))
    }
  }

  async function deliver(row: OutboxRow, outgoing: Outgoing): Promise<Outcome> {
    if (outgoing.parts.length === 0) return { kind: 'arrived' }
    const channel = deps.channelOf(outgoing.channel)
    if (channel === undefined) {
      onFault({ code: 'channel-unknown', caseId: row.caseId, effectId: row.effectId, lane: 'family' })
      return { kind: 'refused', reason: 'channel-unknown' }
    }
    const delivery = await channel.deliver(outgoing)
    return delivery.kind === 'delivered' ? { kind: 'arrived' } : delivery
  }

  return {
    lane: 'family',
    ready,
    async ended(row, outcome) {
      if (outcome !== 'given-up') return
      const { caseId, effectId } = row
      deps.tell(caseId, { kind: 'replyGivenUp', effectId }, replyGivenUpId(effectId))
    },
  }
}

const languageOf = ({ state }: StoredCase): string | undefined => languageIn(parkedOf(state)?.state ?? state)

/** Delivery id of "this reply was given up": makes the event count once. */
export const replyGivenUpId = (effectId: string): string => `${effectId}:given-up`

const isLabel = (part: Part): boolean => part.kind === 'notice' && part.id.endsWith(REPEAT_LABEL)

const isFallback = (effect: Reply): boolean => effect.parts.some(part => part.kind === 'say' && part.id === 'fallback')
