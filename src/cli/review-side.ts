/** What the pages *Reviews* need, from the bot that runs: the queue, a case word for word without names, scores, figures. */
import type { AccountStore } from '../accounts/account-store.ts'
import { type Line, staffLine } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import { DISPOSITIONS } from '../flow/document.ts'
import type { Moment, QueueView, ReviewedView } from '../http/console/reviews-page.ts'
import type { ReviewSaid, ReviewsPorts } from '../http/console/reviews-routes.ts'
import { type Fields, fieldIn } from '../http/gate.ts'
import { flowPicture } from '../modelcheck/pictures/graph.ts'
import { sheetsOf } from '../modelcheck/pictures/svg.ts'
import { peopleThere } from '../oncall/clinic.ts'
import { deidentifiedEffect, deidentifiedEvent } from '../replay/de-identify.ts'
import { KEEPS_ALL, type Names } from '../replay/names.ts'
import type { CaseRecord } from '../review/case-record.ts'
import { type WalkedStep, walked } from '../review/case-summary.ts'
import { maskedWords } from '../review/masked-words.ts'
import { actionFault, ENDS, isSaid, openActions, type ReviewAction } from '../review/review-action.ts'
import type { QueueRow, ReviewStore } from '../review/review-store.ts'
import { actionTables, reviewTables } from '../review/review-tables.ts'
import { noteFaults } from '../review/reviewer-file.ts'
import type { Rubric } from '../review/rubric.ts'
import {
  type ItemAnswer,
  mayNotScore,
  reviewFigures,
  type Score,
  scoreFaults,
  scoresFor,
  standingOf,
} from '../review/score.ts'
import type { Random } from '../runtime/clock.ts'
import type { Instant } from '../time/instant.ts'
import { localParts } from '../time/local-instants.ts'
import { decidedLines, happenedLine } from './conversation-text.ts'
import type { FiguresAside } from './figures-aside.ts'
import { drawMonth } from './review-draw.ts'
import type { ReviewIndex } from './review-index.ts'

export interface ReviewSideOptions {
  readonly reviews: ReviewStore
  readonly index: ReviewIndex
  readonly figures: FiguresAside
  readonly rubric: () => Rubric
  readonly line: () => Line
  readonly trail: () => Pick<AccountStore, 'change'> | undefined
  readonly random: Random
  readonly now: () => Instant
  readonly wording: Wording
  /** Words that may stand in what a reviewer reads, in small letters. */
  readonly known: () => ReadonlySet<string>
}

/** Cases on one page of the queue. */
const ROWS_MOST = 100

