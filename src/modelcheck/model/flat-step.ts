/**
 * What can happen to a case, over the flat tables: the same as `case/step.ts` does with instants and words, without them.
 * Each event may have several outcomes where only time or an answer's exact value decides; all are given.
 *
 * Two things are wider here than in the bot, so that nothing it can do is left out: a correction clears all answers (what
 * is history stays), and an alarm at a moment may fire at or after it. `tests/modelcheck` holds model and bot together.
 */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'
import { olderClasses } from './abstract-answers.ts'
import { ELAPSED } from './abstract-derived.ts'
import { aheadOf, alarmsStillIn } from './alarms-ahead.ts'
import { messagesOf, type Said, saidIn } from './givable.ts'
import { laterFields } from './later-facts.ts'
import { alarmsSetFrom, historyOf, isPassing, rejoinsIn, takingBack } from './rejoin.ts'
import { orderIn, reachIn } from './steps-ahead.ts'
import {
  type Cell,
  cellFor,
  type FlatFlow,
  type FlatNode,
  holds,
  RESUME,
  SPENT,
  STATUS,
  seenIn,
  statusIn,
  urgencyOf,
} from './tables.ts'

/** One thing that happens, as numbers; `arg` and `branch` are explained at each kind. */
export interface Move {
  readonly kind: MoveKind
  /**
   * `answered`: class; `alarm`: alarm; `corrected`: field; `opened`, and where talk begins anew: what the first message says.
   */
  readonly arg: number
  /** `answered`, `opened`, talk begun anew: how time stands after it; `corrected`: the class × 8 and how time stands after it. */
  readonly branch: number
}

export const MOVES = [
  'opened',
  'answered',
  'danger-said',
  'person-wanted',
  'travel-refused',
  'left-said',
  'wrong-tap',
  'alarm',
  'time',
  'restarted',
  'grew-older',
  'corrected',
] as const
export type MoveKind = (typeof MOVES)[number]

/** Called at every step that is entered, before its effects. The state may not be kept or changed. */
export type OnEntered = (node: number, state: Int32Array, how: Entering) => void

export interface Entering {
  /** Talk is being replayed: advice in force is not said again, pages known are not sent again. */
  replaying: boolean
  interrupted: boolean
}

export interface Mover {
  /** Every way a case can begin. */
  starts(visit: (move: Move, next: Int32Array) => void): void
  /** Every next state of a state; `next` is reused, copy what is kept. */
  moves(state: Int32Array, visit: (move: Move, next: Int32Array) => void): void
  /** Applies one move again (for a counterexample). @throws where it cannot happen */
  again(state: Int32Array | undefined, move: Move): Int32Array
  onEntered: OnEntered
  /** The row of its route by which a step is left. */
  onRouted: (node: number, row: number) => void
  /** One kernel step at a time, for the comparison with the machine that serves. */
  onDriven: OnDriven
}

/** `turned`: talk that returns goes another way from a step on its path; the machine comes there by a replay. */
export type DrivenEvent =
  | 'talkRestarted'
  | 'answered'
  | 'alarmDue'
  | 'dangerSaid'
  | 'personWanted'
  | 'travelRefused'
  | 'turned'

/** What one kernel event did: entered nodes in order, and where talk stands (`RESUME`: in "resuming"). */
export interface Driven {
  readonly event: DrivenEvent
  readonly alarm: number
  /** Where talk stood; -1 before it began. */
  readonly from: number
  readonly before: Int32Array
  readonly entered: readonly number[]
  readonly to: number
}

/** Arrays are reused. */
export type OnDriven = (driven: Driven) => void

/** How talk begins anew: with nothing said before, and with all that a first message may say. */
export type Anew = 'restarted' | 'wrong-tap' | 'restarted-told' | 'wrong-tap-told' | 'travel-refused-told'

export interface MoverOptions {
  /** `restart`: a change clears all answers. `exact`: each answer on the way is changed to each other. `none`: no changes. */
  readonly corrections?: 'restart' | 'exact' | 'none'
  /** Words and taps that come at any moment. */
  readonly interruptions?: boolean
  /**
   * Where talk goes on after an interruption. `replay`: from the start with the answers on record, as the bot does.
   * `return`: to the step it stood at, unless a step on the way would now route another way; then from there. The same,
   * without the answers that nothing reads any more.
   */
  readonly resume?: 'replay' | 'return'
  /**
   * Asked before talk begins anew with nothing answered, of the state it begins from with all that is forgotten at 0: whether
   * that has been walked. It is then left out.
   */
  readonly isWalked?: (kind: Anew, from: Int32Array) => boolean
  /** Talk that runs longer than this without resting is reported as never resting. */
  readonly stepsMost?: number
}

/** A flow that goes in a circle without asking. */
export class NeverRests extends Error {
  override readonly name = 'NeverRests'
  readonly steps: readonly string[]
  constructor(steps: readonly string[]) {
    super(`the flow goes in a circle without a question: ${steps.join(' → ')}`)
    this.steps = steps
  }
}

const ignored = (): void => {}

