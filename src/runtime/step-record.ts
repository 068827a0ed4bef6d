import type { Effect } from '../case/effect.ts'
import type { CaseEvent } from '../case/event.ts'
import type { ChatRef } from '../case/message.ts'
import type { NewOutboxRow, StepRecord } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import type { PageEffect } from './machine.ts'

/** A page on its way to one address of whoever is paged: `address` is the position among theirs, from 0. */
export type PageToAddress = PageEffect & { readonly address: number }

export interface Stepped {
  readonly caseId: string
  readonly chat: ChatRef
  readonly from: number
  readonly at: Instant
  readonly closed: boolean
  /** JSON of the new state. */
  readonly state: string
  readonly event: CaseEvent
  readonly effects: readonly Effect[]
  readonly delivery?: { readonly channel: string; readonly deliveryId: string }
}

/**
 * What one step writes.
 *
 * A page becomes one outbox row an address, each with its own tries, so that what one address accepted is never sent to
 * it again because another failed. Someone without any address still gets one row: it is given up, and the ladder moves.
 *
 * @param addressesOf  how many addresses a person or desk has
 */
export function stepRecord(step: Stepped, addressesOf: (who: string) => number): StepRecord {
  const { event, effects, ...rest } = step
  const outbox = effects.flatMap((effect, position) =>
    rowsOf(effect, `${step.caseId}.${step.from + 1}.${position}`, step, addressesOf),
  )
  const fired = event.kind === 'alarmDue' ? [event.name] : []
  return {
    ...rest,
    event: JSON.stringify(event),
    effects: JSON.stringify(effects),
    outbox,
    alarms: {
      // A fired alarm goes with the step it led to, so it cannot fire twice; cancelling comes before setting.
      cancel: [...new Set([...fired, ...effects.flatMap(each => (each.kind === 'cancelAlarm' ? [each.name] : []))])],
      set: effects.flatMap(each => (each.kind === 'setAlarm' ? [{ name: each.name, due: each.due }] : [])),
    },
  }
}

function rowsOf(
  effect: Effect,
  effectId: string,
  { chat, at }: Stepped,
  addressesOf: (who: string) => number,
): NewOutboxRow[] {
  if (effect.kind === 'reply') {
    const queue = `chat:${chat.channel}:${chat.chat}`
    return [{ effectId, lane: 'family', queue, effect: JSON.stringify(effect), notBefore: at }]
  }
  if (effect.kind !== 'page') return []
  return Array.from({ length: Math.max(1, addressesOf(effect.to)) }, (_, address): NewOutboxRow => {
    const row: PageToAddress = { ...effect, address }
    const id = `${effectId}.${address}`
    return { effectId: id, lane: 'page', queue: `page:${id}`, effect: JSON.stringify(row), notBefore: at }
  })
}

/** Id of the page that a row of one address belongs to. */
export const pageIdOf = (rowId: string): string => rowId.slice(0, rowId.lastIndexOf('.'))
