/** What is to be done about what a review found: one person, one day, and an end that can be checked. */
import type { Instant } from '../time/instant.ts'

export interface NewAction {
  readonly caseId: string
  readonly says: string
  /** Id of the person who sees to it. */
  readonly owner: string
  /** `2026-04-30`: the day by which it is done. */
  readonly due: string
  readonly at: Instant
  readonly by: string
}

/** An action ends with a version of a flow, with a setting, or with a written reason for doing nothing. */
export const ENDS = ['flow', 'setting', 'reason'] as const

export interface ActionEnd {
  readonly how: (typeof ENDS)[number]
  /** Which flow and version, which setting and value, or the reason. */
  readonly says: string
  readonly at: Instant
  readonly by: string
}

export interface ReviewAction extends NewAction {
  readonly number: number
  readonly end?: ActionEnd
}

/** Characters of what is to be done, and of how it ended. */
export const SAYS_LEAST = 8
export const SAYS_MOST = 500

/** Why an action cannot be taken in; undefined where it can. `today` is the clinic's own day. */
export function actionFault(
  { says, owner, due }: Pick<NewAction, 'says' | 'owner' | 'due'>,
  people: ReadonlySet<string>,
  today: string,
): 'says' | 'owner' | 'due' | undefined {
  if (!isSaid(says)) return 'says'
  if (!people.has(owner)) return 'owner'
  return isDay(due) && due >= today ? undefined : 'due'
}

export const isSaid = (text: string): boolean => text.length >= SAYS_LEAST && text.length <= SAYS_MOST

/** A day of the calendar, written as ISO 8601 has it. */
function isDay(text: string): boolean {
  const read = /^(\d{4})-(\d{2})-(\d{2})$/.exec(text)
  if (read === null) return false
  const [year, month, day] = read.slice(1).map(Number)
  const last = month === 2 && isLeap(year ?? 0) ? 29 : MONTH_DAYS[(month ?? 0) - 1]
  return day !== undefined && last !== undefined && day >= 1 && day <= last
}

const MONTH_DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
const isLeap = (year: number): boolean => (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0

/** Those that are not ended, the one due first on top. */
export const openActions = (actions: readonly ReviewAction[]): readonly ReviewAction[] =>
  actions.filter(({ end }) => end === undefined)
