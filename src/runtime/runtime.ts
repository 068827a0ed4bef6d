import { setImmediate } from 'node:timers/promises'
import type { ChatRef, Outgoing } from '../case/message.ts'
import type { LogLine } from '../case/view.ts'
import type { Channel } from '../channels/channel.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Pager } from '../pagers/pager.ts'
import type { Store } from '../store/store.ts'
import { type Instant, type Milliseconds, minutes, seconds } from '../time/instant.ts'
import { alarmsLoop } from './alarms.ts'
import { type Clock, type Random, steadyClock, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { FAMILY_LANE, PAGE_LANE } from './lane.ts'
import { logOfCase, logOfChat } from './log-of.ts'
import type { Machine } from './machine.ts'
import { laneLoop } from './outbox.ts'
import { type PageSendingDependencies, pageSending } from './page-sending.ts'
import { type Recovered, recover } from './recover.ts'
import { replySending } from './reply-sending.ts'
import { teller } from './teller.ts'
import { timedStore } from './timed-store.ts'
import type { Understand } from './understanding.ts'
import { createWorker, type Worker } from './worker.ts'

/** How often it is written down that the process lives. */
const HEARTBEAT_MS = seconds(10)
/** A chat gets the fixed text past the outbox at most this often. */
const LAST_RESORT_EVERY_MS = minutes(5)

export interface RuntimeDependencies {
  readonly store: Store
  readonly machine: Machine
  readonly clinic: Clinic
  readonly clock: Clock
  readonly random: Random
  readonly hash: (text: string) => string
  readonly understand: Understand
  readonly channelOf: (id: string) => Channel | undefined
  readonly pagerOf: (id: string) => Pager | undefined
  readonly fitPage: PageSendingDependencies['fitPage']
  readonly pageLink: PageSendingDependencies['pageLink']
  readonly onFault: OnFault
  /** Where the instant of the last sign of life is kept, outside the store. */
  readonly lastAlive: { read(): Promise<Instant | undefined>; write(at: Instant): Promise<void> }
  /** Setting `asked-again-after`. */
  readonly askedAgainAfter: Milliseconds
  readonly queuedMax?: number
}

export interface RuntimeFigures {
  readonly queued: number
  readonly pagesInFlight: number
  readonly repliesInFlight: number
  /** Outcomes that cases have not heard of yet. */
  readonly untold: number
  /** Milliseconds since each loop last looked at the store: one that grows past some seconds is stuck. */
  readonly sinceLookMs: { readonly pages: number; readonly replies: number; readonly alarms: number }
}

export interface Runtime extends Pick<Worker, 'receive' | 'act'> {
  /** Takes up what an earlier process left, then sends and fires. Channels start after this. */
  start(): Promise<Recovered>
  /**
   * Takes no more, ends what is under way, and resolves after `graceMs` (default 25 s) at the latest; what had not ended is
   * in the store and goes on at the next start. Does not close the store. Channels stop before this.
   */
  stop(graceMs?: number): Promise<void>
  logOf(chat: ChatRef): Promise<readonly LogLine[]>
  logOfCase(caseId: string): Promise<readonly LogLine[]>
  figures(): RuntimeFigures
  /** Wall time that never goes back: what every step of this process is labelled with. */
  now(): Instant
  /** Resolves when nothing is under way and nothing due is left; for hand-moved clocks. */
  idle(): Promise<void>
}

/** The part that waits and does: worker, two lanes of the outbox, alarms, recovery. */
export function createRuntime(deps: RuntimeDependencies): Runtime {
  const { onFault, machine } = deps
  const clock = steadyClock(deps.clock, ms => onFault({ code: 'clock-stepped', ms }))
  const store = timedStore(deps.store, clock)
  const resorted = new Map<string, number>()
  let heartbeat: (() => void) | undefined
  /** The store knows of commits whose answer was lost on the way. */
  const unlisten = deps.store.onCommitted?.(kick)
  let stopped = false

  const worker = createWorker({ ...deps, store, clock, committed: kick, lastResort })
  const told = teller(worker, clock, onFault)
  const sending = { ...deps, store, tell: told.tell }
  const shared = { store, clock, random: deps.random, onFault }
  const pages = laneLoop({ ...shared, rules: PAGE_LANE, sending: pageSending(sending) })
  const replies = laneLoop({ ...shared, rules: FAMILY_LANE, sending: replySending(sending) })
  const alarms = alarmsLoop({ store, clock, fire: worker.fire, onFault })

  function kick(): void {
    pages.kick()
    replies.kick()
    alarms.kick()
  }

  /** The store did not take a family's message: the fixed text with the numbers goes out past it. */
  function lastResort(chat: ChatRef): void {
    const key = `${chat.channel}\n${chat.chat}`
    const now = clock.monotonicMs()
    if (now - (resorted.get(key) ?? Number.NEGATIVE_INFINITY) < LAST_RESORT_EVERY_MS) return
    if (resorted.size > 10_000) resorted.clear()
    resorted.set(key, now)
    const effectId = `last-resort.${deps.random.hex(8)}`
    const { channel } = chat
    const outgoing: Outgoing = {
      channel,
      chat: chat.chat,
      caseId: '',
      effectId,
      at: clock.now(),
      parts: machine.fallbackParts(clock.now()),
      repeated: false,
      audible: true,
    }
    deps
      .channelOf(channel)
      ?.deliver(outgoing)
      .catch(error => onFault({ code: 'store-failed', lane: 'family', error }))
  }

  async function beat(): Promise<void> {
    try {
      await deps.lastAlive.write(clock.now())
    } catch (error) {
      onFault({ code: 'heartbeat-failed', error })
    }
  }

  function beatOn(): void {
    heartbeat = clock.wake(clock.monotonicMs() + HEARTBEAT_MS, () => {
      void beat()
      beatOn()
    })
  }

  async function lastAlive(): Promise<Instant | undefined> {
    try {
      return await deps.lastAlive.read()
    } catch (error) {
      onFault({ code: 'heartbeat-failed', error })
      return undefined
    }
  }

  async function quiet(): Promise<void> {
    told.stop()
    await worker.drained()
    await Promise.all([pages.stop(), replies.stop(), alarms.stop()])
    await worker.drained()
  }

  const isQuiet = () => worker.queued === 0 && pages.isIdle && replies.isIdle && alarms.isIdle

  return {
    async start() {
      const downSince = await lastAlive()
      pages.start()
      replies.start()
      const recovered = await recover({ ...deps, store, worker, lastAlive: downSince }, clock.now())
      alarms.start()
      await beat()
      beatOn()
      return recovered
    },
    async stop(graceMs = 25_000) {
      if (stopped) return
      stopped = true
      heartbeat?.()
      unlisten?.()
      const ended = await within(
        clock,
        graceMs,
        quiet().then(() => true),
        false,
      )
      if (!ended) onFault({ code: 'stop-timed-out' })
      await beat()
    },
    receive: incoming => worker.receive(incoming),
    act: (caseId, event, deliveryId) => worker.act(caseId, event, deliveryId),
    logOf: chat => logOfChat(store, chat),
    logOfCase: caseId => logOfCase(store, caseId),
    figures: () => {
      const now = clock.monotonicMs()
      return {
        queued: worker.queued,
        pagesInFlight: pages.inFlight,
        repliesInFlight: replies.inFlight,
        untold: told.waiting,
        sinceLookMs: {
          pages: now - pages.lookedAtMs,
          replies: now - replies.lookedAtMs,
          alarms: now - alarms.lookedAtMs,
        },
      }
    },
    now: () => clock.now(),
    async idle() {
      // Quiet on some turns running: a loop that has just been kicked shows it only at its next turn.
      for (let quietTurns = 0, turn = 0; quietTurns < 3 && turn < 2_000; turn += 1) {
        await setImmediate()
        quietTurns = isQuiet() ? quietTurns + 1 : 0
      }
    },
  }
}
