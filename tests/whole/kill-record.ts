import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { parse } from 'yaml'
import type { Effect } from '../../src/case/effect.ts'
import type { CaseEvent } from '../../src/case/event.ts'
import type { CaseState } from '../../src/case/state.ts'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { openSealedData } from '../../src/cli/sealed-data.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import type { OutboxRow, StoredEvent } from '../../src/store/store.ts'
import { instant } from '../../src/time/instant.ts'
import type { KillNote } from '../support/killer.ts'
import { type Keeper, type Life, SPEED } from './kill-keeper.ts'
import type { Arrival, Receivers } from './kill-receivers.ts'
import type { KillPlan } from './kill-run.ts'
import { type SeenPage, seenPage } from './kill-seen.ts'
import { root } from './process.ts'
import type { Page } from './visit.ts'

/** A message the family was owed: what became of it. */
export interface OwedMessage {
  readonly id: string
  readonly says: string
  readonly status: OutboxRow['status'] | 'missing'
  /** How often it stands on the family's page. */
  readonly seen: number
  /** An earlier try may have arrived: it was handed over with the label. */
  readonly labelled: boolean
}

/** A page owed to one address outside the process. */
export interface OwedPage {
  readonly id: string
  readonly says: string
  readonly status: OutboxRow['status'] | 'missing'
  readonly arrivals: readonly Arrival[]
}

/** An alarm that fired. */
export interface FiredAlarm {
  readonly name: string
  /** Real ms from when it could fire (due, and the process up) to its step. */
  readonly lateMs: number
}

/** Everything of one run that can be held against a run without a kill. */
export interface KillRecord {
  readonly plan: KillPlan
  readonly kills: readonly KillNote[]
  readonly lives: readonly Life[]
  /** What the family and clinicians did, in order. */
  readonly done: readonly string[]
  readonly messages: readonly OwedMessage[]
  readonly pages: readonly OwedPage[]
  /** Arrivals that nobody was owed. */
  readonly strayArrivals: readonly Arrival[]
  readonly alarms: readonly FiredAlarm[]
  /** Alarms of the history that are neither fired nor cancelled nor stored, and stored ones that should have fired. */
  readonly lostAlarms: readonly string[]
  /** Where the case ended, without instants. */
  readonly end: Readonly<Record<string, unknown>>
}

export async function recordOf(run: {
  readonly plan: KillPlan
  readonly keeper: Keeper
  readonly receivers: Receivers
  readonly dataDir: string
  readonly page: Page
}): Promise<KillRecord> {
  const { plan, keeper, receivers } = run
  const failed = (error: unknown) => {
    throw error
  }
  const { store } = await openSealedData({
    data: openDataFolder(run.dataDir, systemRandom()),
    mode: 'demonstration',
    onUnreadable: ({ error }) => failed(error),
    onFault: failed,
  })
  try {
    const cases = await store.recent(instant(0))
    const [stored] = cases
    if (stored === undefined || cases.length !== 1) throw new Error(`expected one case, found ${cases.length}`)
    const history = await store.history(stored.caseId)
    const rows = new Map((await store.outboxOf(stored.caseId)).map(row => [row.effectId, row]))
    const page = seenPage(run.page, [...rows.values()])
    const state = JSON.parse(stored.state) as CaseState
    const due = await store.due(instant(Number.MAX_SAFE_INTEGER), 1_000)
    const owed = pagesOwed(history)
    const ids = new Set(owed.map(one => one.id))
    return {
      plan,
      kills: keeper.lives.flatMap(({ killed }) => (killed === undefined ? [] : [killed])),
      lives: keeper.lives,
      done: history.flatMap(doneIn),
      messages: messagesOwed(history).map(({ id, says }) => messageOf(id, says, rows.get(id), page)),
      pages: owed.map(({ id, rowId, says }) => ({
        id,
        says,
        status: rows.get(rowId)?.status ?? 'missing',
        arrivals: receivers.arrivals.filter(one => one.id === id),
      })),
      strayArrivals: receivers.arrivals.filter(one => !ids.has(one.id)),
      alarms: history.flatMap(event => firedIn(event, keeper)),
      lostAlarms: lostOf(history, due, keeper.nightAt()),
      end: endOf(state, stored.closed),
    }
  } finally {
    await store.close()
  }
}

/** What somebody outside did: their words, or a clinician's act. */
export function doneIn({ event }: StoredEvent): string[] {
  const read = JSON.parse(event) as CaseEvent
  if ('said' in read && read.said !== undefined) return [`${read.kind}: ${read.said}`]
  if ('by' in read && typeof read.by === 'object') return [`${read.kind} by ${read.by.id}`]
  return ['alarmDue', 'pageSettled', 'replyGivenUp', 'resumed'].includes(read.kind) ? [] : [read.kind]
}

