/**
 * A recorded case on another line: what the family and the clinicians did is taken from the record, what the line does is worked out.
 *
 * - What the family answered is kept by fact. Where the other line asks in another order, an answer that was given is given when it
 *   is asked for; what was never asked is answered in every way (`every-answer.ts`), and each is followed to its end.
 * - A family that stopped answering stops there too: a question it left open stays open.
 * - Clinicians act at the instants at which they did. One who was not paged by then does nothing.
 * - Alarms are the other line's own. One that the record has as well fires when it did, late ones late.
 */
import { type Answer, numberGiven } from '../case/answer.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { Line } from '../case/line.ts'
import type { CaseState } from '../case/state.ts'
import { step } from '../case/step.ts'
import { after, hours, type Instant, instant } from '../time/instant.ts'
import { everyAnswer } from './every-answer.ts'
import { type Gathering, gathering, type Outcome } from './outcome.ts'
import { openedFrom } from './run.ts'
import { askedIn, differenceAt } from './run-difference.ts'
import type { CaseLine } from './transcript.ts'

type Event = CaseEvent & InLanguage

/** One step of the run that the record is of. */
export interface BaseStep {
  readonly at: Instant
  readonly event: Event
  readonly effects: readonly Effect[]
  /** The case before and after; undefined before its first step, and where people took it over. */
  readonly before: CaseState | undefined
  readonly state: CaseState | undefined
}

/** One step of the other run. */
export interface OtherStep {
  readonly at: Instant
  readonly event: Event
  readonly effects: readonly Effect[]
  readonly state: CaseState
}

export interface OtherRun {
  readonly outcome: Outcome
  /** What was answered that nobody was ever asked. */
  readonly explored: readonly { readonly fact: string; readonly answer: Answer }[]
  /** Where it first goes another way; undefined where it never does. */
  readonly cause?: string
  /** A step broke: the case would be handed to people. */
  readonly broken?: string
  readonly steps: readonly OtherStep[]
}

export interface OtherRuns {
  readonly runs: readonly OtherRun[]
  /** More ways were there than are followed: what is given is no whole range. */
  readonly isPartial: boolean
}

/** Ways of one case that are followed. */
const RUNS_MOST = 400
/** Questions in a row that nobody was ever asked. */
const EXPLORED_MOST = 8
/** How long after the last of the record the other line's own alarms are let come, where the case had ended. */
const TAIL = hours(24)
const ALARMS_MOST = 200

/** A run under way. */
interface Way {
  state: CaseState | undefined
  /** Index of the step of the record that comes next. */
  next: number
  /** That step is being answered: what the record holds is given for as long as it is asked for. */
  isAnswering: boolean
  /** What was decided since that step came. */
  fresh: Effect[]
  /** Where talk stood before it. */
  talk: string
  at: Instant
  alarms: Map<string, Instant>
  /** How many of the record's answers to a fact were given. */
  given: Map<string, number>
  /** Answers that may still be given at this step of the record beside those given by then. */
  budget: number
  explored: { fact: string; answer: Answer }[]
  gathered: Gathering
  cause: string | undefined
  broken: string | undefined
  steps: OtherStep[]
}

/**
 * @param keepsSteps  steps are kept for showing; else only what they came to
 */