export function reviewSide(options: ReviewSideOptions): ReviewsPorts {
  const { reviews, index, wording, now } = options

  const thisMonth = (): string => {
    const { year, month } = localParts(now(), options.line().clinic.zone)
    return `${year}-${String(month).padStart(2, '0')}`
  }

  const today = (): string => {
    const { day } = localParts(now(), options.line().clinic.zone)
    return `${thisMonth()}-${String(day).padStart(2, '0')}`
  }

  /** Steps of a drawn case, without names; undefined where it is not drawn, erased, or cannot be gone through. */
  async function stepsOf(caseId: string): Promise<{ steps: readonly WalkedStep[]; line: Line } | undefined> {
    const found = reviews.isPicked(caseId) ? await index.record(caseId) : undefined
    if (found === undefined) return undefined
    const line = nameless(found.line)
    try {
      return { line, steps: [...walked(() => line, withoutNames(found.record, options.known()))] }
    } catch {
      return undefined
    }
  }

  return {
    months: () => reviews.months().map(({ month }) => month),
    async queue(who, wanted) {
      const months = reviews.months()
      const month = wanted ?? months.find(({ picked }) => picked !== undefined)?.month ?? months[0]?.month
      const draw = month === undefined ? undefined : reviews.draw(month)
      const rows = draw === undefined || month === undefined ? [] : sortedFor(reviews.queue(month), who.personId)
      return {
        months: months.map(one => ({ month: one.month, says: monthSaid(one, wording) })),
        month,
        drawn:
          draw === undefined
            ? undefined
            : wording('reviews-drawn', { count: draw.size, number: draw.from, code: draw.seed }),
        mayDraw: month !== undefined && month < thisMonth(),
        rows: rows.slice(0, ROWS_MOST).map(row => rowSaid(row, who.personId, wording)),
        further: Math.max(0, rows.length - ROWS_MOST),
      } satisfies QueueView
    },
    async draw({ personId }, month) {
      const trail = options.trail()
      // Without a trail nobody could see later what was drawn from what.
      if (trail === undefined) return said(false, wording('reviews-no-trail'))
      await index.refresh()
      const drawing = { reviews, trail, random: options.random, now: now(), by: personId }
      const { kind } = await drawMonth(month, undefined, thisMonth(), drawing)
      return said(kind === 'done', wording(`reviews-draw-${kind}`))
    },
    async reviewed({ personId }, caseId, wanted) {
      const found = await stepsOf(caseId)
      const summary = reviews.summary(caseId)
      if (found === undefined || summary === undefined) return undefined
      const { month } = summary
      const number = reviews.queue(month).findIndex(row => row.caseId === caseId) + 1
      const scores = reviews.scoresOf(caseId)
      const why = mayNotScore(scores, personId)
      const isScored = why !== undefined
      // Who still has to score it sees nothing of how it ended for the child.
      const steps = isScored ? found.steps : found.steps.filter(({ event }) => event.kind !== 'outcomeSet')
      const step = Math.min(wanted ?? steps.length, steps.length)
      return {
        ...{ caseId, number, month, step, of: steps.length },
        moments: steps.slice(0, step).map(one => momentOf(found.line, one, steps[0]?.at ?? one.at, wording)),
        sheets: sheetsAt(found.line, steps, step).length,
        rubric: options.rubric(),
        notNow: why === undefined ? undefined : wording(`reviews-not-now-${why}`),
        mayAct: isAllIn(scores) ? { people: ownersIn(options.line()), today: today() } : undefined,
        scores: scoresFor(scores, personId).map((score, at) => scoreSaid(score, at + 1, options.rubric(), wording)),
      } satisfies ReviewedView
    },
    async sheet(caseId, number, step) {
      const found = await stepsOf(caseId)
      if (found === undefined) return undefined
      return sheetsAt(found.line, found.steps, step).find(one => one.number === number)?.svg
    },
    async score({ personId }, caseId, fields) {
      const rubric = options.rubric()
      const read = scoreIn(rubric, caseId, personId, now(), fields)
      if ('faults' in read) return said(false, wording('reviews-lacking', { answer: read.faults.join('; ') }))
      const trail = options.trail()
      if (trail === undefined) return said(false, wording('reviews-no-trail'))
      const kept = reviews.addScore(read.score)
      if (kept !== 'kept')
        return said(false, wording(kept === 'not-drawn' ? 'reviews-not-now-done' : `reviews-not-now-${kept}`))
      await trail.change({ at: now(), who: personId, did: 'review-scored', on: caseId }, [])
      return said(true, '')
    },
    async actions() {
      const all = reviews.actions()
      const ended = all.filter(({ end }) => end !== undefined)
      return {
        open: openActions(all).map(one => actionSaid(one, options.line(), today(), wording)),
        ended: ended
          .toSorted((a, b) => (b.end?.at ?? 0) - (a.end?.at ?? 0))
          .slice(0, ROWS_MOST)
          .map(one => actionSaid(one, options.line(), today(), wording)),
      }
    },
    async addAction({ personId }, caseId, fields) {
      const trail = options.trail()
      if (trail === undefined) return said(false, wording('reviews-no-trail'))
      if (!isAllIn(reviews.scoresOf(caseId))) return said(false, wording('reviews-action-later'))
      const [says, owner, due] = ['says', 'owner', 'due'].map(name => fieldIn(fields, name).trim())
      const action = { caseId, says: says ?? '', owner: owner ?? '', due: due ?? '', at: now(), by: personId }
      const fault = actionFault(action, new Set(ownersIn(options.line()).map(({ id }) => id)), today())
      if (fault !== undefined) return said(false, wording(`reviews-action-fault-${fault}`))
      reviews.addAction(action)
      await trail.change(
        { at: now(), who: personId, did: 'review-action', on: caseId, after: `${action.owner}, ${action.due}` },
        [],
      )
      return said(true, '')
    },
    async endAction({ personId }, number, fields) {
      const trail = options.trail()
      if (trail === undefined) return said(false, wording('reviews-no-trail'))
      const how = ENDS.find(end => end === fieldIn(fields, 'how'))
      const says = fieldIn(fields, 'says').trim()
      const isEnded =
        how !== undefined && isSaid(says) && reviews.endAction(number, { how, says, at: now(), by: personId })
      if (!isEnded) return said(false, wording('reviews-action-end-not'))
      await trail.change({ at: now(), who: personId, did: 'review-action-ended', on: String(number), after: how }, [])
      return said(true, '')
    },
    async report(month) {
      const rubric = options.rubric()
      const found = reviewFigures(rubric, reviews.scores(month), caseId => reviews.summary(caseId)?.decided)
      return [...actionTables(reviews.actions()), ...reviewTables(rubric, found)]
    },
    async figures(month) {
      return options.figures.ready(month, String(reviews.summarisedTo() ?? 0))
    },
  }
}

