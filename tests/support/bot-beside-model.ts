/**
 * A case of the real bot beside a state of the model: each move of the model is made to happen to the case (an answer of
 * that class, an alarm at its moment, the clock brought to a crossing), and the case is read back as a state of the model.
 *
 * The model knows no lengths of time. So that every order of events can be made to happen, the case's waiting alarms are
 * brought to "due now" (as if the clinic had set another length, or the events before had come earlier). The windows of
 * the closure clock are set to seconds, so that no alarm is ever late: what lateness changes is the line's, not the flow's.
 */
import type { Answer } from '../../src/case/answer.ts'
import type { Effect } from '../../src/case/effect.ts'
import type { CaseEvent } from '../../src/case/event.ts'
import type { Line } from '../../src/case/line.ts'
import { type CaseState, openCase } from '../../src/case/state.ts'
import { step } from '../../src/case/step.ts'
import { closureOf, closureTimes, reachOf } from '../../src/clinical/closure.ts'
import type { Flow } from '../../src/flow/flow-set.ts'
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../src/flow/steps.ts'
import { bandOf, numbersToTry } from '../../src/modelcheck/model/bands.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import { saidIn } from '../../src/modelcheck/model/givable.ts'
import {
  type Cell,
  cellFor,
  classIn,
  type FlatFlow,
  SPENT,
  STATUS,
  urgencyOf,
} from '../../src/modelcheck/model/tables.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { NIGHT } from './a-line.ts'

const SECOND = 1_000
const SOONEST = 30 * SECOND
const LATEST = 60 * SECOND
const OVERDUE = 90 * SECOND

/** The case as it stands, and the instant of its latest event. */
export interface Beside {
  readonly state: CaseState
  readonly at: Instant
}

/** What a move did to the case. */
export interface Happened extends Beside {
  readonly entered: readonly string[]
  readonly effects: readonly Effect[]
}

export interface BotBeside {
  readonly line: Line
  /** The case after a move; `undefined` where no case can do it (said with a reason in `cannot`). */
  happen(from: Beside | undefined, move: Move, wanted: Int32Array): Happened | string
  /** The case as a state of the model. */
  read(beside: Beside): Int32Array
  /** One event at an instant. */
  does(from: Beside, event: CaseEvent, at: Instant): Happened
  begin(): Beside
}

