/** Summaries of closed cases, kept up to date from the store: each case is gone through once, and again only where it changed. */
import { createHmac } from 'node:crypto'
import { setImmediate } from 'node:timers/promises'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { Line } from '../case/line.ts'
import { type CaseRecord, recordStored } from '../review/case-record.ts'
import { type CaseSummary, SUMMARY_VERSION, summaryOf } from '../review/case-summary.ts'
import type { ReviewStore } from '../review/review-store.ts'
import { type Parked, parkedOf } from '../runtime/parking.ts'
import type { CaseHead, Store } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'

export interface ReviewIndexPorts {
  readonly reviews: ReviewStore
  readonly store: Pick<Store, 'load' | 'recentHeads' | 'heads' | 'history'>
  /** The line that a case was opened under, or as it is where the state names no flow; undefined where that flow is not at hand any more. */
  readonly lineOf: (state: string) => Line | undefined
  /** Names families, so that the same writes under the same name. */
  readonly key: Buffer
}

export interface ReviewIndex {
  /** Takes in what has closed since. One run at a time: who asks meanwhile waits for the same. */
  refresh(): Promise<Refreshed>
  /** Ends a run after the case it is at. */
  stop(): void
  /** A case as it is on record, its chat under another name; undefined where it is not there or cannot be told. */
  record(caseId: string): Promise<{ readonly record: CaseRecord; readonly line: Line } | undefined>
}

export interface Refreshed {
  readonly added: number
  /** Closed cases that could not be gone through: erased, or of a line that is not at hand. */
  readonly leftOut: number
}

/** Summaries written in one transaction. */
const TOGETHER = 200

export function reviewIndex({ reviews, store, lineOf, key }: ReviewIndexPorts): ReviewIndex {
  let running: Promise<Refreshed> | undefined
  let isStopped = false

  const record: ReviewIndex['record'] = async caseId => {
    const stored = await store.load(caseId)
    if (stored === undefined) return undefined
    const parked = parkedOf(stored.state)
    const line = parked === undefined ? lineOf(stored.state) : lineBefore(parked)
    if (line === undefined) return undefined
    const steps = (await store.history(caseId)).map(({ at, event, effects }) => ({
      at,
      event: JSON.parse(event) as CaseEvent & InLanguage,
      effects: JSON.parse(effects) as readonly Effect[],
    }))
    const { channel, chat } = stored.chat
    const family = createHmac('sha256', key).update(`review family ${channel} ${chat}`).digest('hex').slice(0, 16)
    const found = recordStored({ caseId, channel, family, closed: stored.closed }, steps)
    return found === undefined ? undefined : { record: found, line }
  }

  /** What a case that was handed to people was decided with before; a record without a flow is told with the line as it is. */
  function lineBefore({ state }: Parked): Line | undefined {
    const known = state === null ? undefined : readable(() => lineOf(state))
    return known ?? lineOf('{}')
  }

  async function summarised(caseId: string): Promise<CaseSummary | undefined> {
    const found = await record(caseId)
    if (found === undefined) return undefined
    try {
      return summaryOf(() => found.line, found.record)
    } catch {
      // Decided otherwise than this line decides: a replay tells where. Figures are not guessed.
      return undefined
    }
  }

  /** Closed cases that changed since summaries were last made, in the order of their changes. */
  async function* changedSince(since: Instant): AsyncGenerator<CaseHead> {
    const heads = await store.recentHeads(since)
    yield* heads
      .filter(({ closed, changedAt }) => closed && changedAt >= since)
      .toSorted((a, b) => a.changedAt - b.changedAt)
  }

  /** The first time: all that have closed, a page at a time, without those that an earlier start came to. */
  async function* allClosed(): AsyncGenerator<CaseHead> {
    for await (const head of store.heads())
      if (head.closed && reviews.summary(head.caseId)?.version !== SUMMARY_VERSION) yield head
  }

  async function refreshed(): Promise<Refreshed> {
    const since = reviews.summarisedTo()
    let added = 0
    let leftOut = 0
    let latest: Instant | undefined
    let made: CaseSummary[] = []
    const keep = (to: Instant | undefined) => {
      reviews.keepSummaries(made, to)
      added += made.length
      made = []
    }
    for await (const { caseId, changedAt } of since === undefined ? allClosed() : changedSince(since)) {
      if (isStopped) return { added, leftOut }
      const one = await summarised(caseId)
      if (one === undefined) leftOut++
      else made.push(one)
      if (latest === undefined || changedAt > latest) latest = changedAt
      // Going through all, only the end of it is an end.
      if (made.length >= TOGETHER) keep(since === undefined ? undefined : latest)
      // Families come first: theirs is taken between any two cases.
      await setImmediate()
    }
    keep(latest)
    return { added, leftOut }
  }

  return {
    record,
    stop() {
      isStopped = true
    },
    refresh() {
      running ??= refreshed().finally(() => {
        running = undefined
      })
      return running
    },
  }
}

/** A state that is handed to people may be anything. */
function readable<T>(read: () => T): T | undefined {
  try {
    return read()
  } catch {
    return undefined
  }
}