/** Whoever still has to score a case must not read in an action what another found. */
const isAllIn = (scores: readonly Score[]): boolean => ['agreed', 'settled'].includes(standingOf(scores).kind)

const ownersIn = ({ clinic }: Line): readonly { readonly id: string; readonly name: string }[] =>
  peopleThere(clinic).map(({ id, name }) => ({ id, name }))

function actionSaid(
  { number, caseId, says, owner, due, end }: ReviewAction,
  { clinic }: Line,
  day: string,
  wording: Wording,
) {
  const name = clinic.people.find(({ id }) => id === owner)?.name ?? owner
  const line =
    end === undefined
      ? wording(due < day ? 'reviews-action-over' : 'reviews-action-line', { name, until: due })
      : `${wording(`reviews-action-end-${end.how}`)}: ${end.says}`
  return { number, caseId, says, line }
}

const said = (isDone: boolean, says: string): ReviewSaid => ({ isDone, says })

/** Those that wait for this person first, then those that wait for another, then those that are done. */
function sortedFor(rows: readonly QueueRow[], personId: string): readonly (QueueRow & { readonly number: number })[] {
  const rank = ({ scores }: QueueRow): number => {
    if (mayNotScore(scores, personId) === undefined) return standingOf(scores).kind === 'conflict' ? 0 : 1
    return standingOf(scores).kind === 'waits' ? 2 : 3
  }
  return rows
    .map((row, index) => ({ ...row, number: index + 1 }))
    .sort((a, b) => rank(a) - rank(b) || a.number - b.number)
}

function rowSaid(
  { caseId, number, reasons, scores }: QueueRow & { number: number },
  personId: string,
  wording: Wording,
) {
  const standing = standingOf(scores)
  const state =
    standing.kind === 'waits'
      ? wording('reviews-waits', { count: 2 - standing.scores })
      : wording(`reviews-${standing.kind}`)
  const own = mayNotScore(scores, personId) === 'own' ? ` ${wording('reviews-yours-in')}` : ''
  return {
    caseId,
    number,
    why: reasons.map(reason => wording(`reviews-reason-${reason}`)).join(' · '),
    standing: `${state}${own}`,
  }
}

function monthSaid({ cases, picked }: { cases: number; picked?: number }, wording: Wording): string {
  return picked === undefined
    ? wording('reviews-month-open', { label: cases.toLocaleString('en') })
    : wording('reviews-month-drawn', {
        label: cases.toLocaleString('en'),
        answer: picked.toLocaleString('en'),
      })
}

/** "0 min 0 s", "1 h 4 min 12 s": to the second, since how fast it went is part of what is judged. */
function elapsedText(milliseconds: number): string {
  const seconds = Math.max(0, Math.round(milliseconds / 1000))
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60]
  // A number is not torn from its unit.
  return [...(hours > 0 ? [`${hours}\u00A0h`] : []), `${minutes}\u00A0min`, `${seconds % 60}\u00A0s`].join(' ')
}

