import { setImmediate } from 'node:timers/promises'
import type { ChatRef, Incoming } from '../case/message.ts'
import type { LogLine } from '../case/view.ts'
import type { Channel } from '../channels/channel.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Pager } from '../pagers/pager.ts'
import type { SharingFigures, Store, TakenChats } from '../store/store.ts'
import { type Instant, type Milliseconds, seconds } from '../time/instant.ts'
import { alarmsLoop } from './alarms.ts'
import { type Clock, type Random, steadyClock, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { FAMILY_LANE, PAGE_LANE } from './lane.ts'
import { lastResort } from './last-resort.ts'
import { logOfCase, logOfChat } from './log-of.ts'
import type { Machine } from './machine.ts'
import { laneLoop } from './outbox.ts'
import { type PageSendingDependencies, pageSending } from './page-sending.ts'
import { type Recovered, recover } from './recover.ts'
import { type Relay, relay } from './relay.ts'
import { replySending } from './reply-sending.ts'
import { type TellPeople, tellPeople } from './tell-people.ts'
import { teller } from './teller.ts'
import { timedStore } from './timed-store.ts'
import type { Understand } from './understanding.ts'
import { type Doubt, type Health, healthNow } from './watch-health.ts'
import { watchLoops } from './watch-loops.ts'
import { watchPagers } from './watch-pagers.ts'
import { watchPages } from './watch-pages.ts'
import { watchStore } from './watch-store.ts'
import { createWorker, type Worker } from './worker.ts'

/** How often it is written down that the process lives. */
const HEARTBEAT_MS = seconds(10)
/** A jump of the wall clock by more than this puts times in doubt. */
const CLOCK_DOUBTED_MS = seconds(10)

export interface RuntimeDependencies {
  readonly store: Store
  readonly machine: Machine
  /** The clinic as it is now: its file may be changed while the line runs. */
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly random: Random
  readonly hash: (text: string) => string
  readonly understand: Understand
  readonly channelOf: (id: string) => Channel | undefined
  readonly pagerOf: (id: string) => Pager | undefined
  readonly fitPage: PageSendingDependencies['fitPage']
  readonly pageLink: PageSendingDependencies['pageLink']
  /** Where clinicians read how the line does, for a page about the line itself. */
  readonly healthLink: () => string
  readonly onFault: OnFault
  /** The loops stand for good: the process is to end with an error, so that another one begins. Default: nothing. */
  readonly onStanding?: () => void
  /** Where the instant of the last sign of life is kept, outside the store. */
  readonly lastAlive: { read(): Promise<Instant | undefined>; write(at: Instant): Promise<void> }
  /** Setting `asked-again-after`. */
  readonly askedAgainAfter: Milliseconds
  readonly queuedMax?: number
  /** What the rest of the bot doubts; told with the rest in `health`. */
  readonly doubts?: () => readonly Doubt[]
}

export interface RuntimeFigures {
  readonly queued: number
  readonly pagesInFlight: number
  readonly repliesInFlight: number
  /** Outcomes that cases have not heard of yet. */
  readonly untold: number
  /** Milliseconds since each loop last looked at the store: one that grows past some seconds is stuck. */
  readonly sinceLookMs: { readonly pages: number; readonly replies: number; readonly alarms: number }
  /** Where several processes share the store. */
  readonly sharing?: SharingFigures
}

/** What people ask of the store beside the runtime: never hangs, and people hear of it when it fails. */
export type Reads = Pick<Store, 'load' | 'casesOf' | 'recent' | 'outboxOf'>

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
  readonly reads: Reads
  /** A page that was taken did not get to the telephone, as was told later. */
  pageLost(caseId: string, effectId: string): Promise<void>
  /** Tells the clinic's people something about their own work, past the store. */
  tellPeople: TellPeople['tell']
  figures(): RuntimeFigures
  /** Whether the line can be trusted now, and what is in doubt since when. Answers within some seconds, whatever hangs. */
  health(): Promise<Health>
  /** Wall time that never goes back: what every step of this process is labelled with. */
  now(): Instant
  /** Resolves when nothing is under way and nothing due is left; for hand-moved clocks. */
  idle(): Promise<void>
}

