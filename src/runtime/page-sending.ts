import type { CaseEvent } from '../case/event.ts'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { Page, Pager } from '../pagers/pager.ts'
import type { OutboxRow, Store, StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import type { OnFault } from './fault.ts'
import type { Outcome } from './lane.ts'
import type { Machine } from './machine.ts'
import { codeIn, PARKED_REASON, parkedOf } from './parking.ts'
import { addressesOf } from './reach.ts'
import { freshIn, keptOf, type Ready, type Sending, sentOf, toKeep } from './sending.ts'
import { type PageToAddress, pageIdOf } from './step-record.ts'

export interface PageSendingDependencies {
  readonly store: Store
  readonly machine: Machine
  /** The clinic as it is now. */
  readonly clinic: () => Clinic
  readonly pagerOf: (id: string) => Pager | undefined
  /** Fits pieces, most urgent first, and the link into a page's text. */
  readonly fitPage: (pieces: readonly string[], link: string) => string
  /** A signed, expiring link to the case page. */
  readonly pageLink: (page: {
    readonly caseId: string
    readonly pageId: string
    readonly to: string
    readonly at: Instant
  }) => string
  readonly tell: (caseId: string, event: CaseEvent, deliveryId: string) => void
  readonly onFault: OnFault
}

export interface PageSending extends Sending {
  /**
   * A page that was taken did not get to where it should. The case hears of it as of one that could not be sent, unless
   * another way took it; the board wakes nobody and does not count as one.
   */
  lost(caseId: string, effectId: string): Promise<void>
}

/** Pages to clinicians, one row an address. The case hears when the first address took it, or when all failed. */
export function pageSending(deps: PageSendingDependencies): PageSending {
  const { store, machine, clinic, onFault } = deps

  function ready(row: OutboxRow, stored: StoredCase | undefined, now: Instant): Ready {
    const kept = keptOf<Page>(row)
    const firstAt = kept?.firstAt ?? now
    if (stored === undefined) return { firstAt, send: async () => ({ kind: 'refused', reason: 'case-erased' }) }
    const effect = pageIn(row.effect)
    if (effect === undefined) throw new TypeError('this row holds no page')
    const route = addressesOf(clinic(), effect.to)[effect.address]
    if (route === undefined) return { firstAt, send: async () => ({ kind: 'refused', reason: 'no-address' }) }
    const reused = freshIn(row, kept, now)
    if (reused !== undefined) {
      const page = { ...sentOf<Page>(reused), repeated: row.outcomeUnknown }
      return { firstAt, send: () => hand(row, route.pager, page) }
    }
    const page = fresh(row, stored, effect, route.address, now)
    // "Page 1 of 3, next 02:18": at 02:18 those words are no longer true.
    const ahead = effect.nextAt === undefined ? [] : [effect.nextAt]
    const content = JSON.stringify(toKeep(page, firstAt, ahead, now))
    return { content, firstAt, send: () => hand(row, route.pager, page) }
  }

  function fresh(row: OutboxRow, stored: StoredCase, effect: PageToAddress, address: string, now: Instant): Page {
    const pageId = pageIdOf(row.effectId)
    const link = deps.pageLink({ caseId: row.caseId, pageId, to: effect.to, at: now })
    const parked = parkedOf(stored.state)
    const code = parked?.parked.code ?? codeIn(parked === undefined ? stored.state : parked.state)
    return {
      key: row.effectId,
      caseId: row.caseId,
      code: code ?? '',
      to: { id: effect.to, name: reachableOf(clinic(), effect.to)?.name ?? effect.to },
      address,
      text: deps.fitPage(piecesOf(row, stored, effect, now), link),
      link,
      urgency: effect.urgency,
      kind: effect.why,
      at: now,
      repeated: row.outcomeUnknown,
    }
  }

  function piecesOf(row: OutboxRow, stored: StoredCase, effect: PageToAddress, now: Instant): readonly string[] {
    const parked = parkedOf(stored.state)
    const code = parked?.parked.code ?? codeIn(parked === undefined ? stored.state : parked.state)
    const why = parked?.parked.why ?? 'broken'
    const unreadable = () => machine.parkedPage({ ...(code === undefined ? {} : { code }), why, at: now })
    if (parked !== undefined && effect.reason === PARKED_REASON) return unreadable()
    try {
      const state = machine.parse(parked === undefined ? stored.state : (parked.state ?? ''))
      const { address: _own, ...page } = effect
      return machine.renderPage(state, page, now)
    } catch (error) {
      onFault({ code: 'render-failed', caseId: row.caseId, effectId: row.effectId, lane: 'page', error })
      return unreadable()
    }
  }

  async function hand(row: OutboxRow, pagerId: string, page: Page): Promise<Outcome> {
    const pager = deps.pagerOf(pagerId)
    if (pager === undefined) {
      onFault({ code: 'pager-unknown', caseId: row.caseId, effectId: row.effectId, lane: 'page' })
      return { kind: 'refused', reason: 'pager-unknown' }
    }
    const paged = await pager.page(page)
    return paged.kind === 'accepted' ? { kind: 'arrived' } : paged
  }

  /** The case hears of a page given up once every address of it was: another may still take it. */
  async function isLost({ caseId, effectId }: OutboxRow): Promise<boolean> {
    const rows = await store.outboxOf(caseId)
    const pageId = pageIdOf(effectId)
    return rows
      .filter(each => each.lane === 'page' && pageIdOf(each.effectId) === pageId)
      .every(each => each.status === 'given-up')
  }

  /** What the row asked for, from the history where the row itself cannot be read: the ladder must move all the same. */
  async function askedFor(row: OutboxRow): Promise<OutboxRow> {
    if (pageIn(row.effect) !== undefined) return row
    const step = (await store.history(row.caseId)).find(each => each.seq === row.seq)
    const effects = readable(step?.effects ?? '')
    const position = Number(pageIdOf(row.effectId).split('.').at(-1))
    const effect: unknown = Array.isArray(effects) ? effects[position] : undefined
    return effect === undefined ? row : { ...row, effect: JSON.stringify(effect) }
  }

  const isWaking = (row: OutboxRow): boolean => {
    const effect = pageIn(row.effect)
    const route = effect === undefined ? undefined : addressesOf(clinic(), effect.to)[effect.address]
    return route !== undefined && route.pager !== 'board'
  }

  return {
    lane: 'page',
    ready,
    async lost(caseId, effectId) {
      const pageId = pageIdOf(effectId)
      const rows = (await store.outboxOf(caseId)).filter(
        each => each.lane === 'page' && pageIdOf(each.effectId) === pageId,
      )
      const row = rows.find(each => each.effectId === effectId)
      onFault({ code: 'page-lost', caseId, effectId, lane: 'page' })
      if (row === undefined) return
      const others = rows.filter(each => each !== row && each.status !== 'given-up' && isWaking(each))
      const told = others.length > 0 ? undefined : pageSettledOf(await askedFor(row), 'given-up')
      if (told !== undefined) deps.tell(caseId, told.event, told.deliveryId)
    },
    async ended(row, outcome) {
      if (outcome === 'given-up' && !(await isLost(row))) return
      const told = pageSettledOf(await askedFor(row), outcome === 'sent' ? 'accepted' : 'given-up')
      if (told !== undefined) deps.tell(row.caseId, told.event, told.deliveryId)
    },
  }
}

/** The page a row asks for; undefined where the row does not hold one. */
function pageIn(json: string): PageToAddress | undefined {
  const read = readable(json)
  const isPage = typeof read === 'object' && read !== null && 'to' in read && typeof read.to === 'string'
  return isPage ? (read as PageToAddress) : undefined
}

function readable(json: string): unknown {
  try {
    return JSON.parse(json) as unknown
  } catch {
    return undefined
  }
}

/**
 * What the case is told of a page, and the delivery id that makes it count once. Nothing of a page that only says who
 * took the case (nobody is waited for there), and of a row that cannot be read.
 */
export function pageSettledOf(
  row: OutboxRow,
  outcome: 'accepted' | 'given-up',
): { readonly event: CaseEvent; readonly deliveryId: string } | undefined {
  const effect = pageIn(row.effect)
  if (effect === undefined || effect.why === 'taken') return undefined
  const { to } = effect
  const pageId = pageIdOf(row.effectId)
  return { event: { kind: 'pageSettled', pageId, to, outcome }, deliveryId: `${pageId}:${outcome}` }
}
