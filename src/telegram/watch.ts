import type { WebhookInfo } from 'grammy/types'
import { type Instant, instant, minutes, seconds } from '../time/instant.ts'
import type { PollFault } from './poll.ts'

/** What is wrong with the way to families and clinicians, as a code. */
export type Deafness =
  /** The token was revoked, or is none. */
  | 'token-refused'
  /** Another program asks for the same bot's messages. */
  | 'conflict'
  /** Nothing has been heard from the server for a while. */
  | 'unreachable'
  /** Messages wait at the server, and none comes here. */
  | 'deaf'

export interface WatchPorts {
  readonly clock: { now(): Instant; monotonicMs(): number; wake(atMs: number, fn: () => void): () => void }
  /** What the server says of the bot's updates; undefined when it does not answer. */
  readonly look: () => Promise<WebhookInfo | 'token-refused' | undefined>
  /** True while updates are being taken: then no poll is owed. */
  readonly isTaking: () => boolean
  /** Where updates are delivered; undefined while they are asked for. */
  readonly webhook?: { readonly address: () => string; readonly set: () => Promise<unknown> }
  /** Tells the clinic, once a trouble. */
  readonly tell: (what: Deafness) => Promise<unknown>
  /** A new poll in place of one that may hang. */
  readonly renew: () => void
  /** It worked in this life of the process and cannot go on: a new process may. */
  readonly end: (what: Deafness) => void
}

export interface Watch {
  /** Something came from the server: a poll that ended well, a delivery, an answer. */
  heard(count: number): void
  failed(fault: PollFault): void
  /** What is wrong now, and since when. */
  readonly trouble: { readonly what: Deafness; readonly since: Instant } | undefined
  start(): void
  stop(): void
}

/** Trouble that has lasted so long is told, and ends a process that had worked. */
const CONFLICT_MS = seconds(75)
const UNREACHABLE_MS = minutes(5)
/** How often the server is asked what waits there; deaf is who hears nothing from one look to the next. */
const LOOK_EVERY_MS = minutes(4)
const LOOK_SOON_MS = seconds(15)

/**
 * Notices a bot that lives and hears nothing. A process that had heard and is deaf for good ends with an error, so that it is
 * started again; one that never heard in its life goes on: the web chat is served all the same, and a circle of starts helps
 * nobody.
 */
export function watch(ports: WatchPorts): Watch {
  const { clock } = ports
  let trouble: { readonly what: Deafness; readonly since: Instant } | undefined
  let hasHeard = false
  let isTold = false
  let failingSinceMs: number | undefined
  let conflictSinceMs: number | undefined
  let heardSinceLook = true
  let waitingAtLook = 0
  let cancel: (() => void) | undefined

  function raise(what: Deafness, isForGood: boolean): void {
    if (trouble?.what !== what) trouble = { what, since: instant(Math.trunc(clock.now())) }
    if (isTold) return
    isTold = true
    void ports.tell(what).finally(() => {
      if (isForGood && hasHeard && trouble !== undefined) ports.end(what)
    })
  }

  function well(): void {
    hasHeard = true
    trouble = undefined
    isTold = false
    failingSinceMs = undefined
    conflictSinceMs = undefined
  }

  async function look(): Promise<void> {
    const info = await ports.look()
    if (info === 'token-refused') raise('token-refused', true)
    else if (info === undefined) unreachable()
    else if (ports.webhook !== undefined) await lookAtWebhook(info, ports.webhook)
    else lookAtQueue(info)
    cancel = clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, () => void look())
  }

  function lookAtQueue({ url = '', pending_update_count: pending }: WebhookInfo): void {
    if (url !== '') {
      // Somebody gave the bot's messages to an address: asking for them is refused until that is taken back.
      raise('conflict', true)
      return
    }
    const isDeaf = pending > 0 && waitingAtLook > 0 && !heardSinceLook && !ports.isTaking()
    waitingAtLook = pending
    heardSinceLook = false
    if (!isDeaf) return
    ports.renew()
    raise('deaf', true)
  }

  async function lookAtWebhook(
    { url = '', pending_update_count: pending }: WebhookInfo,
    { address, set }: NonNullable<WatchPorts['webhook']>,
  ): Promise<void> {
    if (url !== address()) await set()
    const isDeaf = pending > 0 && waitingAtLook > 0 && !heardSinceLook
    const isStill = url === address() && !isDeaf
    waitingAtLook = pending
    heardSinceLook = false
    if (isDeaf) raise('deaf', false)
    else if (isStill) well()
  }

  function unreachable(): void {
    failingSinceMs ??= clock.monotonicMs()
    if (clock.monotonicMs() - failingSinceMs >= UNREACHABLE_MS) raise('unreachable', false)
  }

  return {
    heard(count) {
      if (count > 0 || waitingAtLook === 0) heardSinceLook = true
      // Polls that end well and bring nothing, while something waits, are what being deaf looks like.
      if (count > 0 || trouble?.what !== 'deaf') well()
    },
    failed(fault) {
      if (fault === 'token-refused') return raise('token-refused', true)
      if (fault !== 'conflict') return unreachable()
      conflictSinceMs ??= clock.monotonicMs()
      if (clock.monotonicMs() - conflictSinceMs >= CONFLICT_MS) raise('conflict', true)
    },
    get trouble() {
      return trouble
    },
    start() {
      cancel = clock.wake(clock.monotonicMs() + LOOK_SOON_MS, () => void look())
    },
    stop: () => cancel?.(),
  }
}
