import type { Store } from '../store/store.ts'
import { type Instant, instant, minutes, seconds } from '../time/instant.ts'
import { type Clock, within } from './clock.ts'
import type { RuntimeFigures } from './runtime.ts'
import type { WatchLoops } from './watch-loops.ts'
import type { WatchPagers } from './watch-pagers.ts'
import type { WatchStore } from './watch-store.ts'

/** A store that takes longer for one small answer is in doubt. */
const ANSWERS_WITHIN_MS = seconds(2)
/** A loop looks every second; one that has not for so long is in doubt. */
const LOOKED_WITHIN_MS = seconds(5)
const OVERDUE_MS = seconds(10)
/** A lane without room for so long carries nothing that is due. */
const FULL_MS = seconds(60)
/** So many messages waiting mean that families wait; at twice as many they are asked to come back. */
const QUEUED_MOST = 500
const TURN_LATE_MS = seconds(2)
/** Times worked out near a jump of the wall clock are in doubt for so long. */
const CLOCK_DOUBT_MS = minutes(30)

export const DOUBTS = [
  /** The store did not give an answer in time just now. */
  'store-silent',
  /** It has failed, and has not been well for a minute since. */
  'store-failing',
  'pages-not-looked',
  'replies-not-looked',
  'alarms-not-looked',
  'alarms-overdue',
  'pages-full',
  'replies-full',
  'queue-long',
  'event-loop-late',
  'clock-doubtful',
  'pager-failing',
  /** What lies on disk of the clinic's files was not taken: the line goes on as it was before. */
  'clinic-file-refused',
  /** Hours of the coming week in which a role has nobody. */
  'rota-gap',
  /** Hours of the coming week in which nobody at all would be paged. */
  'ladder-empty',
  /** A live calendar was not taken: its last good copy stays in force. */
  'calendar-held',
  /** Nothing is heard from Telegram's server. */
  'telegram-silent',
  /** A server that keeps cases has fewer replicas than the clinic's file wants: it alone has what it is told now. */
  'replica-missing',
] as const

/** What people must see to soon: no reason to take the line for out of order. */
const AHEAD: ReadonlySet<string> = new Set([
  'rota-gap',
  'ladder-empty',
  'calendar-held',
  'replica-missing',
] satisfies Doubt['what'][])

/** Something that may keep a family from an answer, or a clinician from a page. Names no family. */
export interface Doubt {
  readonly what: (typeof DOUBTS)[number]
  readonly since: Instant
  /** The way of paging that fails. */
  readonly pager?: string
  /** File, line and code of what is wrong in the clinic's files. */
  readonly places?: readonly string[]
  /** Of a hole in the rota: the role, and when it begins (inclusive) and ends (exclusive). */
  readonly role?: string
  readonly from?: Instant
  readonly until?: Instant
}

export interface Health extends RuntimeFigures {
  /** True only while nothing is in doubt; a hole in the rota of the coming days is told and is none. */
  readonly ok: boolean
  readonly doubts: readonly Doubt[]
}

export interface HealthDependencies {
  readonly store: Pick<Store, 'nextDue'>
  readonly clock: Clock
  readonly figures: () => RuntimeFigures
  readonly watch: {
    readonly store: Pick<WatchStore, 'failingSince'>
    readonly pagers: Pick<WatchPagers, 'failing'>
    readonly loops: Pick<WatchLoops, 'latest' | 'fullSince'>
  }
  /** When the wall clock was last found to have jumped. */
  readonly clockSteppedAt: () => Instant | undefined
  /** What the rest of the bot doubts. */
  readonly others?: () => readonly Doubt[]
}

/** Whether the line can be trusted now. Answers within about two seconds whatever stands still. */
export async function healthNow(deps: HealthDependencies): Promise<Health> {
  const { clock } = deps
  const asked = clock.now()
  const due = await within<Instant | undefined | 'failed', 'late'>(
    clock,
    ANSWERS_WITHIN_MS,
    deps.store.nextDue().catch(() => 'failed' as const),
    'late',
  )
  const figures = deps.figures()
  const doubts = [
    ...storeDoubts(deps, due, asked),
    ...loopDoubts(deps, figures),
    ...otherDoubts(deps),
    ...replicaDoubts(deps, figures),
    ...(deps.others?.() ?? []),
  ]
  return { ok: doubts.every(({ what }) => AHEAD.has(what)), doubts, ...figures }
}

function storeDoubts(
  { clock, watch }: HealthDependencies,
  due: Instant | undefined | 'failed' | 'late',
  asked: Instant,
): Doubt[] {
  const failing = watch.store.failingSince
  if (due === 'failed' || due === 'late') return [{ what: 'store-silent', since: failing ?? asked }]
  const doubts: Doubt[] = failing === undefined ? [] : [{ what: 'store-failing', since: failing }]
  if (due !== undefined && clock.now() - due > OVERDUE_MS) doubts.push({ what: 'alarms-overdue', since: due })
  return doubts
}

function replicaDoubts({ clock }: HealthDependencies, { sharing }: RuntimeFigures): Doubt[] {
  const missingMs = sharing?.replicas?.missingMs
  return missingMs === undefined
    ? []
    : [{ what: 'replica-missing', since: instant(Math.round(clock.now() - missingMs)) }]
}

function loopDoubts({ clock, watch }: HealthDependencies, { sinceLookMs, queued }: RuntimeFigures): Doubt[] {
  const now = clock.now()
  const notLooked = (['pages', 'replies', 'alarms'] as const)
    .filter(loop => sinceLookMs[loop] > LOOKED_WITHIN_MS)
    .map((loop): Doubt => ({ what: `${loop}-not-looked`, since: instant(Math.trunc(now - sinceLookMs[loop])) }))
  const full = (['pages', 'replies'] as const).flatMap((lane): Doubt[] => {
    const since = watch.loops.fullSince(lane)
    return since === undefined || clock.monotonicMs() - since.ms < FULL_MS
      ? []
      : [{ what: `${lane}-full`, since: since.at }]
  })
  const long: Doubt[] = queued > QUEUED_MOST ? [{ what: 'queue-long', since: now }] : []
  const late = watch.loops.latest()
  const lateTurn: Doubt[] =
    late === undefined || late.lateMs < TURN_LATE_MS ? [] : [{ what: 'event-loop-late', since: late.at }]
  return [...notLooked, ...full, ...long, ...lateTurn]
}

function otherDoubts({ clock, watch, clockSteppedAt }: HealthDependencies): Doubt[] {
  const stepped = clockSteppedAt()
  const doubts = watch.pagers.failing().map(({ pager, since }): Doubt => ({ what: 'pager-failing', since, pager }))
  return stepped === undefined || clock.now() - stepped > CLOCK_DOUBT_MS
    ? doubts
    : [...doubts, { what: 'clock-doubtful', since: stepped }]
}
