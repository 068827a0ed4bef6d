import { type Clinic, type Person, peopleThere } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import type { Page, Paged, Pager } from '../pagers/pager.ts'
import { after, days, elapsed, hours, type Instant, minutes, seconds } from '../time/instant.ts'
import { type Clock, type Random, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { PAGE_LANE } from './lane.ts'
import type { Doubt } from './watch-health.ts'

/** How often the coming days are looked through. */
const LOOK_EVERY_MS = minutes(10)
/** A line that has just been started is up by then, and knows under which address it is reached. */
const FIRST_LOOK_MS = seconds(5)
/** Holes that begin within so long are told. */
const AHEAD = days(7)
/** Looked through further, so that the end of a hole is known too. */
const LOOKED_THROUGH = days(14)
/** Within so long of its beginning a hole is told on every way people have, again and again. */
const LAST_DAY = hours(24)
const AGAIN_EVERY = hours(24)
const AGAIN_ON_LAST_DAY = hours(4)

/** What people were told of; hours are left out where it has none. */
export type ToldHole = Pick<Doubt, 'what' | 'role' | 'from' | 'until'>

/** When people were last told, and of what; kept on disk, so that a restart is no reason to tell again. */
export interface CoverTold {
  readonly at: Instant
  readonly onLastDayAt?: Instant
  readonly holes: readonly ToldHole[]
}

export interface WatchCoverDependencies {
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly random: Random
  readonly pagerOf: (id: string) => Pager | undefined
  /** Other things about the rota that somebody must look at: calendars that were not taken. */
  readonly others: () => readonly Doubt[]
  /** Pieces of the text, most urgent first. */
  readonly textOf: (found: readonly Doubt[], isLastDay: boolean) => readonly string[]
  readonly fitPage: (pieces: readonly string[], link: string) => string
  /** Where the rota is to be seen. */
  readonly link: () => string
  readonly told: { read(): CoverTold | undefined; write(told: CoverTold | undefined): void }
  readonly onFault: OnFault
}

export interface WatchCover {
  /** Holes of the coming week, and what else is wrong with the rota, as of the last look. */
  doubts(): readonly Doubt[]
  /** Looks now, and tells whoever must be told; resolves when the mails were handed over. */
  look(): Promise<void>
  start(): void
  stop(): void
}

/**
 * Looks through the coming week and tells the clinic's lead and administrator of hours without anybody: by mail from seven days
 * out, again each day, and on the last day on every way they have, every four hours. Not told again within those times
 * unless another hole comes up.
 */
export function watchCover(deps: WatchCoverDependencies): WatchCover {
  const { clock, onFault } = deps
  let found: readonly Doubt[] = []
  let cancel: (() => void) | undefined
  let stopped = false

  async function look(): Promise<void> {
    const now = clock.now()
    found = [...holesOf(deps.clinic(), now), ...deps.others()]
    const told = deps.told.read()
    if (found.length === 0) {
      if (told !== undefined) deps.told.write(undefined)
      return
    }
    const near = found.filter(one => isOnLastDay(one, now))
    const isDue = dueOf(told, found, near, now)
    if (isDue === undefined) return
    const about = isDue === 'last-day' ? [...near, ...found.filter(one => !near.includes(one))] : found
    if (!(await tell(about, isDue === 'last-day', now))) {
      onFault({ code: 'line-unheard', why: 'rota' })
      return
    }
    const onLastDayAt = isDue === 'last-day' ? now : told?.onLastDayAt
    const holes = found.map(({ since: _since, ...hole }): ToldHole => hole)
    deps.told.write({ at: now, holes, ...(onLastDayAt === undefined ? {} : { onLastDayAt }) })
  }

  /** Whether anybody's address took it. */
  async function tell(about: readonly Doubt[], isLastDay: boolean, now: Instant): Promise<boolean> {
    const clinic = deps.clinic()
    const text = deps.fitPage(deps.textOf(about, isLastDay), deps.link())
    const id = `rota.${deps.random.hex(8)}`
    const sends = keepersOf(clinic).flatMap(who =>
      waysOf(who, isLastDay).map(({ pager, address }, position) =>
        send(pager, {
          key: `${id}.${who.id}.${position}`,
          caseId: '',
          code: '',
          to: { id: who.id, name: who.name },
          address,
          text,
          link: deps.link(),
          urgency: isLastDay ? 'set-out' : 'speak',
          kind: isLastDay ? 'page' : 'update',
          at: now,
          repeated: false,
        }),
      ),
    )
    return (await Promise.all(sends)).includes(true)
  }

  async function send(pagerId: string, page: Page): Promise<boolean> {
    const pager = deps.pagerOf(pagerId)
    if (pager === undefined) return false
    try {
      const late: Paged = { kind: 'unknown', reason: 'timeout' }
      const paged = await within(clock, PAGE_LANE.timeout, pager.page(page), late)
      return paged.kind === 'accepted'
    } catch {
      return false
    }
  }

  function again(ms: number): void {
    cancel = clock.wake(clock.monotonicMs() + ms, () => void turn())
  }

  async function turn(): Promise<void> {
    try {
      await look()
    } catch (error) {
      onFault({ code: 'line-unheard', why: 'rota', error })
    }
    if (!stopped) again(LOOK_EVERY_MS)
  }

  return {
    doubts: () => found,
    look,
    start: () => again(FIRST_LOOK_MS),
    stop() {
      stopped = true
      cancel?.()
    },
  }
}

/** Holes that begin within a week. */
function holesOf(clinic: Clinic, now: Instant): readonly Doubt[] {
  const { rungs, empty } = coverageOf(clinic, now, after(now, LOOKED_THROUGH))
  const holes = [
    ...empty.map(({ from, until }): Doubt => ({ what: 'ladder-empty', since: now, from, until })),
    ...rungs.map(({ role, from, until }): Doubt => ({ what: 'rota-gap', since: now, role, from, until })),
  ]
  return holes.filter(({ from = now }) => from < after(now, AHEAD)).toSorted((a, b) => (a.from ?? 0) - (b.from ?? 0))
}

/** Whether somebody was told of this: of the same kind, in the same role, at hours that it shares. Its ends move as time goes on. */
const wasTold = (told: CoverTold, one: Doubt): boolean =>
  told.holes.some(({ what, role, from, until }) => {
    if (what !== one.what || role !== one.role) return false
    if (from === undefined || until === undefined || one.from === undefined || one.until === undefined) return true
    return from < one.until && one.from < until
  })

const isOnLastDay = ({ from }: Doubt, now: Instant): boolean => from !== undefined && from < after(now, LAST_DAY)

/** Whether people are to be told now, and how loud. */
function dueOf(
  told: CoverTold | undefined,
  found: readonly Doubt[],
  near: readonly Doubt[],
  now: Instant,
): 'last-day' | 'soon' | undefined {
  const isLoudDue = told?.onLastDayAt === undefined || elapsed(told.onLastDayAt, now) >= AGAIN_ON_LAST_DAY
  if (near.length > 0 && (isLoudDue || near.some(one => told === undefined || !wasTold(told, one)))) return 'last-day'
  if (told === undefined || found.some(one => !wasTold(told, one))) return 'soon'
  return elapsed(told.at, now) >= AGAIN_EVERY ? 'soon' : undefined
}

/** Who keeps the rota: lead and administrator; where there is neither, everybody who can be reached. */
function keepersOf(clinic: Clinic): readonly Person[] {
  const there = peopleThere(clinic).filter(({ pageAt }) => pageAt.length > 0)
  const keepers = there.filter(({ roles = [] }) => roles.includes('lead') || roles.includes('administrator'))
  return keepers.length > 0 ? keepers : there
}

/** Mail before the last day, where there is mail; every way on it. */
function waysOf({ pageAt }: Person, isLastDay: boolean): Person['pageAt'] {
  const mail = pageAt.filter(({ pager }) => pager === 'smtp')
  return isLastDay || mail.length === 0 ? pageAt : mail
}