/** @param line  its closure windows are replaced by seconds; the flow's kernel is listened to */
export function botBeside(given: Line, flat: FlatFlow): BotBeside {
  const entered: string[] = []
  const flow = listened(flat.flow, entered)
  const settings = {
    ...given.settings,
    'closure-soonest': SOONEST,
    'closure-latest': LATEST,
    'closure-overdue': OVERDUE,
  } as Line['settings']
  const flows = { ...given.flows, flows: new Map([...given.flows.flows, [flow.concern, flow]]) }
  const line: Line = { ...given, flows, settings: { ...settings, ...flat.policies } as Line['settings'] }
  const { fields: F, cells, nodes, fieldOf } = flat

  function does(from: Beside, event: CaseEvent, at: Instant): Happened {
    entered.length = 0
    const { state, effects } = step(line, from.state, event, at)
    return { state, at, effects, entered: [...entered] }
  }

  const begin = (): Beside => ({
    state: openCase(line, {
      caseId: 'case-1',
      chat: { channel: 'web', chat: 'family-1' },
      at: NIGHT,
      code: 'Sun 4719',
      concern: flow.concern,
    }),
    at: NIGHT,
  })

  function happen(from: Beside | undefined, move: Move, wanted: Int32Array): Happened | string {
    const here = from ?? begin()
    const at = instant(here.at + 1)
    const said = 'as said'
    switch (move.kind) {
      case 'opened':
        return opened(here, move, wanted, at)
      case 'answered': {
        const { open } = here.state
        if (open === undefined) return 'nothing is asked'
        return withAnswer(here, open.fact, move.arg, wanted, at, (ready, answer) =>
          does(ready, { kind: 'answerGiven', serial: open.serial, fact: open.fact, answer, said }, at),
        )
      }
      case 'corrected': {
        const fact = cells[move.arg]?.fact ?? ''
        return withAnswer(here, fact, move.branch >> 3, wanted, at, (ready, answer) => {
          const asked = does(ready, { kind: 'changeWanted', fact }, at)
          const { open } = asked.state
          if (open?.fact !== fact) return `"${fact}" is not asked for a change`
          return does(asked, { kind: 'answerGiven', serial: open.serial, fact, answer, said }, at)
        })
      }
      case 'danger-said':
        return does(here, { kind: 'dangerSaid', signs: ['breathing'], said }, at)
      case 'person-wanted':
        return does(here, { kind: 'personWanted', said }, at)
      case 'travel-refused':
        return does(here, { kind: 'travelRefused', said }, at)
      case 'left-said':
        return does(here, { kind: 'leftSaid', said }, at)
      case 'wrong-tap':
        return does(here, { kind: 'wrongTapSaid' }, at)
      case 'alarm':
        return fire(here, flat.alarms[move.arg]?.name ?? '', at)
      case 'time':
        return timePasses(here, move.arg, at)
      case 'grew-older':
        return grownOlder(here, move.arg, at)
      case 'restarted':
        return 'a restart stands for all corrections at once'
    }
  }

  function opened(here: Beside, move: Move, wanted: Int32Array, at: Instant): Happened | string {
    const facts: Record<string, Answer> = {}
    for (const { field, index } of saidIn(flat, move.arg)) {
      const cell = cells[field] as Cell
      facts[cell.fact] = answerFor(cell, index, at, OUT_AGO[wanted[F.elapsed] as number] ?? 0)
    }
    return does(here, { kind: 'caseOpened', concern: flow.concern, said: 'his tube is out', facts }, at)
  }

  /** Tries instants until the clock stands as the model says. */
  function withAnswer(
    here: Beside,
    fact: string,
    classIndex: number,
    wanted: Int32Array,
    at: Instant,
    run: (ready: Beside, answer: Answer) => Happened | string,
  ): Happened | string {
    const cell = cells[fieldOf.get(fact) ?? -1] as Cell
    const band = cell.domain.classes[classIndex]?.band
    if ((fact !== 'out-since' && fact !== 'travel') || band !== 'answered')
      return run(here, answerFor(cell, classIndex, at, 0))
    for (const ago of fact === 'out-since' ? TRIED_AGO : [0])
      for (const earlier of fact === 'out-since' ? TRIED_EARLIER : [0])
        for (const length of fact === 'travel' ? TRIED_LENGTHS : [0]) {
          const answer: Answer =
            fact === 'travel'
              ? { kind: 'length', atLeastMs: length, atMostMs: length }
              : { kind: 'moment', earliest: instant(at - ago), latest: at }
          const ready = fact === 'out-since' ? toldEarlier(here, earlier) : here
          const record = { answer, said: '', at, changed: false, given: false }
          const clock = clockOf({ ...ready.state, answers: { ...ready.state.answers, [fact]: record } }, at)
          if (clock[0] === wanted[F.elapsed] && clock[1] === wanted[F.timeLeft] && clock[2] === wanted[F.reachable])
            return run(ready, answer)
        }
    return 'no instants fit'
  }

  /** Whether the way is too long was settled when it was told. */
  function toldEarlier(here: Beside, earlierMs: number): Beside {
    const { travel } = here.state.answers
    if (travel === undefined || earlierMs === 0) return here
    const answers = { ...here.state.answers, travel: { ...travel, at: instant(here.at - earlierMs) } }
    return { ...here, state: { ...here.state, answers } }
  }

  function fire(here: Beside, name: string, at: Instant): Happened | string {
    if (name === UNANSWERED)
      return here.state.callout.urgency === 'speak' ? runOut(here, at) : 'the page is more urgent'
    if (name === LEFT) return 'never by itself'
    const alarm = here.state.alarms[name]
    if (alarm === undefined) return name === SILENT_ASK || name === SILENT_PAGE ? 'chased often enough' : 'not set'
    if (alarm.moment !== undefined && alarm.moment !== 'arrival') {
      const due = alarm.due
      const then = due > at ? due : at
      return does(crossed(here, then), { kind: 'alarmDue', name, due }, then)
    }
    return does(dueNow(here, name, at), { kind: 'alarmDue', name, due: at }, at)
  }

  /** The closure clock's own alarms up to an instant, before another of the same instant. */
  function crossed(here: Beside, then: Instant): Beside {
    let now = here
    for (;;) {
      const closure = now.state.alarms.closure
      if (closure === undefined || closure.due > then) return now
      now = does(now, { kind: 'alarmDue', name: 'closure', due: closure.due }, then)
    }
  }

  function dueNow(here: Beside, name: string, at: Instant): Beside {
    const alarm = here.state.alarms[name]
    if (alarm === undefined) return here
    const enteredAt = { ...here.state.enteredAt }
    for (const node of nodes) {
      const set = node.step.alarms.find(each => each.name === name)
      const length =
        set?.after === undefined ? undefined : (line.settings as never as Record<string, number>)[set.after]
      if (length !== undefined && node.id in enteredAt) enteredAt[node.id] = instant(at - length)
    }
    const { leftAt } = here.state
    const isArrival = alarm.moment === 'arrival' && leftAt !== undefined && alarm.due > at
    const state: CaseState = {
      ...here.state,
      enteredAt,
      // They left so much earlier.
      ...(isArrival ? { leftAt: instant(leftAt - (alarm.due - at)) } : {}),
      alarms: { ...here.state.alarms, [name]: { ...alarm, due: at } },
    }
    return { ...here, state }
  }

  /** Nobody on the ladder answers, up to the last rung. */
  function runOut(here: Beside, at: Instant): Happened | string {
    let now: Happened | undefined
    let from = here
    for (let rung = 0; rung < 4; rung++) {
      if (from.state.alarms.rung === undefined) return 'nobody is paged'
      now = does(dueNow(from, 'rung', at), { kind: 'alarmDue', name: 'rung', due: at }, at)
      if (now.state.kernel.callout === 'everyone') return now
      if (now.entered.length > 0) return 'a rung moved talk'
      from = now
    }
    return 'the ladder does not end'
  }

  /** To the next crossing: 0 leave-by, 1 the latest, 2 overdue. */
  function timePasses(here: Beside, to: number, at: Instant): Happened | string {
    const out = here.state.answers['out-since']?.answer
    if (out?.kind !== 'moment') return 'not known when it came out'
    const travel = here.state.answers.travel?.answer
    const times = closureTimes(out, travel?.kind === 'length' ? travel : undefined, line.settings)
    const crossing = to === 0 ? times.leaveBy : to === 1 ? times.latestAt : times.overdueAt
    const then = crossing > at ? crossing : at
    const now = crossed(here, then)
    return { entered: [], effects: [], state: { ...now.state, latestSeenAt: then }, at: then }
  }

  function grownOlder(here: Beside, classIndex: number, at: Instant): Happened {
    const cell = cells[fieldOf.get('first-placed') ?? -1] as Cell
    const record = here.state.answers['first-placed']
    const answer = answerFor(cell, classIndex, at, 0)
    const answers =
      record === undefined ? here.state.answers : { ...here.state.answers, 'first-placed': { ...record, answer } }
    return { entered: [], effects: [], at, state: { ...here.state, answers } }
  }

  // ---- Answers ----

  function answerFor(cell: Cell, classIndex: number, at: Instant, outAgo: number): Answer {
    const id = cell.domain.classes[classIndex]?.id ?? ''
    if (id === 'unsure') return { kind: 'unsure' }
    const { document } = cell.domain
    if (document['act-at-once'] === true) return { kind: 'many', values: [id === 'a-sign' ? 'breathing' : id] }
    switch (document.kind) {
      case 'choice':
        return { kind: 'choice', value: id }
      case 'many':
        return { kind: 'many', values: id.split('+') }
      case 'phone':
        return { kind: 'phone', number: id === 'write-only' ? 'write-only' : '+12125550142' }
      case 'length':
        return cell.fact === 'age' ? ofAge(id) : { kind: 'length', atLeastMs: 10 * SECOND, atMostMs: 10 * SECOND }
      case 'number':
        return document.values?.includes(id) === true ? { kind: 'choice', value: id } : ofNumber(cell.fact, id, at)
      case 'date':
        return date(at, id)
      default:
        return cell.fact === 'last-wet'
          ? wetAgo(id, at)
          : { kind: 'moment', earliest: instant(at - outAgo), latest: at }
    }
  }

  function ofNumber(fact: string, id: string, at: Instant): Answer {
    const value = numbersToTry(line.settings, fact).find(
      one => id === 'answered' || bandOf(line.settings, fact, { kind: 'number', value: one }, at) === id,
    )
    return { kind: 'number', value: value ?? Number.NaN }
  }

  function wetAgo(id: string, at: Instant): Answer {
    const { 'no-urine-page': page, 'no-urine-hospital': hospital } = line.settings
    const ago = id === 'hospital' ? hospital : id === 'page' ? page : 0
    return { kind: 'moment', earliest: instant(at - ago), latest: instant(at - ago) }
  }

  function date(at: Instant, band: string): Answer {
    const { 'first-days': firstDays, 'tract-settled-after': settled } = line.settings
    const ago =
      band === 'under-first-days' ? firstDays / 2 : band === 'under-settled' ? (firstDays + settled) / 2 : settled * 2
    return { kind: 'moment', earliest: instant(at - ago), latest: instant(at - ago) }
  }

  function classOf(cell: Cell, answer: Answer, at: Instant): number {
    const { document, classes } = cell.domain
    const named = (member: string) => classes.findIndex(each => each.members.includes(member))
    switch (answer.kind) {
      case 'unsure':
        return named('unsure')
      case 'phone':
        return named(answer.number === 'write-only' ? 'write-only' : 'answered')
      case 'choice':
      case 'length':
      case 'number':
      case 'moment': {
        const band = named(bandOf(line.settings, cell.fact, answer, at))
        return band >= 0 ? band : named('answered')
      }
      case 'many': {
        if (document['act-at-once'] === true)
          return named(
            answer.values.some(value => !(document.apart ?? []).includes(value)) ? 'a-sign' : (answer.values[0] ?? ''),
          )
        const inOrder = (document.values ?? []).filter(value => answer.values.includes(value))
        const whole = named(inOrder.join('+'))
        if (whole >= 0) return whole
        // Values that no condition names do not tell lists apart.
        const known = new Set(classes.flatMap(each => each.members.flatMap(member => member.split('+'))))
        const told = inOrder.filter(value => known.has(value))
        return named(told.join('+'))
      }
    }
  }

  // ---- Reading ----

  function clockOf(state: CaseState, at: Instant): readonly [number, number, number] {
    const out = state.answers['out-since']?.answer
    const travel = state.answers.travel
    if (out?.kind !== 'moment') return [0, 0, 0]
    const way = travel?.answer.kind === 'length' ? travel.answer : undefined
    const times = closureTimes(out, way, line.settings)
    const now = at > state.latestSeenAt ? at : state.latestSeenAt
    const band = closureOf(times, now)
    const elapsed = band === 'overdue' ? 2 : band === 'past-latest' ? 1 : 0
    const reach = way === undefined ? 0 : Number(reachOf(out, way, line.settings, travel?.at ?? at) === 'in-time')
    return [elapsed, Number(way !== undefined && band === 'time-left'), reach]
  }

  function read({ state, at }: Beside): Int32Array {
    const out = new Int32Array(F.count)
    cells.forEach((cell, field) => {
      if (cell.domain.document.settable === true) {
        const value = state.kernel.facts[cell.fact]
        const index = value === undefined ? -1 : cell.domain.classes.findIndex(each => each.members.includes(value))
        if (index >= 0) out[field] = cellFor(cell, STATUS.reached, index)
        return
      }
      const record = state.answers[cell.fact]
      if (record === undefined) return
      const status = record.given
        ? STATUS.given
        : state.path.asked.includes(cell.fact)
          ? STATUS.reached
          : STATUS.recorded
      out[field] = cellFor(cell, status, classOf(cell, record.answer, at))
    })
    const [elapsed, timeLeft, reachable] = clockOf(state, at)
    out[F.elapsed] = elapsed
    out[F.timeLeft] = timeLeft
    out[F.reachable] = reachable
    out[F.talk] = flat.nodeOf.get(state.kernel.talk) ?? -1
    out[F.decided] = urgencyOf(state.path.decided)
    out[F.floor] = urgencyOf(state.floor)
    out[F.interrupted] = Number(state.interrupted)
    out[F.danger] = Number(state.danger !== undefined)
    out[F.left] = Number(state.leftAt !== undefined)
    out[F.paged] = Number(state.callout.startedAt !== undefined)
    out[F.ranOut] = Number(state.callout.everyoneAt !== undefined)
    flat.alarms.forEach(({ name }, alarm) => {
      if (name === SILENT_ASK || name === SILENT_PAGE) return
      if (name in state.alarms) out[F.armed + alarm] = 1
      else if (flat.canBeSpent[alarm] === true && (state.spent ?? []).includes(name)) out[F.armed + alarm] = SPENT
    })
    const fired = state.firedOnPath.map(name => (flat.alarmOf.get(name) ?? -1) + 1)
    const last = fired.filter((alarm, index) => fired.lastIndexOf(alarm) === index)
    last.forEach((alarm, index) => {
      out[F.fired + index] = alarm
    })
    flat.hazardous.forEach((id, index) => {
      if (id in state.inForce) out[F.inForce + index] = 1
    })
    return out
  }

  return { line, happen, read, does, begin }
}