export function otherRuns(
  head: CaseLine,
  base: readonly BaseStep[],
  lineAt: (index: number) => Line,
  keepsSteps: boolean,
): OtherRuns {
  const answers = answersOf(base)
  const baseAsked = new Set(base.flatMap(({ effects }) => askedIn(effects)))
  const baseEnd = base.at(-1)?.state
  const isAnsweredOut = baseEnd !== undefined && baseEnd.open === undefined
  const baseAlarms = alarmsBefore(base)
  const waiting: Way[] = [
    {
      ...{ state: undefined, next: 0, isAnswering: false, fresh: [], talk: '', at: instant(head.openedAt) },
      ...{
        alarms: new Map(),
        given: new Map(),
        budget: 0,
        explored: [],
        gathered: gathering(),
        cause: undefined,
        broken: undefined,
        steps: [],
      },
    },
  ]
  const done: Way[] = []
  let isPartial = false

  function feed(way: Way, event: Event, at: Instant): readonly Effect[] {
    const line = lineAt(Math.min(way.next, base.length - 1))
    const before = way.state ?? openedFrom(line, head)
    try {
      const { state, effects } = step(line, before, event, at)
      way.state = state
      way.at = at
      for (const effect of effects) {
        if (effect.kind === 'setAlarm') way.alarms.set(effect.name, effect.due)
        if (effect.kind === 'cancelAlarm') way.alarms.delete(effect.name)
      }
      way.gathered.add(effects, state, line, at)
      way.fresh.push(...effects)
      if (keepsSteps) way.steps.push({ at, event, effects, state })
      return effects
    } catch (error) {
      way.broken = error instanceof Error ? `${error.name}: ${error.message}` : 'it breaks'
      way.cause ??= `the step breaks at "${before.kernel.talk}"`
      return []
    }
  }

  /** The earliest alarm due by `until` that is the other line's own. */
  function ownAlarm(way: Way, until: Instant, shared: ReadonlyMap<string, Instant> | undefined) {
    let first: readonly [name: string, due: Instant] | undefined
    for (const [name, due] of way.alarms)
      if (due <= until && shared?.get(name) !== due && (first === undefined || due < first[1])) first = [name, due]
    return first
  }

  function fireUntil(way: Way, until: Instant, shared?: ReadonlyMap<string, Instant>): void {
    for (let count = 0; count < ALARMS_MOST && way.broken === undefined; count += 1) {
      const found = way.state?.closed === true ? undefined : ownAlarm(way, until, shared)
      if (found === undefined) return
      const [name, due] = found
      const talk = way.state?.kernel.talk ?? ''
      way.alarms.delete(name)
      const effects = feed(way, { kind: 'alarmDue', name, due }, instant(Math.max(due, way.at)))
      if (effects.length > 0) way.cause ??= `at "${talk}": the alarm "${name}" comes, which did not come`
    }
  }

  /** Gives what the record has to what is open now. False where ways part: they wait, each with its answer. */
  function answerOpen(way: Way, at: Instant): boolean {
    for (let count = 0; count < 60; count += 1) {
      const open = way.broken === undefined ? way.state?.open : undefined
      if (open === undefined || way.state === undefined) return true
      if (open.readBack !== undefined) {
        feed(way, { kind: 'readBackAnswered', serial: open.serial, right: true, said: '' }, at)
        continue
      }
      const recorded = answers.get(open.fact)
      const next = recorded?.[way.given.get(open.fact) ?? 0]
      if (next !== undefined && (next.at <= at || way.budget > 0)) {
        if (next.at > at) way.budget -= 1
        give(way, open.fact, next, at)
        continue
      }
      if (recorded !== undefined || baseAsked.has(open.fact) || way.explored.length >= EXPLORED_MOST) {
        if (way.explored.length >= EXPLORED_MOST && recorded === undefined) isPartial = true
        return true
      }
      explore(way, way.state, open.fact, at)
      return false
    }
    return true
  }

  function give(way: Way, fact: string, { answer, phone }: Given, at: Instant): void {
    way.given.set(fact, (way.given.get(fact) ?? 0) + 1)
    const serial = way.state?.open?.serial ?? 0
    feed(way, { kind: 'answerGiven', serial, fact, answer, said: '', ...(phone === undefined ? {} : { phone }) }, at)
  }

  function explore(way: Way, state: CaseState, fact: string, at: Instant): void {
    way.cause ??= `at "${state.kernel.talk}": asks for "${fact}", which nobody was asked`
    const line = lineAt(Math.min(way.next, base.length - 1))
    for (const answer of everyAnswer(line, state, fact, at)) {
      if (waiting.length + done.length >= RUNS_MOST) {
        isPartial = true
        return
      }
      const copy: Way = {
        ...way,
        alarms: new Map(way.alarms),
        given: new Map(way.given),
        explored: [...way.explored, { fact, answer }],
        gathered: way.gathered.copy(),
        steps: [...way.steps],
        fresh: [...way.fresh],
      }
      const serial = state.open?.serial ?? 0
      feed(copy, { kind: 'answerGiven', serial, fact, answer, said: '', ...numberGiven(answer) }, at)
      waiting.push(copy)
    }
  }

  /** One event of the record; an answer to what is not open leaves the way answering. */
  function take(way: Way, one: BaseStep): void {
    const { event, at } = one
    const open = way.state?.open
    switch (event.kind) {
      case 'answerGiven': {
        if (one.before?.open?.serial !== event.serial) {
          feed(way, { kind: 'staleAnswer', serial: 0, said: event.said }, at)
          return
        }
        if (open?.fact === event.fact && open.readBack === undefined) {
          way.given.set(event.fact, (way.given.get(event.fact) ?? 0) + 1)
          feed(way, { ...event, serial: open.serial }, at)
          return
        }
        way.budget = 1
        way.isAnswering = true
        return
      }
      case 'readBackAnswered':
        if (open?.readBack !== undefined) feed(way, { ...event, serial: open.serial }, at)
        return
      case 'alarmDue':
        if (way.alarms.get(event.name) !== event.due) return
        way.alarms.delete(event.name)
        feed(way, event, at)
        return
      case 'pageSettled': {
        const page = way.state?.callout.pages.findLast(each => each.to === event.to && each.outcome === 'sent')
        if (page !== undefined) feed(way, { ...event, pageId: `${head.case}.${page.seq ?? 0}.0` }, at)
        return
      }
      case 'pageAcknowledged':
      case 'callMade':
      case 'passedOn':
        if (way.state !== undefined && way.state.kernel.callout !== 'idle') feed(way, event, at)
        return
      default:
        feed(way, event, at)
    }
  }

  /** Goes on to its end, or to where ways part. */
  function follow(way: Way): void {
    for (let one = base[way.next]; one !== undefined && way.broken === undefined; one = base[way.next]) {
      if (!way.isAnswering) {
        way.fresh = []
        way.talk = way.state?.kernel.talk ?? ''
        fireUntil(way, one.at, baseAlarms[way.next])
        way.fresh = []
        if (way.broken === undefined) take(way, one)
      }
      if (way.isAnswering && !answerOpen(way, one.at)) return
      way.cause ??= differenceAt(way.talk, one, way.fresh, way.state)
      way.isAnswering = false
      way.budget = 0
      way.next += 1
    }
    if (way.broken === undefined && isAnsweredOut && !answerOpen(way, way.at)) return
    const end = base.at(-1)?.at ?? way.at
    if (way.broken === undefined) fireUntil(way, baseEnd?.closed === true ? after(end, TAIL) : end)
    done.push(way)
  }

  for (let way = waiting.pop(); way !== undefined; way = waiting.pop()) follow(way)
  return {
    runs: done.map(({ gathered, explored, cause, broken, steps }) => ({
      outcome: gathered.outcome,
      explored,
      ...(cause === undefined ? {} : { cause }),
      ...(broken === undefined ? {} : { broken }),
      steps,
    })),
    isPartial,
  }
}