function momentOf(line: Line, { at, event, effects, state }: WalkedStep, from: Instant, wording: Wording): Moment {
  // Who it was is no part of what is judged: an id is often half a name.
  const called = (id: string) =>
    line.clinic.people.find(person => person.id === id)?.job ??
    line.clinic.desks.find(desk => desk.id === id)?.name ??
    '▢'
  const words = 'said' in event && event.said !== undefined && event.said !== '' ? ` “${event.said}”` : ''
  return {
    clock: clockOf(line, at),
    since: wording('reviews-since', { answer: elapsedText(at - from) }),
    happened: `${happenedLine(line, state, event, at, called)}${words}`,
    decided: decidedLines(line, state, effects, at, called),
  }
}

/** The flow's sheets with the way marked as far as it is shown. */
function sheetsAt(line: Line, steps: readonly WalkedStep[], step: number): ReturnType<typeof sheetsOf> {
  const last = steps[Math.min(step, steps.length) - 1]
  const flow = last === undefined ? undefined : line.flows.flows.get(last.state.concern)
  if (flow === undefined || last === undefined) return []
  const came = Object.entries(last.state.enteredAt).sort(([, one], [, other]) => one - other)
  const order = new Map(came.map(([id], index) => [id, index + 1]))
  return sheetsOf(flowPicture(flow, line.flows, staffLine(line).language), {
    title: 'The way of this case as far as it is shown, in numbers; pale: not come to',
    markOf: id => order.get(id)?.toString(),
    isPale: id => !order.has(id),
  })
}

function scoreSaid({ answers, safe, should, note }: Score, number: number, rubric: Rubric, wording: Wording) {
  const no = rubric.items
    .filter(({ id }) => answers[id] === 'no')
    .map(({ asks }) => `${wording('reviews-no')}: ${asks}`)
  return {
    head: wording('reviews-score-of', { count: number }),
    lines: [
      `${wording(safe ? 'reviews-safe' : 'reviews-unsafe')} · ${wording(`reviews-should-${should}`)}`,
      ...no,
      ...(note === undefined ? [] : [note]),
    ],
  }
}

function scoreIn(
  rubric: Rubric,
  caseId: string,
  reviewer: string,
  at: Instant,
  fields: Fields,
): { readonly score: Score } | { readonly faults: readonly string[] } {
  const field = (name: string) => fields.get(name)?.[0] ?? ''
  const answers = Object.fromEntries(rubric.items.map(({ id }) => [id, field(`item.${id}`)]))
  const should = DISPOSITIONS.find(one => one === field('should'))
  const note = field('note').trim()
  const isSafe = field('safe')
  const faults = [
    ...scoreFaults(rubric, answers),
    ...(isSafe === 'safe' || isSafe === 'unsafe' ? [] : ['safe or unsafe']),
    ...(should === undefined ? ['the decision'] : []),
    ...noteFaults(note),
  ]
  if (faults.length > 0 || should === undefined) return { faults }
  return {
    score: {
      ...{ caseId, reviewer, at, rubric: rubric.version, answers: answers as Record<string, ItemAnswer> },
      ...{ safe: isSafe === 'safe', should },
      ...(note === '' ? {} : { note }),
    },
  }
}

// ---- Without names ----

/** Kept for fiction: stands for whatever number was given. */
const NO_NUMBER = '+12125550100'

/** The same case with names and numbers out, and of free words those that anybody may have said. */
function withoutNames(record: CaseRecord, known: ReadonlySet<string>): CaseRecord {
  const names: Names & { readonly caseId: string } = {
    ...KEEPS_ALL,
    caseId: record.caseId,
    personName: () => 'somebody of the clinic',
    words: text => maskedWords(text, word => known.has(word)),
    familyNumber: (_caseId, number) => (number === 'write-only' ? number : NO_NUMBER),
  }
  return {
    ...record,
    steps: record.steps.map(({ at, event, effects }) => ({
      at,
      event: deidentifiedEvent(event, names),
      effects: effects.map(effect => deidentifiedEffect(effect, names)),
    })),
  }
}

/** The line with its people under what they do: who it was is no part of what is judged. */
function nameless(line: Line): Line {
  const people = line.clinic.people.map(person => ({ ...person, name: person.job }))
  return { ...line, clinic: { ...line.clinic, people } }
}