const effectsOf = (stored: StoredEvent): { readonly id: string; readonly effect: Effect }[] =>
  (JSON.parse(stored.effects) as Effect[]).map((effect, position) => ({
    id: `${stored.caseId}.${stored.seq}.${position}`,
    effect,
  }))

function messagesOwed(history: readonly StoredEvent[]): { readonly id: string; readonly says: string }[] {
  return history.flatMap(effectsOf).flatMap(({ id, effect }) => {
    if (effect.kind !== 'reply') return []
    const says = effect.parts.map(part =>
      'id' in part ? part.id : 'fact' in part ? `${part.kind} ${part.fact}` : part.kind,
    )
    return [{ id, says: says.join(' + ') }]
  })
}

function messageOf(id: string, says: string, row: OutboxRow | undefined, page: SeenPage): OwedMessage {
  if (row === undefined) return { id, says, status: 'missing', seen: 0, labelled: false }
  return { id, says, status: row.status, seen: page.seen(row), labelled: row.outcomeUnknown }
}

/** Ids under which each page must have arrived: one for each mail address and web call of whoever was paged. */
function pagesOwed(history: readonly StoredEvent[]): { id: string; rowId: string; says: string }[] {
  return history.flatMap(effectsOf).flatMap(({ id, effect }) => {
    if (effect.kind !== 'page') return []
    return addressesOf(effect.to).flatMap((pager, position) => {
      const rowId = `${id}.${position}`
      const says = `${effect.why} ${effect.to} ${pager}`
      const digest = createHash('sha256').update(rowId)
      if (pager === 'smtp') return [{ id: digest.digest('hex'), rowId, says }]
      return pager === 'webhook' ? [{ id: `page_${digest.digest('base64url')}`, rowId, says }] : []
    })
  })
}

const clinic = parse(readFileSync(join(root, 'deploy/demo-clinic/clinic.yaml'), 'utf8')) as Record<
  'people' | 'desks',
  Record<string, { 'page-at': readonly { pager: string }[] }>
>

const addressesOf = (who: string): string[] =>
  ({ ...clinic.people, ...clinic.desks })[who]?.['page-at'].map(({ pager }) => pager) ?? []

function firedIn(stored: StoredEvent, { lives, nightAt }: Keeper): FiredAlarm[] {
  const event = JSON.parse(stored.event) as CaseEvent
  if (event.kind !== 'alarmDue') return []
  // While the process is down nothing can fire: the life that fired it counts from when it served.
  const life = lives.findLast(one => nightAt(one.startedAt) <= stored.at)
  const up = life?.upAt === undefined || life === lives[0] ? Number.NEGATIVE_INFINITY : nightAt(life.upAt)
  return [{ name: event.name, lateMs: Math.max(0, Math.round((stored.at - Math.max(event.due, up)) / SPEED)) }]
}

/** Replays what the steps asked for: what is set at the end must be stored, and nothing stored may be overdue. */
function lostOf(
  history: readonly StoredEvent[],
  stored: readonly { readonly name: string; readonly due: number }[],
  now: number,
): string[] {
  const set = new Map<string, number>()
  for (const step of history) {
    const event = JSON.parse(step.event) as CaseEvent
    if (event.kind === 'alarmDue' && set.get(event.name) === event.due) set.delete(event.name)
    const effects = effectsOf(step).map(({ effect }) => effect)
    for (const effect of effects) if (effect.kind === 'cancelAlarm') set.delete(effect.name)
    for (const effect of effects) if (effect.kind === 'setAlarm') set.set(effect.name, effect.due)
  }
  const kept = new Map(stored.map(({ name, due }) => [name, due]))
  const missing = [...set].filter(([name, due]) => kept.get(name) !== due).map(([name]) => `${name} is set, not stored`)
  const overdue = stored.filter(({ due }) => due < now - 3_000 * SPEED).map(({ name }) => `${name} is overdue`)
  return [...missing, ...overdue]
}

/** The state without instants: two nights that went alike end alike. */
function endOf(state: CaseState, closed: boolean): Record<string, unknown> {
  return {
    closed,
    concern: state.concern,
    disposition: state.disposition?.id,
    floor: state.floor,
    talk: state.kernel,
    answers: Object.fromEntries(
      Object.entries(state.answers).map(([fact, { said, changed }]) => [fact, [said, changed]]),
    ),
    inForce: Object.keys(state.inForce).toSorted(),
    says: state.path.says,
    taken: state.callout.taken?.by.id,
    doing: state.callout.taken?.doing.kind,
    // An outcome stands at the last page of its person: which of several that was hangs on the moment.
    reached: [
      ...new Set(state.callout.pages.filter(page => page.outcome === 'accepted').map(page => page.to)),
    ].toSorted(),
    marks: state.marks,
    left: state.leftAt !== undefined,
    outcome: state.outcome?.id,
    alarms: Object.keys(state.alarms).toSorted(),
  }
}