interface Given {
  readonly answer: Answer
  readonly at: Instant
  /** Where the number of it was read back. */
  readonly phone?: string | undefined
}

/** The answers that counted, by fact, in order: a time read back counts once it was said to be right. */
function answersOf(base: readonly BaseStep[]): ReadonlyMap<string, readonly Given[]> {
  const answers = new Map<string, Given[]>()
  const add = (fact: string, given: Given) => answers.set(fact, [...(answers.get(fact) ?? []), given])
  for (const { event, before, at } of base) {
    const open = before?.open
    if (event.kind === 'answerGiven' && open?.serial === event.serial && event.readBack === undefined)
      add(event.fact, { answer: event.answer, at, phone: event.phone })
    if (event.kind === 'readBackAnswered' && event.right && open?.readBack !== undefined)
      add(open.fact, { answer: open.readBack.answer, at })
  }
  return answers
}

/** The record's alarms as they stood before each of its steps. */
function alarmsBefore(base: readonly BaseStep[]): readonly ReadonlyMap<string, Instant>[] {
  const alarms = new Map<string, Instant>()
  return base.map(({ event, effects }) => {
    const before = new Map(alarms)
    if (event.kind === 'alarmDue') alarms.delete(event.name)
    for (const effect of effects) {
      if (effect.kind === 'setAlarm') alarms.set(effect.name, effect.due)
      if (effect.kind === 'cancelAlarm') alarms.delete(effect.name)
    }
    return before
  })
}
