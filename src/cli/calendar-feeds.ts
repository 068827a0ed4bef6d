import { join } from 'node:path'
import { suspicionOf, suspicionText } from '../calendar/compare.ts'
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

/** What the running bot knows of a live calendar. */
interface Feed {
  triedAt: Instant
  failures: number
  held?: { readonly since: Instant; readonly why: string }
}

export interface CalendarFeeds {
  /** Calendars that were not taken, and since when; what is in force of them is the last good copy. */
  doubts(): readonly Doubt[]
  /** Why each was not taken, in words, for the log of a person who looks. */
  reasons(): readonly string[]
  /** Looks at every calendar that is due. */
  look(): Promise<void>
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
    const now = clock.now()
    const live = deps.calendars().filter(one => one.from !== undefined)
    for (const key of [...feeds.keys()]) if (!live.some(one => keyOf(one) === key)) feeds.delete(key)
    for (const one of live) {
      const known = feeds.get(keyOf(one))
      if (known !== undefined && elapsed(known.triedAt, now) < one.every) continue
      const feed = known ?? { triedAt: now, failures: 0 }
      feed.triedAt = now
      feeds.set(keyOf(one), feed)
      await refresh(one, feed)
    }
  }

  async function refresh(named: CalendarNamed, feed: Feed): Promise<void> {
    try {
      const why = await taken(named)
      feed.failures = 0
      hold(feed, why)
    } catch (cause) {
      if (!(cause instanceof CalendarRefused) && !(cause instanceof CalendarUnreachable)) {
        log({ what: 'calendar-failed', error: cause instanceof Error ? cause.name : typeof cause })
        hold(feed, 'its copy cannot be written in the clinic’s folder')
        return
      }
      feed.failures += 1
      const isPassing = cause instanceof CalendarUnreachable && feed.failures <= FAILURES_LEFT_ALONE
      if (!isPassing) hold(feed, cause.message)
    }
  }

  function hold(feed: Feed, why: string | undefined): void {
    if (why === undefined) {
      delete feed.held
      return
    }
    if (feed.held === undefined) log({ what: 'calendar-held' })
    feed.held = { since: feed.held?.since ?? clock.now(), why }
  }

  /** Puts the calendar in force where nothing speaks against it; else why not. */
  async function taken({ role, from = '', file, ignores, copy }: CalendarNamed): Promise<string | undefined> {
    const text = await fetchCalendar(from, AbortSignal.timeout(FETCH_MS))
    const at = clock.now()
    const read = await readApart({ text, clinic: deps.clinic(), role, source: from, ignores, at })
    const [stranger] = read.strangers
    if (stranger !== undefined)
      return `a shift on line ${stranger.line} is nobody’s, or more than one person’s (${read.strangers.length} such)`
    if (copy !== undefined) {
      const suspicion = suspicionOf(copy, read.copy, at)
      if (suspicion !== undefined) return suspicionText(suspicion)
      if (saysTheSame(copy, read.copy) && elapsed(copy.readAt, at) < WRITTEN_EVERY) return undefined
    }
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
    reasons: () => held().map(({ key, why }) => `${roleOf(key)}: ${why}`),
    look,
    start: () => void turn(),
    stop() {
      stopped = true
      cancel?.()
    },
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
