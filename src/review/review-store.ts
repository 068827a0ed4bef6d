import type { Instant } from '../time/instant.ts'
import type { CaseSummary } from './case-summary.ts'
import type { ActionEnd, NewAction, ReviewAction } from './review-action.ts'
import type { Draw, Pick } from './sampling.ts'
import type { Score } from './score.ts'

/** A draw as it was made. */
export interface DrawMade extends Draw {
  readonly at: Instant
  /** Id of a person, or `machine`. */
  readonly by: string
}

/** One case of the queue. */
export interface QueueRow extends Pick {
  readonly scores: readonly Score[]
}

export interface MonthRow {
  readonly month: string
  readonly cases: number
  /** Undefined where nothing was drawn yet. */
  readonly picked?: number
}

/**
 * Where summaries, draws and scores are kept. Every call is done and durable when it returns. Scores are only ever added.
 *
 * A month's list and its queue are answered from rows that stand ready, whatever the number of cases.
 */
export interface ReviewStore {
  /** Adds summaries, or puts newer ones in their place; all or none. @param to  up to which change of a case they reach */
  keepSummaries(summaries: readonly CaseSummary[], to?: Instant): void
  /** The latest change of a case that summaries reach; undefined before the first. */
  summarisedTo(): Instant | undefined
  summary(caseId: string): CaseSummary | undefined
  /** All of a month, or of all; in order of their beginning. */
  summaries(month?: string): readonly CaseSummary[]
  /** Latest first. */
  months(): readonly MonthRow[]
  draw(month: string): DrawMade | undefined
  /** Keeps the one draw of a month; false where there is one already. */
  keepDraw(draw: DrawMade, picks: readonly Pick[]): boolean
  isPicked(caseId: string): boolean
  /** Cases drawn for a month, in the order of the draw. */
  queue(month: string): readonly QueueRow[]
  /** In the order they came in. */
  scoresOf(caseId: string): readonly Score[]
  /** All, by case. */
  scores(month?: string): ReadonlyMap<string, readonly Score[]>
  /** Keeps a score unless the case is not drawn, the person has scored it, or it is done. */
  addScore(score: Score): 'kept' | 'own' | 'done' | 'not-drawn'
  /** Somebody wants this case to be reviewed, also one of a month that was drawn before. A second time: nothing. */
  flag(caseId: string, at: Instant, by: string): void
  flagged(): ReadonlySet<string>
  /** For a case that was drawn. */
  addAction(action: NewAction): void
  /** All, the one due first on top. */
  actions(): readonly ReviewAction[]
  /** False where it has ended already, or there is none of this number. */
  endAction(number: number, end: ActionEnd): boolean
  close(): void
}