/** The part that waits and does: worker, two lanes of the outbox, alarms, recovery. */
export function createRuntime(deps: RuntimeDependencies): Runtime {
  const { machine } = deps
  let steppedAt: Instant | undefined
  const onFault: OnFault = fault => {
    // Smaller corrections are what a time service does all night.
    if (fault.code === 'clock-stepped' && Math.abs(fault.ms ?? 0) > CLOCK_DOUBTED_MS) steppedAt = deps.clock.now()
    deps.onFault(fault)
  }
  const clock = steadyClock(deps.clock, ms => onFault({ code: 'clock-stepped', ms }))
  /** Words that do not fit, cut at their first piece: a page must go out. */
  const fitPage: RuntimeDependencies['fitPage'] = (pieces, link) => {
    try {
      return deps.fitPage(pieces, link)
    } catch (error) {
      onFault({ code: 'render-failed', lane: 'page', error })
      return `${pieces.find(piece => piece.trim() !== '') ?? 'CASE'} ${link}`
    }
  }
  const pagers = watchPagers({ clock, pagerOf: deps.pagerOf, onFault })
  const { pagerOf } = pagers
  const lineNews = watchPages({
    ...{ clinic: deps.clinic, clock, random: deps.random, fitPage, pagerOf, onFault },
    textOf: news => machine.linePage(news),
    link: deps.healthLink,
  })
  const people = tellPeople({ clinic: deps.clinic, clock, pagerOf, fitPage })
  const probing = timedStore(deps.store, clock)
  const storeWatch = watchStore({
    ...{ clock, onFault },
    probe: async () => {
      await probing.probe?.()
      await probing.nextDue()
    },
    tell: lineNews.tell,
  })
  const store = timedStore(deps.store, clock, storeWatch.heard)
  /** For what a family or a clinician waits for: when it fails they are told to ring, so people must know at once. */
  const reads = timedStore(deps.store, clock, {
    answered: storeWatch.heard.answered,
    failed: call => {
      storeWatch.heard.failed(call)
      storeWatch.turnedAway()
    },
  })
  const resort = lastResort({ ...deps, machine, clock, onFault })
  let heartbeat: (() => void) | undefined
  /** The store knows of commits whose answer was lost on the way; then the loops are not kicked a second time. */
  const unlisten = deps.store.onCommitted?.(kick)
  const committed = unlisten === undefined ? kick : () => undefined
  let stopped = false

  const worker = createWorker({ ...deps, onFault, store, clock, committed, turnedAway })
  const { sharing } = deps.store
  const shared: Relay | undefined =
    sharing === undefined ? undefined : relay({ ...deps, sharing, worker, store, clock, onFault, turnedAway })
  const doors = shared ?? worker
  const told = teller(doors, clock, onFault)
  const sending = { ...deps, onFault, store, pagerOf, fitPage, tell: told.tell }
  const common = { store, clock, random: deps.random, onFault }
  const pageSends = pageSending(sending)
  const pages = laneLoop({ ...common, rules: PAGE_LANE, sending: pageSends })
  const replies = laneLoop({ ...common, rules: FAMILY_LANE, sending: replySending(sending) })
  const alarms = alarmsLoop({ store, clock, fire: worker.fire, onFault })

  function kick(): void {
    pages.kick()
    replies.kick()
    alarms.kick()
  }

  /** A message was not kept: the family gets the fixed text past the outbox, people are paged past it. */
  function turnedAway(incoming?: Incoming): void {
    if (incoming !== undefined) resort.give(incoming)
    storeWatch.turnedAway()
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

  /** What a process that died had on its way goes out now. Without this it waits for its lease, at most: no harm if it fails. */
  async function takeOver(): Promise<void> {
    try {
      await store.releaseLeases?.()
    } catch (error) {
      onFault({ code: 'store-failed', error })
    }
  }

  const loops = watchLoops({
    ...{ clock, onFault },
    sinceLookMs: () => Math.max(...Object.values(figures().sinceLookMs)),
    isFull: lane =>
      lane === 'pages' ? pages.inFlight >= PAGE_LANE.inFlightMax : replies.inFlight >= FAMILY_LANE.inFlightMax,
    onStanding: deps.onStanding ?? (() => undefined),
  })

  function figures(): RuntimeFigures {
    const now = clock.monotonicMs()
    return {
      queued: worker.queued,
      pagesInFlight: pages.inFlight,
      repliesInFlight: replies.inFlight,
      untold: told.waiting,
      ...(sharing === undefined ? {} : { sharing: sharing.figures() }),
      sinceLookMs: {
        pages: now - pages.lookedAtMs,
        replies: now - replies.lookedAtMs,
        alarms: now - alarms.lookedAtMs,
      },
    }
  }

  /** What was taken from others, one after the other: of a process that died as much is owed as of an own start. */
  let taking = Promise.resolve<Recovered>({ cases: 0, askedAgain: 0, told: 0 })

  function takeUp(taken: TakenChats): void {
    taking = taking.then(async before => {
      if (stopped) return before
      try {
        await takeOver()
        kick()
        const found = await recovered(taken.heardAt, taken.has)
        return {
          cases: before.cases + found.cases,
          askedAgain: before.askedAgain + found.askedAgain,
          told: before.told + found.told,
        }
      } catch (error) {
        onFault({ code: 'store-failed', error })
        return before
      }
    })
  }

  function recovered(downSince: Instant | undefined, isOurs?: TakenChats['has']): Promise<Recovered> {
    const known = { ...deps, clock, store, worker, lastAlive: downSince }
    return recover(isOurs === undefined ? known : { ...known, isOurs }, clock.now())
  }

  async function quiet(): Promise<void> {
    told.stop()
    await shared?.stop()
    await taking
    await worker.drained()
    await Promise.all([pages.stop(), replies.stop(), alarms.stop()])
    await worker.drained()
  }

  const isQuiet = () =>
    worker.queued === 0 && (shared?.isIdle ?? true) && pages.isIdle && replies.isIdle && alarms.isIdle

  return {
    async start() {
      const downSince = await lastAlive()
      if (sharing === undefined) await takeOver()
      else {
        sharing.onTaken(takeUp)
        await sharing.start()
      }
      pages.start()
      replies.start()
      const found = sharing === undefined ? await recovered(downSince) : await taking
      shared?.start()
      alarms.start()
      await beat()
      beatOn()
      loops.start()
      return found
    },
    async stop(graceMs = 25_000) {
      if (stopped) return
      stopped = true
      heartbeat?.()
      unlisten?.()
      loops.stop()
      const ended = await within(
        clock,
        graceMs,
        quiet().then(() => true),
        false,
      )
      if (!ended) onFault({ code: 'stop-timed-out' })
      for (const watch of [storeWatch, lineNews, people, pagers, resort]) watch.stop()
      await beat()
    },
    receive: incoming => doors.receive(incoming),
    async act(caseId, event, deliveryId) {
      try {
        return await doors.act(caseId, event, deliveryId)
      } catch (error) {
        onFault({ code: 'store-failed', caseId, error })
        storeWatch.turnedAway()
        throw error
      }
    },
    logOf: chat => logOfChat(reads, chat),
    logOfCase: caseId => logOfCase(reads, caseId),
    reads,
    pageLost: (caseId, effectId) => pageSends.lost(caseId, effectId),
    tellPeople: told => people.tell(told),
    figures,
    health: () =>
      healthNow({
        ...{ store: probing, clock, figures },
        watch: { store: storeWatch, pagers, loops },
        clockSteppedAt: () => steppedAt,
        ...(deps.doubts === undefined ? {} : { others: deps.doubts }),
      }),
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
