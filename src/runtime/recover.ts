import { setImmediate } from 'node:timers/promises'
import type { CaseEvent } from '../case/event.ts'
import type { ChatRef } from '../case/message.ts'
import { passed } from '../points/points.ts'
import type { CaseHead, OutboxRow, Store, StoredCase } from '../store/store.ts'
import { after, before, days, hours, type Instant, type Milliseconds, seconds } from '../time/instant.ts'
import { type Clock, holdAt } from './clock.ts'
import type { OnFault } from './fault.ts'
import type { Machine, RunningCase } from './machine.ts'
import { pageSettledOf } from './page-sending.ts'
import { parkedOf } from './parking.ts'
import { replyGivenUpId } from './reply-sending.ts'
import { pageIdOf } from './step-record.ts'
import type { Worker } from './worker.ts'

export interface RecoverDependencies {
  readonly store: Store
  readonly machine: Machine
  readonly worker: Worker
  readonly onFault: OnFault
  /** The clock that every step is labelled with. */
  readonly clock: Clock
  /** When the process was last known to live; undefined when that was never written. */
  readonly lastAlive: Instant | undefined
  /** Where several processes share the store: the chats this one has just come to act for. */
  readonly isOurs?: (chat: ChatRef) => boolean
  /**
   * Setting `asked-again-after`. A press on a button older than this never reaches a bot on some channels, so that after
   * being down this long (inclusive), counted until presses are heard again, every question at least this old is asked again.
   */
  readonly askedAgainAfter: Milliseconds
}

export interface Recovered {
  readonly cases: number
  readonly askedAgain: number
  readonly told: number
}

/**
 * What a start owes to the cases it finds: questions asked again after an outage, and what happened to pages and replies
 * told to their cases where the process died in between. Unsent rows and due alarms need nothing here: their loops find
 * them. Everything counts once, also when the process dies in the middle of this.
 *
 * Cases are read one at a time, and between two of them whatever else waits gets its turn: ten thousand open ones neither
 * fill the memory nor keep a message, a page or a press waiting.
 */
export async function recover(deps: RecoverDependencies, startedAt: Instant): Promise<Recovered> {
  const { store, worker } = deps
  passed('recover.begun')
  const recent = (await store.recentHeads(before(startedAt, days(1)))).filter(({ chat }) => deps.isOurs?.(chat) ?? true)
  const open = recent.filter(each => !each.closed)
  const now = noEarlierThan(open, startedAt, deps)
  const downSince = deps.lastAlive ?? latestChange(recent) ?? now
  let askedAgain = 0
  let told = 0
  for (const { caseId, closed } of recent) {
    try {
      const stored = await store.load(caseId)
      if (stored === undefined) continue
      worker.rememberCodes([stored])
      if (closed) continue
      told += await tellOutcomes(deps, stored, now)
      askedAgain += await askAgain(deps, stored, downSince, now)
      passed('recover.case-told')
    } catch (error) {
      deps.onFault({ code: 'store-failed', caseId, error })
    }
    await setImmediate()
  }
  passed('recover.done')
  return { cases: open.length, askedAgain, told }
}

/** A clock further behind its cases than this was set wrong by days: it is reported and not followed. */
const BEHIND_MOST_MS = hours(26)

/**
 * A wall clock set back while nothing ran would leave every alarm of the open cases waiting for it. So time goes on from
 * the latest that was written down for one of them.
 */
function noEarlierThan(open: readonly CaseHead[], now: Instant, { clock, onFault }: RecoverDependencies): Instant {
  const latest = latestChange(open.filter(each => each.changedAt - now <= BEHIND_MOST_MS))
  for (const { caseId, changedAt } of open)
    if (changedAt - now > BEHIND_MOST_MS) onFault({ code: 'clock-behind-case', caseId, ms: changedAt - now })
  if (latest === undefined || latest <= now) return now
  holdAt(clock, latest)
  return latest
}

function latestChange(cases: readonly CaseHead[]): Instant | undefined {
  return cases.reduce<Instant | undefined>(
    (latest, { changedAt }) => (latest === undefined || changedAt > latest ? changedAt : latest),
    undefined,
  )
}

/**
 * From this look until a press that waits at its channel is heard, at most: it is brought again after a pause, and may
 * become too old in it. A question that is asked once more for nothing costs less than a press that nobody ever answers.
 * Common practice, no source.
 */
const HEARD_WITHIN = seconds(30)

async function askAgain(
  deps: RecoverDependencies,
  stored: StoredCase,
  downSince: Instant,
  now: Instant,
): Promise<number> {
  const state = stateOf(deps.machine, stored)
  // Not to be read, or of other content than is served: parked now, and not when the family writes or an alarm is due.
  if (state === undefined && !isAtRest(stored.state)) await deps.worker.resume(stored.caseId, 0, downSince)
  const open = state?.open
  if (open === undefined) return 0
  const heardBy = after(now, HEARD_WITHIN)
  const wasDown = heardBy - downSince >= deps.askedAgainAfter
  if (!wasDown || heardBy - open.askedAt < deps.askedAgainAfter) return 0
  const applied = await deps.worker.resume(stored.caseId, open.serial, downSince)
  return applied.kind === 'done' ? 1 : 0
}

/** Pages and replies of the last day that ended without their case hearing of it. Told before: a duplicate, no matter. */
async function tellOutcomes({ store, worker }: RecoverDependencies, stored: StoredCase, now: Instant): Promise<number> {
  const rows = await store.outboxOf(stored.caseId)
  let told = 0
  for (const { event, deliveryId } of outcomesOf(rows, now)) {
    const applied = await worker.tell(stored.caseId, event, deliveryId)
    if (applied.kind === 'done') told += 1
  }
  return told
}

function outcomesOf(
  rows: readonly OutboxRow[],
  now: Instant,
): { readonly event: CaseEvent; readonly deliveryId: string }[] {
  const recent = rows.filter(row => row.status !== 'waiting' && now - row.notBefore < days(2))
  const replies = recent
    .filter(row => row.lane === 'family' && row.status === 'given-up')
    .map(({ effectId }) => ({
      event: { kind: 'replyGivenUp', effectId } as const,
      deliveryId: replyGivenUpId(effectId),
    }))
  const pages = Map.groupBy(
    rows.filter(row => row.lane === 'page'),
    row => pageIdOf(row.effectId),
  )
  const settled = [...pages.values()].flatMap(addresses => {
    const sent = addresses.find(row => row.status === 'sent' && recent.includes(row))
    const last = addresses.at(-1)
    const isLost = last !== undefined && recent.includes(last) && addresses.every(row => row.status === 'given-up')
    const told =
      sent !== undefined ? pageSettledOf(sent, 'accepted') : isLost ? pageSettledOf(last, 'given-up') : undefined
    return told === undefined ? [] : [told]
  })
  return [...replies, ...settled]
}

/** Whether a case is parked already, or a clinician said what came of it: it waits for nothing but to be closed. */
function isAtRest(state: string): boolean {
  if (parkedOf(state) !== undefined) return true
  try {
    return (JSON.parse(state) as { readonly outcome?: unknown } | null)?.outcome !== undefined
  } catch {
    return false
  }
}

/** The state of a case, or undefined where it is parked or cannot be read. */
function stateOf(machine: Machine, stored: StoredCase): RunningCase | undefined {
  if (parkedOf(stored.state) !== undefined) return undefined
  try {
    return machine.parse(stored.state)
  } catch {
    return undefined
  }
}
