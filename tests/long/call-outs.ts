/**
 * Whether each page that nobody answered moved on in its time, from what stands outside the bot: pages as they reached
 * receivers, and what clinicians pressed. Times are milliseconds since 1970, lengths milliseconds.
 */

/** The clinic's ladder as shipped: again, next person, everyone, counted from the first page. */
export const LADDERS: Readonly<Record<'urgent' | 'speak', readonly [again: number, next: number, last: number]>> = {
  urgent: [180_000, 300_000, 600_000],
  speak: [600_000, 1_200_000, 1_800_000],
}
/** As shipped: how long after a promised call paging begins again. */
const PROMISE_GRACE_MS = 300_000
/** Pages of one rung reach their receivers within this. */
const ONE_RUNG_MS = 5_000
/** At least this lies between two rungs that were both due. */
const RUNG_LEAST_MS = 60_000

export type CallOutHappening =
  | {
      readonly kind: 'page' | 'repeat' | 'update'
      readonly caseId: string
      readonly at: number
      readonly urgency: 'urgent' | 'speak'
    }
  /** `callBy`: when the call was promised for; undefined where none was. */
  | { readonly kind: 'taken'; readonly caseId: string; readonly at: number; readonly callBy: number | undefined }
  | { readonly kind: 'passed-on' | 'spoken' | 'settled'; readonly caseId: string; readonly at: number }

export interface Moved {
  /** Times by which something had to happen, and it did. */
  readonly met: number
  /** Of these, pages again after a promise that was not kept. */
  readonly promises: number
  readonly late: readonly { readonly caseId: string; readonly dueAt: number; readonly stage: string }[]
}

type Stage = 'none' | 'first' | 'again' | 'next' | 'everyone' | 'broken' | 'taken' | 'over'

interface Followed {
  stage: Stage
  urgency: 'urgent' | 'speak'
  startedAt: number
  rungAt: number
  dueAt: number | undefined
  takenAt: number
  /** A pass-on that has to show in a page: the stage it leads to. */
  passing: 'next' | 'everyone' | undefined
}

const AFTER: Readonly<Partial<Record<Stage, Stage>>> = {
  first: 'again',
  again: 'next',
  next: 'everyone',
  everyone: 'everyone',
  broken: 'everyone',
}

/**
 * Follows every call-out.
 * @param happenings in any order
 * @param endAt      what was due after this is not judged
 * @param grace      how late a page may reach its receiver
 */
export function moved(happenings: readonly CallOutHappening[], endAt: number, grace: number): Moved {
  let met = 0
  let promises = 0
  const late: { caseId: string; dueAt: number; stage: string }[] = []
  const byCase = Map.groupBy(
    happenings.toSorted((a, b) => a.at - b.at),
    ({ caseId }) => caseId,
  )
  for (const [caseId, list] of byCase) {
    const now: Followed = {
      stage: 'none',
      urgency: 'speak',
      startedAt: 0,
      rungAt: Number.NEGATIVE_INFINITY,
      dueAt: undefined,
      takenAt: Number.NEGATIVE_INFINITY,
      passing: undefined,
    }
    const judge = (at: number): void => {
      if (now.dueAt === undefined || at <= now.dueAt + grace) return
      late.push({ caseId, dueAt: now.dueAt, stage: now.stage })
      now.dueAt = undefined
    }
    for (const happening of list) {
      judge(happening.at)
      const before = { stage: now.stage, dueAt: now.dueAt }
      if (follow(now, happening) && before.dueAt !== undefined) {
        met += 1
        if (before.stage === 'taken') promises += 1
      }
    }
    judge(endAt)
  }
  return { met, promises, late }
}

/** Takes one happening in; true when it was the rung that was waited for. */
function follow(now: Followed, happening: CallOutHappening): boolean {
  switch (happening.kind) {
    case 'taken':
      Object.assign(now, {
        stage: 'taken',
        takenAt: happening.at,
        passing: undefined,
        dueAt: happening.callBy === undefined ? undefined : happening.callBy + PROMISE_GRACE_MS,
      })
      return false
    case 'spoken':
    case 'settled':
      Object.assign(now, { stage: 'over', takenAt: happening.at, passing: undefined, dueAt: undefined })
      return false
    case 'passed-on':
      if (now.stage === 'everyone' || now.stage === 'none') return false
      now.passing = now.stage === 'next' ? 'everyone' : 'next'
      now.dueAt = happening.at
      return false
    case 'update':
      return updated(now, happening.urgency, happening.at)
    case 'page':
    case 'repeat':
      return paged(now, happening.urgency, happening.at)
  }
}

/** More urgent than before: the next rung is due sooner. */
function updated(now: Followed, urgency: 'urgent' | 'speak', at: number): boolean {
  const rose = now.urgency === 'speak' && urgency === 'urgent'
  now.urgency = urgency
  if (rose && now.dueAt !== undefined && now.stage !== 'taken') now.dueAt = Math.min(now.dueAt, at + LADDERS.urgent[0])
  return false
}

function paged(now: Followed, urgency: 'urgent' | 'speak', at: number): boolean {
  if (now.passing === undefined && at - now.rungAt <= ONE_RUNG_MS) return false
  // Already on its way when somebody took the case.
  if ((now.stage === 'taken' || now.stage === 'over') && at - now.takenAt <= ONE_RUNG_MS && now.passing === undefined)
    return false
  const stage = now.passing ?? (now.stage === 'taken' ? 'broken' : (AFTER[now.stage] ?? 'first'))
  if (stage === 'first') now.startedAt = at
  Object.assign(now, { stage, urgency, rungAt: at, passing: undefined })
  now.dueAt = dueAfter(now, at)
  return true
}

function dueAfter({ stage, urgency, startedAt }: Followed, at: number): number {
  const [again, next, last] = LADDERS[urgency]
  if (stage === 'first') return at + again
  if (stage === 'again') return Math.max(startedAt + next, at + RUNG_LEAST_MS)
  if (stage === 'next') return at + Math.max(last - next, RUNG_LEAST_MS)
  return stage === 'broken' ? at + next : at + last
}
