import { join } from 'node:path'
import { type Suspicion, suspicionOf, suspicionText } from '../calendar/compare.ts'
import type { UnreadEvent } from '../calendar/shifts.ts'
import { type CalendarCopy, type CalendarNamed, copyText } from '../config/calendar-copy.ts'
import { CalendarRefused } from '../config/calendar-refused.ts'
import { writeWhole } from '../config/clinic-save.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Log } from '../runtime/log.ts'
import type { Doubt } from '../runtime/watch-health.ts'
import { elapsed, hours, type Instant, minutes } from '../time/instant.ts'
import { readApart } from './calendar-apart.ts'
import { CalendarUnreachable, fetchCalendar } from './calendar-fetch.ts'

/** How often it is looked whether a calendar is due. */
const LOOK_EVERY_MS = minutes(1)
const FETCH_MS = 30_000
/** A copy that says the same is written anew this often, so that its age is known after a restart too. */
const WRITTEN_EVERY = hours(6)
/** Tries that may fail in a row before it is told: a server that is started anew is no reason to call anybody. */
const FAILURES_LEFT_ALONE = 2

/** Why a live calendar is not taken. */
export type WhyHeld =
  | { readonly kind: 'unreachable'; readonly cause: CalendarUnreachable }
  /** The calendar as a whole, or the first of the events that cannot be read. */
  | {
      readonly kind: 'refused'
      readonly why: Pick<UnreadEvent, 'code' | 'message' | 'line' | 'quoted'>
      readonly count: number
    }
  | { readonly kind: 'strangers'; readonly line: number; readonly count: number }
  | { readonly kind: 'suspicious'; readonly suspicion: Suspicion }
  | { readonly kind: 'unwritable' }

/** What the running bot knows of a live calendar. */
interface Feed {
  triedAt: Instant
  failures: number
  readAt?: Instant
  held?: { readonly since: Instant; readonly why: WhyHeld }
}

/** A live calendar as whoever keeps the rota may want to know it. */
export interface FeedState {
  /** When its source was last read and taken. */
  readonly readAt?: Instant
  /** Since when it is not taken, and why. */
  readonly held?: { readonly since: Instant; readonly why: WhyHeld }
}

export interface CalendarFeeds {
  /** Calendars that were not taken, and since when; what is in force of them is the last good copy. */
  doubts(): readonly Doubt[]
  /** Why each was not taken, in words, for the log of a person who looks. */
  reasons(): readonly string[]
  /** Looks at every calendar that is due. */
  look(): Promise<void>
  /** What this process knows of the live calendar of a role. */
  stateOf(role: string): FeedState
  /** Looks at the live calendar of a role now. Undefined where it has none. */
  refresh(role: string): Promise<FeedState | undefined>
  start(): void
  stop(): void
}

/**
 * Looks at live calendars again and again. A new state is put in force by writing the copy in the clinic's folder, which the
 * running line takes as it takes any change there. Nothing that is suspicious, unreadable or gone changes anything.
 */
