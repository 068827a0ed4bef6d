/** The call-out: who is paged when, what the family hears of it, and what becomes of a promise. */
import type { CalloutStage } from '../flow/kernel.ts'
import { promiseDueAt } from '../oncall/acknowledgement.ts'
import { anybodyAt, type LadderTimes, ladderTimes, rungsAt } from '../oncall/ladder.ts'
import { after, type Instant, milliseconds, minutes } from '../time/instant.ts'
import { cancelAlarm, expectedArrival, LATE_AFTER_MS, lengthSetting, PROMISE, RUNG, setAlarm } from './alarm.ts'
import type { Effect } from './effect.ts'
import type { CaseEvent } from './event.ts'
import type { Callout } from './state.ts'
import { sayNotice, urgencyOf, type Work } from './work.ts'

type PageWhy = (Effect & { kind: 'page' })['why']

/** What one call-out stage does on entry. Returns the next kernel event when the ladder must move at once. */
export function onStage(work: Work, stage: CalloutStage): 'pageFailed' | 'unanswered' | undefined {
  switch (stage) {
    case 'first':
      return begin(work)
    case 'again':
      if (work.overslept) return 'pageFailed'
      return pageRung(work, 0, 'repeat', times(work).nextAfter)
    case 'next':
      return work.overslept ? 'pageFailed' : pageNext(work)
    case 'everyone':
      return pageEveryone(work)
    case 'taken':
      taken(work)
      return undefined
    case 'broken':
      broken(work)
      return undefined
    case 'spoken':
    case 'settled':
      cancelAlarm(work, RUNG)
      cancelAlarm(work, PROMISE)
      return undefined
    case 'update':
      update(work)
      return undefined
  }
}

function change(work: Work, callout: Partial<Callout>): void {
  work.state.callout = { ...work.state.callout, ...callout }
}

function times(work: Work): LadderTimes {
  return ladderTimes(work.state.callout.urgency, work.line.settings)
}

function begin(work: Work) {
  const ladder = [...new Set(rungsAt(work.line.clinic, work.at).map(rung => rung.id))]
  const urgency = urgencyOf(work.state.disposition?.id)
  change(work, { taken: undefined, everyoneAt: undefined, startedAt: work.at, urgency, ladder })
  if (ladder.length > 0) sayNotice(work, 'paged')
  return pageRung(work, 0, 'page', times(work).repeatAfter)
}

function pageRung(work: Work, rung: number, why: PageWhy, dueAfterStart: number) {
  const to = work.state.callout.ladder[rung]
  if (to === undefined) return 'pageFailed' as const
  const due = after(work.state.callout.startedAt ?? work.at, milliseconds(dueAfterStart))
  const nextAt = due > work.at ? due : after(work.at, minutes(1))
  pagePerson(work, to, why, nextAt)
  setAlarm(work, RUNG, { due: nextAt, late: 'recompute' })
  return undefined
}

/** The second rung, five minutes from the last even when it was reached early. */
function pageNext(work: Work) {
  const { nextAfter, lastAfter } = times(work)
  const to = work.state.callout.ladder[1] ?? work.state.callout.ladder[0]
  if (to === undefined) return 'pageFailed' as const
  const due = after(work.at, milliseconds(lastAfter - nextAfter))
  pagePerson(work, to, work.state.callout.ladder.length > 1 ? 'page' : 'repeat', due)
  setAlarm(work, RUNG, { due, late: 'recompute' })
  return undefined
}

/**
 * Whether a rung that is `late` by so much comes when everyone should have been paged long ago: after an outage, not after
 * a slow minute. Who is on call by then is paged too.
 */
export function oversleeps(work: Work, late: number): boolean {
  const { repeatAfter, nextAfter, lastAfter } = times(work)
  return late > LATE_AFTER_MS && late >= lastAfter - (work.state.kernel.callout === 'first' ? repeatAfter : nextAfter)
}

/**
 * The last rung and all before it; the family is told plainly, and it is tried again for as long as nobody answers. Where the
 * ladder leads to nobody, everybody who could answer is paged: none of them is on call, and the family is told so.
 */
function pageEveryone(work: Work) {
  if (work.overslept) afterOutage(work)
  // Where nobody was on call when it began, whoever has come on since is the ladder.
  else if (work.state.callout.ladder.length === 0)
    change(work, { ladder: [...new Set(rungsAt(work.line.clinic, work.at).map(rung => rung.id))] })
  const { ladder } = work.state.callout
  const first = work.state.callout.everyoneAt === undefined
  const due = after(work.at, milliseconds(times(work).lastAfter))
  const paged = new Set(work.state.callout.pages.map(page => page.to))
  for (const to of ladder.length > 0 ? ladder : anybodyAt(work.line.clinic))
    pagePerson(work, to, paged.has(to) ? 'repeat' : 'page', due)
  setAlarm(work, RUNG, { due, late: 'recompute' })
  if (first) change(work, { everyoneAt: work.at })
  // Whoever has left is on the road or at the hospital: told once, not every ten minutes of the night.
  if (first || work.state.leftAt === undefined)
    sayNotice(work, ladder.length === 0 ? 'nobody-on-call' : first ? 'nobody-answered' : 'still-nobody')
  return first && work.state.callout.urgency === 'speak' && work.flow.unanswered !== undefined
    ? 'unanswered'
    : undefined
}

/** Nights change over a long outage: whoever is on call now comes before those who were. */
function afterOutage(work: Work): void {
  const now = rungsAt(work.line.clinic, work.at).map(rung => rung.id)
  change(work, { ladder: [...new Set([...now, ...work.state.callout.ladder])] })
  // With a question open the start has said it already, or the silence that comes next says it.
  if (work.state.open === undefined) sayNotice(work, 'out-of-touch')
}

