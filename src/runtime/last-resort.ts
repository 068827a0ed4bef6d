import type { Incoming, Outgoing } from '../case/message.ts'
import type { Channel } from '../channels/channel.ts'
import { minutes, seconds } from '../time/instant.ts'
import { type Clock, type Random, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { FAMILY_LANE } from './lane.ts'
import type { Machine } from './machine.ts'

/** The same message, sent again by its channel while it cannot be kept, is answered at most this often. */
const SAME_EVERY_MS = minutes(5)
/** Two messages of one chat are answered at most this often: somebody types several lines at once. */
const CHAT_EVERY_MS = seconds(10)
/** Waits before the tries of one fixed text. */
const TRIES_AFTER = [0, seconds(3), seconds(10)]
/** Chats and messages remembered. */
const REMEMBERED_MOST = 10_000

export interface LastResortDependencies {
  readonly machine: Pick<Machine, 'fallbackParts'>
  readonly clock: Clock
  readonly random: Random
  readonly channelOf: (id: string) => Channel | undefined
  readonly onFault: OnFault
}

export interface LastResort {
  /** Answers a message that was not kept with the fixed text and the numbers. Never throws, never waits. */
  give(incoming: Incoming): void
  stop(): void
}

/** The fixed words past store and outbox, for whoever would otherwise be met with silence. */
export function lastResort(deps: LastResortDependencies): LastResort {
  const { clock, onFault } = deps
  const given = new Map<string, number>()
  let stopped = false

  function wasGiven(key: string, everyMs: number): boolean {
    return clock.monotonicMs() - (given.get(key) ?? Number.NEGATIVE_INFINITY) < everyMs
  }

  function give(incoming: Incoming): void {
    const { channel, chat, deliveryId } = incoming
    const keys = [JSON.stringify([channel, chat]), JSON.stringify([channel, chat, deliveryId])] as const
    if (wasGiven(keys[0], CHAT_EVERY_MS) || wasGiven(keys[1], SAME_EVERY_MS)) return
    if (given.size > REMEMBERED_MOST) given.clear()
    for (const key of keys) given.set(key, clock.monotonicMs())
    const at = clock.now()
    const effectId = `last-resort.${deps.random.hex(8)}`
    const parts = deps.machine.fallbackParts(at)
    void deliver({ channel, chat, caseId: '', effectId, at, parts, repeated: false, audible: true })
  }

  async function deliver(outgoing: Outgoing): Promise<void> {
    for (const wait of TRIES_AFTER) {
      if (wait > 0) await new Promise<void>(resolve => clock.wake(clock.monotonicMs() + wait, resolve))
      if (stopped) return
      const kind = await once(outgoing)
      if (kind === 'delivered' || kind === 'refused') return
    }
    onFault({ code: 'reply-given-up', lane: 'family', why: 'last-resort' })
  }

  async function once(outgoing: Outgoing): Promise<'delivered' | 'failed' | 'refused' | 'unknown'> {
    const channel = deps.channelOf(outgoing.channel)
    if (channel === undefined) return 'refused'
    try {
      const late = { kind: 'unknown', reason: 'timeout' } as const
      return (await within(clock, FAMILY_LANE.timeout, channel.deliver(outgoing), late)).kind
    } catch {
      return 'unknown'
    }
  }

  return {
    give,
    stop() {
      stopped = true
    },
  }
}