export function mover(flat: FlatFlow, options: MoverOptions = {}): Mover {
  const { corrections = 'restart', interruptions = true, stepsMost = 400 } = options
  const returns = options.resume === 'return'
  const { nodes, cells, fields: F, fieldOf, alarms, nodeOf } = flat
  const state = new Int32Array(F.count)
  const how: Entering = { replaying: false, interrupted: false }
  const cellOf = (fact: string) => fieldOf.get(fact) ?? -1
  const OUT = cellOf('out-since')
  const TRAVEL = cellOf('travel')
  const LEFT_FACT = cellOf('have-you-left')
  const ARRIVED = cellOf('have-you-arrived')
  const CAN_TRAVEL = cellOf('can-travel')
  const SIGNS = cellOf('danger-signs')
  const PLACED = cellOf('first-placed')
  const DANGER_FACTS = ['danger-signs', 'wakes', 'breathes', 'colour-ok'].map(cellOf).filter(field => field >= 0)
  const EMERGENCY = nodeOf.get('shared/emergency') ?? -1
  const PERSON = nodeOf.get('shared/person') ?? -1
  const CANNOT_TRAVEL = nodeOf.get('shared/cannot-travel') ?? -1
  const alarmAt = (name: string) => flat.alarmOf.get(name) ?? -1
  const silentAsk = alarmAt(SILENT_ASK)
  const silentPage = alarmAt(SILENT_PAGE)
  const unanswered = alarmAt(UNANSWERED)
  const leftAlarm = alarmAt(LEFT)
  const hazardAt = new Map(flat.hazardous.map((id, index) => [id, F.inForce + index]))
  const hazardsOf = nodes.map(node => node.says.flatMap(id => hazardAt.get(id) ?? []))
  const isSticky = cells.map(cell => cell.domain.document.sticky === true)
  const isSet = cells.map(cell => cell.domain.document.settable === true)
  const SPEAK = urgencyOf('speak')
  const AMBULANCE = urgencyOf('ambulance')

  const turningAt = new Map(flat.turning.map((node, index) => [node, index]))
  const orderOf = orderIn(flat, flat.start)
  const turnsInOrder = flat.turning
    .map((_, index) => index)
    .toSorted((a, b) => (orderOf[flat.turning[a] ?? 0] ?? 0) - (orderOf[flat.turning[b] ?? 0] ?? 0))
  const joinOf = Int32Array.from(nodes, (_, at) => flat.joins.indexOf(at))
  const rejoinOf = rejoinsIn(flat)
  const takeBack = takingBack(flat)
  const isAhead = aheadOf(flat)
  const alarmsAheadOf = alarmsStillIn(flat)
  const history = historyOf(flat)
  const setFrom = alarmsSetFrom(flat)
  /** Where talk is off its path: what it passes there is not on the trail. */
  let offPath = false

  let resume = false
  let entered = 0
  const replayAlarms = new Uint8Array(alarms.length)
  const replayHazards = new Uint8Array(flat.hazardous.length)
  /** Nodes entered in the present kernel event. */
  const drivenNodes: number[] = []
  const self: Mover = { starts, moves, again, onEntered: () => {}, onRouted: () => {}, onDriven: ignored }
  let isCompared = false

  const get = (field: number): number => state[field] as number
  const seen = (field: number) => (field < 0 ? undefined : seenIn(cells[field] as never, get(field)))
  const statuses = cells.map(cell => Uint8Array.from({ length: cell.size }, (_, value) => statusIn(cell, value)))
  const status = (field: number) => (field < 0 ? STATUS.none : ((statuses[field] as Uint8Array)[get(field)] as number))
  const classAt = (field: number) => (get(field) - 1) % (cells[field]?.domain.classes.length ?? 1)

  function put(field: number, statusValue: number, classIndex: number): void {
    state[field] = cellFor(cells[field] as never, statusValue, classIndex)
  }
  function classNamed(field: number, member: string): number {
    return cells[field]?.domain.classes.findIndex(answer => answer.members.includes(member)) ?? -1
  }
  const classCounts = Int32Array.from(cells, cell => cell.domain.classes.length)
  /** Of a fact that is answered, never of one set by steps. */
  function restatus(field: number, statusValue: number): void {
    const count = classCounts[field] as number
    state[field] = 1 + (statusValue - 1) * count + ((get(field) - 1) % count)
  }

  // ---- The kernel with the shell's part of entering a step ----

  function route(node: FlatNode, at: number): number {
    for (const row of node.rows) {
      let fits = true
      for (const test of row.tests) {
        if (!holds(test, state)) {
          fits = false
          break
        }
      }
      if (fits) {
        self.onRouted(at, row.row)
        return row.go
      }
    }
    throw new Error(`step "${node.id}" has no row that fits`)
  }

  /** Routes and writes the way down where the step may route otherwise later. */
  function turn(at: number): number {
    const node = nodes[at] as FlatNode
    const go = route(node, at)
    const turning = returns && !offPath ? turningAt.get(at) : undefined
    if (turning !== undefined) {
      state[F.trail + turning] = 1 + node.rows.findIndex(row => row.go === go)
      state[F.decidedAt + turning] = get(F.decided)
    }
    return go
  }

  /** From a step until talk rests. Questions on record are answered from it, each answer a kernel event of its own. */
  function run(first: number, event: DrivenEvent, from: number, alarm = -1): void {
    let at = first
    let kind = event
    let origin = from
    let before = isCompared ? state.slice() : state
    drivenNodes.length = 0
    const done = (to: number) => {
      if (isCompared) self.onDriven({ event: kind, alarm, from: origin, before, entered: drivenNodes, to })
    }
    for (let steps = 0; ; steps++) {
      if (steps > stepsMost) throw new NeverRests(drivenNodes.slice(-12).map(each => nodes[each]?.id ?? ''))
      const node = nodes[at] as FlatNode
      enter(node, at)
      if (node.rests) {
        state[F.talk] = at
        done(at)
        return
      }
      if (node.ask >= 0) {
        if (node.again && !how.replaying) state[node.ask] = 0
        if (status(node.ask) === STATUS.none) {
          state[F.talk] = at
          done(at)
          return
        }
        if (status(node.ask) === STATUS.recorded) restatus(node.ask, STATUS.reached)
        done(at)
        kind = 'answered'
        origin = at
        before = isCompared ? state.slice() : state
        drivenNodes.length = 0
      }
      const next = turn(at)
      if (next === RESUME) {
        resume = true
        done(RESUME)
        return
      }
      at = next
    }
  }

  /** Goes on from the routing half of a step whose question was just answered. */
  function goOn(at: number): void {
    const next = turn(at)
    if (next === RESUME) {
      resume = true
      if (isCompared)
        self.onDriven({ event: 'answered', alarm: -1, from: at, before: state.slice(), entered: [], to: RESUME })
      return
    }
    run(next, 'answered', at)
  }

  function enter(node: FlatNode, at: number): void {
    if (node.isEmergency) {
      state[F.interrupted] = 1
      state[F.danger] = 1
    }
    if (returns && !offPath) {
      const join = joinOf[at] as number
      if (join >= 0) state[F.passed + join] = 1
    }
    how.interrupted = get(F.interrupted) === 1
    for (const { field, cell } of node.sets) state[field] = cell
    self.onEntered(at, state, how)
    entered++
    if (isCompared) drivenNodes.push(at)
    if (node.decides > 0) {
      const field = how.interrupted ? F.floor : F.decided
      if (node.decides > get(field)) state[field] = node.decides
    }
    for (const field of hazardsOf[at] as number[]) {
      state[field] = 1
      replayHazards[field - F.inForce] = 1
    }
    if (node.page !== undefined) state[F.paged] = 1
    for (const alarm of node.alarms) arm(alarm.alarm, alarm.moment)
    for (const alarm of node.cancels) state[F.armed + alarm] = 0
  }

  // ---- Alarms at moments ----

  const isOutKnown = () => seen(OUT)?.band === 'answered'
  const hasTimeLeft = () => get(F.timeLeft) === 1 && seen(TRAVEL)?.band === 'answered' && get(F.elapsed) === 0

  /** 'unknown' until answers make it known; whether it still lies ahead. */
  function momentOf(moment: string): 'unknown' | 'ahead' | 'past' {
    if (moment === 'arrival') return get(F.left) === 1 ? 'ahead' : 'unknown'
    if (!isOutKnown()) return 'unknown'
    if (moment === 'leave-by') return hasTimeLeft() ? 'ahead' : 'past'
    if (moment === 'closure-overdue') return get(F.elapsed) < ELAPSED.overdue ? 'ahead' : 'past'
    return get(F.elapsed) === ELAPSED.beforeLatest ? 'ahead' : 'past'
  }

  /** In a replay: alarms from this place on are still to be gone through again. */
  let comingFrom: number = F.firedMost

  function isToCome(alarm: number): boolean {
    for (let i = comingFrom; i < F.firedMost; i++) if (get(F.fired + i) === alarm + 1) return true
    return false
  }

  function arm(alarm: number, moment: string | undefined): void {
    replayAlarms[alarm] = 1
    if (moment === undefined || moment === 'arrival') {
      const armed = get(F.armed + alarm)
      if (how.replaying && (armed === SPENT || (armed === 0 && isToCome(alarm)))) return
      state[F.armed + alarm] = 1
      return
    }
    const stands = momentOf(moment)
    if (stands === 'ahead') waiting[alarm] = 0
    else if (stands === 'unknown' && get(F.armed + alarm) === 0) waiting[alarm] = 1
    if (stands !== 'past') state[F.armed + alarm] = 1
  }

  const momentsOf = alarms.map(({ name }) => {
    const document = nodes.flatMap(node => node.step.alarms).find(each => each.name === name)
    return document?.at
  })

  const waiting = new Uint8Array(alarms.length)
  const atMoments = momentsOf.flatMap((moment, alarm) => (moment === undefined || moment === 'arrival' ? [] : [alarm]))

  /** Alarms that are set, and wait for an answer to make their moment known. */
  function noteWaiting(): void {
    for (const alarm of atMoments) waiting[alarm] = Number(get(F.armed + alarm) === 1 && isWaiting(alarm))
  }
  const isWaiting = (alarm: number): boolean => momentOf(momentsOf[alarm] ?? '') === 'unknown'

  /** When all is done: one that waited, and whose moment turns out to be past, is not set. */
  function dropPast(): void {
    for (const alarm of atMoments) {
      if (waiting[alarm] === 0 || get(F.armed + alarm) === 0) continue
      if (momentOf(momentsOf[alarm] ?? '') === 'past') state[F.armed + alarm] = 0
    }
  }

  // ---- The shell ----

  /** Back to the path after an interruption. */
  function goBack(): void {
    if (!returns) {
      replay()
      return
    }
    resume = false
    const inEmergency = get(F.danger) === 1 && get(F.interrupted) === 1
    state[F.interrupted] = 0
    state[F.talk] = get(F.main)
    const wasReplaying = how.replaying
    how.replaying = true
    offPath = false
    for (const turning of turnsInOrder) {
      const taken = get(F.trail + turning) - 1
      if (taken < 0) continue
      const at = flat.turning[turning] as number
      const node = nodes[at] as FlatNode
      const go = routeAsThen(node, at, hiddenAt(at, at))
      if (node.rows[taken]?.go === go || go === RESUME || joinsAgain(turning, go)) continue
      divert(at, turning, go)
      break
    }
    backFromReplay(inEmergency, wasReplaying)
  }

  /** A replay is done: an emergency that stood is said anew, off the path. */
  function backFromReplay(inEmergency: boolean, wasReplaying: boolean): void {
    if (inEmergency) {
      offPath = true
      run(EMERGENCY, 'dangerSaid', get(F.talk))
      state[F.interrupted] = 1
    }
    how.replaying = wasReplaying
    resume = false
  }

  /** The way a step on the path routes in a replay: talk has not reached there what is asked after it. */
  function routeAsThen(node: FlatNode, at: number, fields: readonly number[]): number {
    for (let i = 0; i < fields.length; i++) {
      const field = fields[i] as number
      valuesThen[i] = get(field)
      if (status(field) === STATUS.reached) restatus(field, STATUS.recorded)
    }
    const go = route(node, at)
    for (let i = 0; i < fields.length; i++) state[fields[i] as number] = valuesThen[i] as number
    return go
  }
  const hiddenAt = laterFields(flat)
  const valuesThen = new Int32Array(cells.length)

  /**
   * Where the other way from a step joins the path again: goes that way up to there, and takes back what the path had in
   * between. Talk stays where it stands.
   */
  function joinsAgain(turning: number, go: number): boolean {
    if (get(F.mixed) === 1) return false
    const at = flat.turning[turning] as number
    const way: number[] = []
    let to = go
    while (to !== RESUME && isPassed[to] === 1) {
      if (way.includes(to)) return false
      way.push(to)
      to = routeAsThen(nodes[to] as FlatNode, to, hiddenAt(at, to))
    }
    const join = to === RESUME ? -1 : (joinOf[to] as number)
    if (join < 0 || get(F.passed + join) === 0) return false
    const rejoin = rejoinOf(
      turning,
      join,
      history.reduce((bits, field, bit) => bits | (Number(get(field) === 0) << bit), 0),
    )
    const alarmsAhead = alarmsAheadOf(state, mayRunOut())
    if (rejoin === undefined) return false
    if (rejoin.doubtful.some(({ readers }) => readers.some(reader => isAhead(get(F.main), reader, alarmsAhead))))
      return false
    const decided = get(F.decidedAt + turning)
    takeBack.from(rejoin, state)
    state[F.trail + turning] = 1 + (nodes[at]?.rows.findIndex(row => row.go === go) ?? 0)
    state[F.decidedAt + turning] = decided
    way.forEach((node, place) => {
      enter(nodes[node] as FlatNode, node)
      const next = way[place + 1] ?? to
      const passing = turningAt.get(node)
      if (passing === undefined) return
      state[F.trail + passing] = 1 + (nodes[node]?.rows.findIndex(row => row.go === next) ?? 0)
      state[F.decidedAt + passing] = decided
    })
    return true
  }
  const isPassed = Uint8Array.from(nodes, node => Number(isPassing(node, flat.hazardous)))

  /** The path up to a step stands; from there it goes another way. */
  function divert(at: number, turning: number, go: number): void {
    state[F.decided] = get(F.decidedAt + turning)
    for (const other of turnsInOrder) {
      if (other !== turning && !leadsTo(flat.turning[other] as number, at)) {
        state[F.trail + other] = 0
        state[F.decidedAt + other] = 0
      }
    }
    for (let place = 0; place < flat.joins.length; place++)
      if (!isUpTo(flat.joins[place] as number, at)) state[F.passed + place] = 0
    state[F.trail + turning] = 1 + (nodes[at]?.rows.findIndex(row => row.go === go) ?? 0)
    for (let field = 0; field < cells.length; field++) {
      if (isSet[field] !== true && status(field) === STATUS.reached && askedUpTo[at * cells.length + field] === 0)
        restatus(field, STATUS.recorded)
    }
    const stands = standingUpTo(at)
    replayAlarms.set(stands.alarms)
    replayHazards.set(stands.hazards)
    run(go, 'turned', at)
    state[F.main] = get(F.talk)
    for (let alarm = 0; alarm < alarms.length; alarm++) if (replayAlarms[alarm] === 0) state[F.armed + alarm] = 0
    for (let i = 0; i < flat.hazardous.length; i++) if (replayHazards[i] === 0) state[F.inForce + i] = 0
  }

  const reach = reachIn(flat)
  const leadsTo = (from: number, to: number): boolean => reach[from * nodes.length + to] === 1
  const isUpTo = (from: number, to: number): boolean => from === to || leadsTo(from, to)
  /** 1 at step × facts + fact where that step, or one that leads to it, asks the fact. */
  const askedUpTo = new Uint8Array(nodes.length * cells.length)
  nodes.forEach(({ ask }, from) => {
    if (ask < 0) return
    for (let at = 0; at < nodes.length; at++) if (isUpTo(from, at)) askedUpTo[at * cells.length + ask] = 1
  })
  const upTo: { readonly alarms: Uint8Array; readonly hazards: Uint8Array }[] = []

  /** Alarms and hazardous advice of a step and of those that lead to it. */
  function standingUpTo(at: number): (typeof upTo)[number] {
    const found = upTo[at]
    if (found !== undefined) return found
    const made = { alarms: new Uint8Array(alarms.length), hazards: new Uint8Array(flat.hazardous.length) }
    nodes.forEach((node, index) => {
      if (!isUpTo(index, at)) return
      for (const { alarm } of node.alarms) made.alarms[alarm] = 1
      for (const field of hazardsOf[index] as number[]) made.hazards[field - F.inForce] = 1
    })
    upTo[at] = made
    return made
  }

  function replay(): void {
    resume = false
    const inEmergency = get(F.danger) === 1 && get(F.interrupted) === 1
    state[F.interrupted] = 0
    state[F.decided] = 0
    state.fill(0, F.trail, F.count)
    offPath = false
    for (let field = 0; field < cells.length; field++) {
      if (isSet[field] === true) {
        if (isSticky[field] !== true) state[field] = 0
      } else if (status(field) === STATUS.reached) restatus(field, STATUS.recorded)
    }
    replayAlarms.fill(0)
    replayHazards.fill(0)
    const wasReplaying = how.replaying
    how.replaying = true
    comingFrom = 0
    run(flat.start, 'talkRestarted', -1)
    for (let i = 0; i < F.firedMost; i++) {
      const alarm = get(F.fired + i) - 1
      if (alarm < 0) break
      comingFrom = i + 1
      if (alarm === leftAlarm && get(F.left) === 0) continue
      if (alarm === unanswered || alarm === leftAlarm || replayAlarms[alarm] === 1) {
        if (nodes[get(F.talk)]?.isEmergency === true) continue
        run(alarms[alarm]?.target ?? -1, 'alarmDue', get(F.talk), alarm)
      }
    }
    comingFrom = F.firedMost
    for (let alarm = 0; alarm < alarms.length; alarm++) if (replayAlarms[alarm] === 0) state[F.armed + alarm] = 0
    for (let i = 0; i < flat.hazardous.length; i++) if (replayHazards[i] === 0) state[F.inForce + i] = 0
    if (returns) state[F.main] = get(F.talk)
    backFromReplay(inEmergency, wasReplaying)
  }

  function settle(): void {
    if (resume) goBack()
  }

  function danger(): void {
    state[F.floor] = AMBULANCE
    state[F.danger] = 1
    state[F.interrupted] = 1
    offPath = true
    run(EMERGENCY, 'dangerSaid', get(F.talk))
  }

  function interrupt(node: number, event: 'personWanted' | 'travelRefused', back: () => void = goBack): void {
    const before = get(F.interrupted)
    state[F.interrupted] = 1
    offPath = true
    run(node, event, get(F.talk))
    state[F.interrupted] = before
    if (resume) back()
  }

  function flowAlarm(alarm: number, isSilence: boolean): void {
    if (nodes[get(F.talk)]?.isEmergency === true) return
    const before = get(F.interrupted)
    const enteredBefore = entered
    state[F.interrupted] = 1
    if (returns) trailBefore.set(state.subarray(F.trail, F.count))
    offPath = isSilence
    if (returns && (alarm === leftAlarm || alarm === unanswered)) state.fill(0, F.trail, F.count)
    run(alarms[alarm]?.target ?? -1, 'alarmDue', get(F.talk), alarm)
    const leadsBack = resume
    state[F.interrupted] = leadsBack ? before : get(F.danger) === 1 ? before : 0
    if (leadsBack) {
      if (flat.canBeSpent[alarm] === true && get(F.armed + alarm) === 0) state[F.armed + alarm] = SPENT
      if (returns) state.set(trailBefore, F.trail)
      goBack()
      return
    }
    if (isSilence || entered === enteredBefore) return
    if (!returns) rememberFired(alarm)
    else {
      state[F.main] = get(F.talk)
      noteMixing(alarm)
    }
  }

  /**
   * An alarm that moved talk on may have been set before a step that was passed meanwhile: then what follows it is not only
   * what that step leads to. A join is no longer taken for one; where it is a step on the trail, none is.
   */
  function noteMixing(alarm: number): void {
    if (alarm === leftAlarm || alarm === unanswered) return
    const wasOnTrail = (field: number) => trailBefore[field - F.trail] !== 0
    const isSetBefore = (at: number) => ((setFrom[at] as number) >> alarm) % 2 === 0
    for (let join = 0; join < flat.joins.length; join++)
      if (wasOnTrail(F.passed + join) && isSetBefore(flat.joins[join] as number)) state[F.passed + join] = 0
    for (let turning = 0; turning < flat.turning.length; turning++)
      if (wasOnTrail(F.trail + turning) && isSetBefore(flat.turning[turning] as number)) state[F.mixed] = 1
  }
  const trailBefore = new Int32Array(F.count - F.trail)

  /** Fired again, an alarm stands last: twice in a row leads where once does. */
  function rememberFired(alarm: number): void {
    let to = 0
    for (let i = 0; i < F.firedMost; i++) {
      const each = get(F.fired + i)
      if (each === 0 || each === alarm + 1) continue
      state[F.fired + to++] = each
    }
    if (to === F.firedMost) throw new Error(`more than ${F.firedMost} alarms moved one talk on`)
    state[F.fired + to] = alarm + 1
    for (let i = to + 1; i < F.firedMost; i++) state[F.fired + i] = 0
  }

  // ---- How time can stand after an answer ----

  /** Elapsed, time left and reachable that fit the records of when it came out and how far it is. */
  function clocksAfter(field: number): readonly (readonly [number, number, number])[] {
    const out = OUT < 0 ? undefined : get(OUT) === 0 ? undefined : cells[OUT]?.domain.classes[classAt(OUT)]?.band
    const way =
      TRAVEL < 0 ? undefined : get(TRAVEL) === 0 ? undefined : cells[TRAVEL]?.domain.classes[classAt(TRAVEL)]?.band
    if (field !== OUT && field !== TRAVEL) return [[get(F.elapsed), get(F.timeLeft), get(F.reachable)]]
    if (out !== 'answered') return [[0, 0, 0]]
    const elapsed = field === OUT ? [0, 1, 2] : [get(F.elapsed)]
    return elapsed.flatMap((each): readonly (readonly [number, number, number])[] => {
      if (way !== 'answered') return [[each, 0, 0]]
      if (each > 0)
        return field === OUT
          ? [
              [each, 0, 0],
              [each, 0, 1],
            ]
          : [[each, 0, 0]]
      return [
        [0, 1, 1],
        [0, 0, 1],
        [0, 0, 0],
      ]
    })
  }

  function setClock([elapsed, timeLeft, reachable]: readonly [number, number, number]): void {
    state[F.elapsed] = elapsed
    state[F.timeLeft] = timeLeft
    state[F.reachable] = reachable
  }

  // ---- Events ----

  /** Everything given in one first message. */
  const combinations = messagesOf(flat)
  const told: (readonly Said[] | undefined)[] = []

  function given(combination: number): void {
    const known = told[combination] ?? saidIn(flat, combination)
    told[combination] = known
    for (const { field, index } of known) put(field, STATUS.given, index)
  }

  const isOutGiven = () => OUT >= 0 && get(OUT) !== 0

  function begin(): void {
    resume = false
    entered = 0
    how.replaying = false
    offPath = false
  }

  function starts(visit: (move: Move, next: Int32Array) => void): void {
    isCompared = self.onDriven !== ignored
    for (let combination = 0; combination < combinations; combination++) {
      state.fill(0)
      given(combination)
      const branches = isOutGiven() ? clocksAfter(OUT).length : 1
      for (let branch = 0; branch < branches; branch++) {
        const move: Move = { kind: 'opened', arg: combination, branch }
        perform(undefined, move)
        visit(move, state)
      }
    }
  }

  /** Brings `state` to where the move leads. */
  function perform(from: Int32Array | undefined, move: Move): void {
    begin()
    if (from === undefined) state.fill(0)
    else state.set(from)
    if (atMoments.length > 0) noteWaiting()
    happen(move)
    if (atMoments.length > 0) dropPast()
  }

  function happen(move: Move): void {
    switch (move.kind) {
      case 'opened': {
        given(move.arg)
        if (isOutGiven()) setClock(clocksAfter(OUT)[move.branch] ?? [0, 0, 0])
        run(flat.start, 'talkRestarted', -1)
        if (returns) state[F.main] = get(F.talk)
        settle()
        return
      }
      case 'answered':
        answer(move.arg, move.branch)
        return
      case 'danger-said':
        danger()
        settle()
        return
      case 'person-wanted':
        interrupt(PERSON, 'personWanted')
        settle()
        return
      case 'travel-refused':
        refuseTravel(move)
        settle()
        return
      case 'left-said':
        if (leftAlarm < 0 || get(F.left) === 1 || get(F.interrupted) === 1) interrupt(PERSON, 'personWanted')
        else {
          if (LEFT_FACT >= 0) put(LEFT_FACT, STATUS.given, classNamed(LEFT_FACT, 'yes'))
          hasLeft()
          flowAlarm(leftAlarm, false)
        }
        settle()
        return
      case 'wrong-tap':
        state[F.interrupted] = 0
        if (returns) {
          forgetAnswers(move)
          return
        }
        for (const field of DANGER_FACTS) state[field] = 0
        replay()
        return
      case 'alarm':
        fire(move.arg)
        settle()
        return
      case 'time':
        if (move.arg === 0) state[F.timeLeft] = 0
        else state[F.elapsed] = move.arg
        return
      case 'grew-older':
        put(PLACED, status(PLACED), move.arg)
        return
      case 'restarted':
        forgetAnswers(move)
        return
      case 'corrected':
        correct(move.arg, move.branch >> 3, move.branch & 7)
        return
    }
  }

  /**
   * Whoever cannot travel is neither on the road nor there, whatever was said before. Where no step on the trail turns from
   * that, the trail does not say where talk stands now: wider than the bot, nothing is answered then.
   */
  function refuseTravel(move: Move): void {
    hasForgotten = false
    const hadLeft = get(F.left) === 1
    for (const field of [LEFT_FACT, ARRIVED]) if (field >= 0) state[field] = 0
    state[F.left] = 0
    refused()
    interrupt(CANNOT_TRAVEL, 'travelRefused', () => {
      if (hadLeft && returns && !turnsOnTrail()) forgetAnswers(move, refused)
      else goBack()
    })
  }

  /** Whether a step on the trail that looks at whether they can travel now goes another way. */
  function turnsOnTrail(): boolean {
    return flat.turning.some((at, turning) => {
      const node = nodes[at] as FlatNode
      const taken = get(F.trail + turning) - 1
      const reads = node.rows.some(row => row.tests.some(test => test.fields.includes(CAN_TRAVEL)))
      return taken >= 0 && reads && node.rows[taken]?.go !== routeAsThen(node, at, hiddenAt(at, at))
    })
  }

  /** Whoever has left can travel, whatever was said before. */
  function hasLeft(): void {
    state[F.left] = 1
    if (CAN_TRAVEL < 0 || get(CAN_TRAVEL) === 0) return
    if (cells[CAN_TRAVEL]?.domain.classes[classAt(CAN_TRAVEL)]?.members.includes('yes') !== true) state[CAN_TRAVEL] = 0
  }

  function refused(): void {
    if (CAN_TRAVEL >= 0) put(CAN_TRAVEL, STATUS.given, classNamed(CAN_TRAVEL, 'no'))
  }

  /** One answer on record is another: talk goes its way again with it. A danger sign is heard first. */
  function correct(field: number, classIndex: number, branch: number): void {
    put(field, status(field), classIndex)
    setClock(clocksAfter(field)[branch] ?? [0, 0, 0])
    const said = cells[field]?.domain.classes[classIndex]
    if (field === LEFT_FACT && said?.members.includes('yes') === true) hasLeft()
    if (field === SIGNS && said?.band === 'a-sign') danger()
    else replay()
    settle()
  }

  let hasForgotten = false

  /**
   * Talk begins again with nothing answered but what the first message said and what is `said` by the way; what is history stays.
   * Wider than the bot: what was told is not remembered, so all that may have been is.
   */
  function forgetAnswers({ arg, branch }: Move, said: () => void = ignored): void {
    resume = false
    hasForgotten = true
    for (let field = 0; field < cells.length; field++) if (isSticky[field] !== true) state[field] = 0
    given(arg)
    said()
    setClock((isOutGiven() ? clocksAfter(OUT)[branch] : undefined) ?? [0, 0, 0])
    // Wider than the bot: after a change a page may run out anew.
    state[F.ranOut] = 0
    for (let i = 0; i < F.firedMost; i++) state[F.fired + i] = 0
    replay()
  }

  function answer(classIndex: number, branch: number): void {
    const at = get(F.talk)
    const field = nodes[at]?.ask ?? -1
    put(field, STATUS.reached, classIndex)
    const clocks = clocksAfter(field)
    setClock(clocks[branch] ?? clocks[0] ?? [0, 0, 0])
    const said = cells[field]?.domain.classes[classIndex]
    if (field === LEFT_FACT && said?.members.includes('yes') === true) hasLeft()
    const isOnPath = at === get(F.main)
    offPath = !isOnPath
    if (field === SIGNS && said?.band === 'a-sign') danger()
    else {
      goOn(at)
      if (returns && isOnPath && !resume) state[F.main] = get(F.talk)
    }
    settle()
  }

  function fire(alarm: number): void {
    if (alarm === silentAsk || alarm === silentPage) {
      flowAlarm(alarm, true)
      return
    }
    if (alarm === unanswered) {
      state[F.ranOut] = 1
      flowAlarm(alarm, false)
      return
    }
    // What comes in an emergency is held, and comes again when talk is back.
    if (nodes[get(F.talk)]?.isEmergency !== true) state[F.armed + alarm] = 0
    const moment = momentsOf[alarm]
    if (moment === 'leave-by' || moment === 'closure-soonest') state[F.timeLeft] = 0
    if (moment === 'closure-latest' && get(F.elapsed) === 0) {
      state[F.timeLeft] = 0
      state[F.elapsed] = ELAPSED.pastLatest
    }
    if (moment === 'closure-overdue') {
      state[F.timeLeft] = 0
      state[F.elapsed] = ELAPSED.overdue
    }
    flowAlarm(alarm, false)
  }

  const mayRunOut = () => flat.isOutpaced || Math.max(get(F.decided), get(F.floor)) <= SPEAK

  function mayFire(alarm: number): boolean {
    const node = nodes[get(F.talk)] as FlatNode
    if (alarm === silentAsk || alarm === silentPage) return node.ask >= 0 && !node.quiet
    if (alarm === unanswered) return get(F.paged) === 1 && get(F.ranOut) === 0 && mayRunOut()
    if (alarm === leftAlarm) return false
    if (get(F.armed + alarm) !== 1) return false
    const moment = momentsOf[alarm]
    return moment === undefined || momentOf(moment) !== 'unknown'
  }

  function moves(from: Int32Array, visit: (move: Move, next: Int32Array) => void): void {
    const one = (kind: MoveKind, arg = 0, branch = 0) => {
      const move: Move = { kind, arg, branch }
      perform(from, move)
      visit(move, state)
    }
    /** Talk that begins anew, with each first message that says something. */
    const anewTold = (kind: 'restarted' | 'wrong-tap' | 'travel-refused') => {
      if (combinations === 1 || isAnewKnown(`${kind}-told`, from)) return
      for (let combination = 1; combination < combinations; combination++) {
        state.fill(0)
        given(combination)
        const branches = isOutGiven() ? clocksAfter(OUT).length : 1
        for (let branch = 0; branch < branches; branch++) one(kind, combination, branch)
      }
    }
    const here = nodes[from[F.talk] as number] as FlatNode
    if (here.ask >= 0) {
      const classes = cells[here.ask]?.domain.classes.length ?? 0
      for (let index = 0; index < classes; index++) {
        state.set(from)
        put(here.ask, STATUS.reached, index)
        const branches = clocksAfter(here.ask).length
        for (let branch = 0; branch < branches; branch++) one('answered', index, branch)
      }
    }
    for (let alarm = 0; alarm < alarms.length; alarm++) {
      state.set(from)
      if (mayFire(alarm)) one('alarm', alarm)
    }
    state.set(from)
    const out = OUT >= 0 && get(OUT) !== 0 && cells[OUT]?.domain.classes[classAt(OUT)]?.band === 'answered'
    if (out && from[F.timeLeft] === 1) one('time', 0)
    if (out && from[F.timeLeft] === 0 && from[F.elapsed] === 0) one('time', ELAPSED.pastLatest)
    if (out && from[F.elapsed] === 1) one('time', ELAPSED.overdue)
    state.set(from)
    if (PLACED >= 0 && get(PLACED) !== 0) {
      const older = olderClasses(cells[PLACED] as Cell, classAt(PLACED))[0]
      if (older !== undefined) one('grew-older', older)
    }
    if (interruptions) {
      one('danger-said')
      one('person-wanted')
      one('travel-refused')
      if (hasForgotten) anewTold('travel-refused')
      one('left-said')
      if (from[F.danger] === 1) {
        if (!beganAnew('wrong-tap', from)) one('wrong-tap')
        if (returns) anewTold('wrong-tap')
      }
    }
    if (corrections === 'restart') {
      if (!beganAnew('restarted', from)) one('restarted')
      anewTold('restarted')
    }
    if (corrections === 'exact') {
      for (let field = 0; field < cells.length; field++) {
        if (isSet[field] === true) continue
        state.set(from)
        if (status(field) < STATUS.reached) continue
        const now = classAt(field)
        const classes = cells[field]?.domain.classes.length ?? 0
        for (let index = 0; index < classes; index++) {
          state.set(from)
          put(field, status(field), index)
          const branches = clocksAfter(field).length
          for (let branch = 0; branch < branches; branch++)
            if (index !== now || branches > 1) one('corrected', field, (index << 3) | branch)
        }
      }
    }
  }

  /** Whether a talk that began anew from what is the same has been walked. What it begins from: history, and what waits. */
  function beganAnew(kind: 'restarted' | 'wrong-tap', from: Int32Array): boolean {
    return returns && !isCompared && isAnewKnown(kind, from)
  }

  function isAnewKnown(kind: Anew, from: Int32Array): boolean {
    if (options.isWalked === undefined) return false
    state.set(from)
    for (let field = 0; field < cells.length; field++) if (isSticky[field] !== true) state[field] = 0
    setClock([0, 0, 0])
    for (const field of [F.ranOut, F.decided, F.talk, F.main]) state[field] = 0
    if (kind === 'wrong-tap' || kind === 'wrong-tap-told') state[F.interrupted] = 0
    state.fill(0, F.fired, F.fired + F.firedMost)
    state.fill(0, F.trail, F.count)
    return options.isWalked(kind, state)
  }

  function again(from: Int32Array | undefined, move: Move): Int32Array {
    isCompared = self.onDriven !== ignored
    perform(from, move)
    return state.slice()
  }

  return self
}