export function calendarFeeds(deps: {
  readonly clinicDir: string
  readonly calendars: () => readonly CalendarNamed[]
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly log: Log
}): CalendarFeeds {
  const { clock, log } = deps
  const feeds = new Map<string, Feed>()
  let cancel: (() => void) | undefined
  let stopped = false

  async function look(): Promise<void> {
    const there = live()
    for (const key of [...feeds.keys()]) if (!there.some(one => keyOf(one) === key)) feeds.delete(key)
    for (const one of there) {
      const known = feeds.get(keyOf(one))
      if (known !== undefined && elapsed(known.triedAt, clock.now()) < one.every) continue
      await refresh(one, feedOf(one))
    }
  }

  const live = () => deps.calendars().filter(one => one.from !== undefined)

  /** What is known of a calendar that is looked at now. */
  function feedOf(named: CalendarNamed): Feed {
    const feed = feeds.get(keyOf(named)) ?? { triedAt: clock.now(), failures: 0 }
    feed.triedAt = clock.now()
    feeds.set(keyOf(named), feed)
    return feed
  }

  function stateOf(role: string): FeedState {
    const named = live().find(one => one.role === role)
    const { readAt = named?.copy?.readAt, held } = (named && feeds.get(keyOf(named))) ?? {}
    return { ...(readAt === undefined ? {} : { readAt }), ...(held === undefined ? {} : { held }) }
  }

  async function refresh(named: CalendarNamed, feed: Feed): Promise<void> {
    try {
      const why = await taken(named)
      feed.failures = 0
      if (why === undefined) feed.readAt = clock.now()
      hold(feed, why)
    } catch (cause) {
      if (cause instanceof CalendarUnreachable) {
        feed.failures += 1
        if (feed.failures > FAILURES_LEFT_ALONE) hold(feed, { kind: 'unreachable', cause })
      } else if (cause instanceof CalendarRefused) hold(feed, { kind: 'refused', why: cause, count: 1 })
      else {
        log({ what: 'calendar-failed', error: cause instanceof Error ? cause.name : typeof cause })
        hold(feed, { kind: 'unwritable' })
      }
    }
  }

  function hold(feed: Feed, why: WhyHeld | undefined): void {
    if (why === undefined) {
      delete feed.held
      return
    }
    if (feed.held === undefined) log({ what: 'calendar-held' })
    feed.held = { since: feed.held?.since ?? clock.now(), why }
  }

  /** Puts the calendar in force where nothing speaks against it; else why not. */
  async function taken(named: CalendarNamed): Promise<WhyHeld | undefined> {
    const { role, from = '', file, ignores, copy, onlyPublic = false } = named
    const rules = { onlyPublic, loopback: deps.clinic().demonstration }
    const text = await fetchCalendar(from, AbortSignal.timeout(FETCH_MS), rules)
    const at = clock.now()
    const read = await readApart({ text, clinic: deps.clinic(), role, source: from, ignores, at })
    const [[unread], [stranger]] = [read.unread, read.strangers]
    if (unread !== undefined) return { kind: 'refused', why: unread, count: read.unread.length }
    if (stranger !== undefined) return { kind: 'strangers', line: stranger.line, count: read.strangers.length }
    if (copy !== undefined) {
      const suspicion = suspicionOf(copy, read.copy, at)
      if (suspicion !== undefined) return { kind: 'suspicious', suspicion }
      if (saysTheSame(copy, read.copy) && elapsed(copy.readAt, at) < WRITTEN_EVERY) return undefined
    }
    // Another calendar may have been taken for the role while this one was fetched: its file is none of ours.
    if (!live().some(one => keyOf(one) === keyOf(named) && one.file === file)) return undefined
    writeWhole(join(deps.clinicDir, file), copyText(read.copy), 0o640)
    log({ what: 'calendar-taken', count: read.copy.shifts.length })
    return undefined
  }

  async function turn(): Promise<void> {
    try {
      await look()
    } catch (error) {
      log({ what: 'calendar-failed', error: error instanceof Error ? error.name : typeof error })
    }
    if (!stopped) cancel = clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, () => void turn())
  }

  const held = () => [...feeds].flatMap(([key, { held: one }]) => (one === undefined ? [] : [{ key, ...one }]))

  return {
    doubts: () => held().map(({ key, since }): Doubt => ({ what: 'calendar-held', since, role: roleOf(key) })),
    reasons: () => held().map(({ key, why }) => `${roleOf(key)}: ${heldText(why)}`),
    look,
    stateOf,
    async refresh(role) {
      const named = live().find(one => one.role === role)
      if (named === undefined) return undefined
      const feed = feedOf(named)
      // Whoever asks for it wants to know at once; a server that is started anew is told too.
      feed.failures = FAILURES_LEFT_ALONE
      await refresh(named, feed)
      return stateOf(role)
    },
    start: () => void turn(),
    stop() {
      stopped = true
      cancel?.()
    },
  }
}

/** Why a calendar is not taken, in English, for a log. */
function heldText(why: WhyHeld): string {
  switch (why.kind) {
    case 'unreachable':
      return why.cause.message
    case 'refused':
      return why.why.message
    case 'strangers':
      return `a shift on line ${why.line} is nobody’s, or more than one person’s (${why.count} such)`
    case 'suspicious':
      return suspicionText(why.suspicion)
    case 'unwritable':
      return 'its copy cannot be written in the clinic’s folder'
  }
}

const keyOf = ({ role, from }: CalendarNamed): string => `${role} ${from}`
const roleOf = (key: string): string => key.split(' ')[0] ?? ''

/** Whether two copies have the same coming shifts. What has ended, and how far ahead they look, does not count. */
function saysTheSame(before: CalendarCopy, next: CalendarCopy): boolean {
  const until = Math.min(before.knownUntil, next.knownUntil)
  const coming = ({ shifts }: CalendarCopy) =>
    shifts.filter(one => one.until > next.readAt && one.from < until).map(one => `${one.from} ${one.until} ${one.who}`)
  return coming(before).join() === coming(next).join()
}