/** An age in each band, in days. */
const AGES: Readonly<Record<string, number>> = {
  'under-3-months': 30,
  '3-to-6-months': 120,
  '6-months-to-5-years': 700,
  '5-years-and-over': 4_000,
}
const ofAge = (band: string): Answer => {
  const length = (AGES[band] ?? 700) * 86_400_000
  return { kind: 'length', atLeastMs: length, atMostMs: length }
}

const OUT_AGO = [0, LATEST, OVERDUE]
const TRIED_AGO = [0, 5, 10, 15, 20, 25, 28, 32, 40, 50, 55, 58, 60, 65, 75, 85, 90, 100].map(
  seconds => seconds * SECOND,
)
const TRIED_EARLIER = [0, 10, 20, 40, 60, 90, 120].map(seconds => seconds * SECOND)
const TRIED_LENGTHS = [1, 5, 10, 15, 20, 25, 28, 32, 40, 50, 55, 58, 60, 70, 80, 90].map(seconds => seconds * SECOND)

/** The flow with its kernel listened to. */
function listened(flow: Flow, entered: string[]): Flow {
  const { kernel } = flow
  return {
    ...flow,
    kernel: {
      ...kernel,
      step(state, event) {
        const next = kernel.step(state, event)
        for (const effect of next.effects) if (effect.kind === 'entered') entered.push(effect.step)
        return next
      },
    },
  }
}