/**
 * Somebody else has come on call while people are being paged: they come first on the ladder from here on, and are paged at
 * once. Whoever was paged before stays on it. A case that is taken, or pages nobody, is left as it is.
 */
export function renewLadder(work: Work): void {
  const { callout, kernel, alarms } = work.state
  if (!PAGING.has(kernel.callout) && kernel.callout !== 'everyone' && kernel.callout !== 'broken') return
  const now = rungsAt(work.line.clinic, work.at).map(rung => rung.id)
  change(work, { ladder: [...new Set([...now, ...callout.ladder])] })
  const [first] = now
  if (first !== undefined && !callout.pages.some(page => page.to === first))
    pagePerson(work, first, 'page', alarms[RUNG]?.due)
}

/** Pages one person and writes it down. */
export function pagePerson(work: Work, to: string, why: PageWhy, nextAt?: Instant): void {
  const { callout } = work.state
  if (why === 'page' || why === 'repeat')
    change(work, { pages: [...callout.pages, { to, seq: work.state.seq + 1, at: work.at, outcome: 'sent' }] })
  work.effects.push({
    kind: 'page',
    to,
    why,
    reason: callout.reason,
    urgency: callout.urgency,
    number: Math.max(1, callout.ladder.indexOf(to) + 1),
    of: Math.max(1, callout.ladder.length),
    ...(nextAt === undefined ? {} : { nextAt }),
  })
}

function taken(work: Work): void {
  cancelAlarm(work, RUNG)
  const { taken: by } = work.state.callout
  if (by === undefined) return
  setAlarm(work, PROMISE, { due: promiseDueAt(by.promisedAt, work.line.settings), late: 'recompute' })
  sayNotice(work, `taken-${by.doing.kind}`)
  for (const other of new Set(work.state.callout.pages.map(page => page.to))) {
    if (other !== by.by.id) pagePerson(work, other, 'taken')
  }
}

/** When a clinician who takes a case has to have been heard of. "Go in" promises no call: the arrival stands for it. */
export function promisedAt(work: Work, doing: NonNullable<Callout['taken']>['doing']): Instant {
  if (doing.kind === 'ringing-by') return doing.by
  if (doing.kind === 'ringing-now') return work.at
  const arrival = expectedArrival(work.state)?.latest
  return after(
    arrival === undefined || arrival < work.at ? after(work.at, lengthSetting(work, 'closure-soonest')) : arrival,
    lengthSetting(work, 'arrival-grace'),
  )
}

/** A promised call did not come: the same person and the next rung are paged, and the family is told unasked. */
function broken(work: Work): void {
  const { taken: by, ladder } = work.state.callout
  const takerAt = by === undefined ? -1 : ladder.indexOf(by.by.id)
  const next = ladder[takerAt + 1] ?? ladder.find(id => id !== by?.by.id)
  const due = after(work.at, milliseconds(times(work).nextAfter))
  if (by !== undefined) pagePerson(work, by.by.id, 'repeat', due)
  if (next !== undefined) pagePerson(work, next, 'page', due)
  cancelAlarm(work, PROMISE)
  setAlarm(work, RUNG, { due, late: 'recompute' })
  sayNotice(work, 'promise-broken')
}

/** Something changed while someone is being paged or has the case: they are told; a rise in urgency tightens the ladder. */
function update(work: Work): void {
  const { callout, disposition } = work.state
  const urgency = urgencyOf(disposition?.id)
  const rose = callout.urgency === 'speak' && urgency !== 'speak'
  change(work, { urgency })
  const holder = callout.taken?.by.id ?? callout.pages.at(-1)?.to
  if (holder !== undefined) pagePerson(work, holder, 'update')
  const stage = work.state.kernel.callout
  const paging =
    stage === 'first' || stage === 'again' || stage === 'next' || stage === 'everyone' || stage === 'broken'
  if (rose && paging) {
    const due = after(work.at, milliseconds(times(work).repeatAfter))
    if (due < (work.state.alarms[RUNG]?.due ?? due)) setAlarm(work, RUNG, { due, late: 'recompute' })
  }
}

/** Whether a clinician has the case, or is being paged for it. */
export const isAnyoneTold = ({ state }: Work): boolean =>
  state.callout.taken !== undefined || state.callout.pages.length > 0

/** Tells whoever has the case, or is being paged, that something changed. */
export function tellHolder(work: Work): void {
  const holder = work.state.callout.taken?.by.id ?? work.state.callout.pages.at(-1)?.to
  if (holder !== undefined) pagePerson(work, holder, 'update')
}

/** What became of a page. The ladder moves at once when the page it waits for could not be sent, and for no other. */
export function pageSettled(work: Work, event: CaseEvent & { kind: 'pageSettled' }): 'pageFailed' | undefined {
  const { callout, kernel } = work.state
  const index = pageIndex(callout.pages, event.pageId, event.to)
  if (index === -1) return undefined
  const pages = callout.pages.map((page, i) => (i === index ? { ...page, outcome: event.outcome } : page))
  change(work, { pages })
  const isWaitedFor = index === pages.length - 1 && PAGING.has(kernel.callout)
  return event.outcome === 'given-up' && isWaitedFor ? 'pageFailed' : undefined
}

const PAGING: ReadonlySet<string> = new Set(['first', 'again', 'next'])

/** Two pages may be on their way to one person: the event number in the id says which it is. */
function pageIndex(pages: Callout['pages'], pageId: string, to: string): number {
  const seq = Number(pageId.split('.').at(-2))
  return pages.findLastIndex(
    page => page.to === to && (page.seq === undefined || Number.isNaN(seq) || page.seq === seq),
  )
}