/** A state in words, for a message. */
export function stateText(flat: FlatFlow, state: Int32Array): string {
  const { fields: F } = flat
  const facts = flat.cells.flatMap((cell, field) => {
    const value = state[field] as number
    const status =
      cell.domain.document.settable === true
        ? ''
        : ['', '?', '', '!'][1 + Math.floor((value - 1) / cell.domain.classes.length)]
    return value === 0 ? [] : [`${cell.fact}=${classIn(cell, value)?.id}${status}`]
  })
  const named = (
    [
      'elapsed',
      'timeLeft',
      'reachable',
      'decided',
      'floor',
      'interrupted',
      'danger',
      'left',
      'paged',
      'ranOut',
    ] as const
  )
    .filter(name => state[F[name]] !== 0)
    .map(name => `${name}=${state[F[name]]}`)
  const armed = flat.alarms.flatMap(({ name }, alarm) =>
    state[F.armed + alarm] === 0 ? [] : [`${state[F.armed + alarm] === 1 ? 'armed' : 'spent'}:${name}`],
  )
  const fired = Array.from({ length: F.firedMost }, (_, at) => state[F.fired + at] as number).flatMap(alarm =>
    alarm === 0 ? [] : [`fired:${flat.alarms[alarm - 1]?.name}`],
  )
  const inForce = flat.hazardous.flatMap((id, at) => (state[F.inForce + at] === 1 ? [`says:${id}`] : []))
  return [flat.nodes[state[F.talk] as number]?.id, ...facts, ...named, ...armed, ...fired, ...inForce].join(' ')
}

/** A move in words, for a message. */
export function moveText(flat: FlatFlow, move: Move): string {
  const name =
    move.kind === 'alarm'
      ? flat.alarms[move.arg]?.name
      : move.kind === 'corrected'
        ? flat.cells[move.arg]?.fact
        : move.arg
  return `${move.kind} ${name} ${move.branch}`
}
