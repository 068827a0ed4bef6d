/**
 * Which answers can still matter. An answer that no condition ahead can tell from another is replaced by that other, one
 * that nothing ahead reads or asks is forgotten. What lies ahead: the steps that routes and alarms lead to from where talk
 * stands and from where it would return to, every step that can be entered at any moment, and, since talk may take another
 * way there when it returns, everything that follows the turning steps on its trail.
 */

import { aheadOf } from './alarms-ahead.ts'
import { outdoneIn } from './outdone.ts'
import { outlookIn } from './outlook.ts'
import { isPassing, type Rejoin, rejoinsIn, takingBack } from './rejoin.ts'
import { type Standing, settledKey, standings, type Ways, wayOn } from './standing.ts'
import { reachIn } from './steps-ahead.ts'
import { type FlatFlow, RESUME, urgencyOf } from './tables.ts'

/** Puts in place of a state the one that stands for all with the same future; `marks` stand, one bit each of `FlatFlow.marks`. */
export type Canonical = (state: Int32Array, marks: number) => void

/** A way that a turn may take, followed to where it joins the path again. */
interface Joining {
  /** It joins again on every way it may go. */
  readonly joins: boolean
  /** Nothing is said, paged or looked at on it, and there is one way only. */
  readonly isSilent: boolean
  /** Steps passed, where there is one way only. */
  readonly way: readonly number[]
  readonly rejoin: Rejoin | undefined
}

/**
 * For talk that returns (`resume: 'return'`).
 *
 * @param leavesAgain  what follows "can't travel" is walked
 */
export function canonicalIn(flat: FlatFlow, leavesAgain: boolean): Canonical {
  const { nodes, fields: F, cells, turning } = flat
  const standingOf = standings(flat, leavesAgain)
  const outlook = outlookIn(flat, leavesAgain)
  const dropOutdone = outdoneIn(flat, outlook)
  const rejoinOf = rejoinsIn(flat)
  const takeBack = takingBack(flat)
  const isAhead = aheadOf(flat)
  const rowsOf = turning.map(at => nodes[at]?.rows ?? [])
  /** By turning step and row, the rows that lead where it leads, or nowhere. */
  const sameOf = rowsOf.map(rows => rows.map(({ go }) => bitsWhere(rows, row => row.go === go || row.go === RESUME)))
  const resumeOf = rowsOf.map(rows => bitsWhere(rows, row => row.go === RESUME))
  const joinOf = new Map(flat.joins.map((at, place) => [at, place]))
  const turningOf = new Map(turning.map((at, index) => [at, index]))
  const isPassed = nodes.map(node => isPassing(node, flat.hazardous))
  const isQuiet = nodes.map(node => node.says.length === 0 && node.page === undefined && node.observed.length === 0)
  const clocks = [F.elapsed, F.timeLeft, F.reachable]
  /** By turning step: rows it may take, those of them that lead elsewhere, and those that do not join the path again. */
  const possible = new Int32Array(turning.length)
  const others = new Int32Array(turning.length)
  const away = new Int32Array(turning.length)

  /** What cannot lower or raise anything any more is put to nothing. */
  function settleUrgency(state: Int32Array): void {
    const floor = state[F.floor] as number
    if (floor >= (state[F.decided] as number)) state[F.decided] = 0
    for (let index = 0; index < turning.length; index++)
      if (floor >= (state[F.decidedAt + index] as number)) state[F.decidedAt + index] = 0
  }

  function joiningOf(index: number, go: number, state: Int32Array): Joining {
    const at = turning[index] as number
    const unset = outlook.staysUnset()
    const way: number[] = []
    let isSingle = true
    let isSilent = true
    let rejoin: Rejoin | undefined
    const queue = [go]
    for (let to = queue.pop(); to !== undefined; to = queue.pop()) {
      if (way.includes(to)) continue
      if (to !== RESUME && isPassed[to] === true) {
        way.push(to)
        if (isQuiet[to] === false) isSilent = false
        const rows = outlook.rows(to, at)
        if ((rows & (rows - 1)) !== 0) isSingle = false
        for (const [row, { go: next }] of (nodes[to]?.rows ?? []).entries())
          if ((rows >> row) % 2 !== 0) queue.push(next)
        continue
      }
      const join = joinOf.get(to)
      rejoin = join === undefined || state[F.passed + join] === 0 ? undefined : rejoinOf(index, join, unset)
      if (rejoin === undefined || isTold(rejoin, at, state)) return NO_JOINING
    }
    return { joins: true, isSilent: isSilent && isSingle, way, rejoin }
  }

  /** Turning steps whose ways may not join again, and where those ways begin. */
  const leading: { readonly at: number; readonly go: number }[] = []
  let alarmsNow = 0
  let mainNow = 0

  /**
   * Whether a step may still be come to that would tell whether an answer is on the path. Where a turn at another step
   * leads to it, that is so only while the step looked at stays on the trail, or the answer was given before that turn:
   * what was given after it is only on record then in any case.
   */
  function isTold({ doubtful }: Rejoin, at: number, state: Int32Array): boolean {
    const main = state[F.main] as number
    return doubtful.some(({ field, readers }) => {
      const ways = leading.filter(way => isBefore(at, way.at) || isAskedBefore(way.at, field))
      return readers.some(reader => isAhead(main, reader, alarmsNow) || ways.some(({ go }) => isAhead(go, reader, 0)))
    })
  }
  const reach = reachIn(flat)
  const isBefore = (from: number, to: number) => from === to || reach[from * nodes.length + to] === 1
  const isAskedBefore = (to: number, field: number) =>
    nodes.some((node, from) => node.ask === field && isBefore(from, to))

  /**
   * For every step on the trail the rows it may turn to. A way it may turn to may set for good what another step reads, and
   * may lead back to what another turn must not come before; so it is looked at again until nothing more comes to lie ahead.
   */
  function waysOf(state: Int32Array, standing: Standing): Ways {
    let settings = standing.settings
    leading.length = 0
    alarmsNow = standing.alarms
    mainNow = state[F.main] as number
    for (;;) {
      const leadingBefore = leading.length
      outlook.from(state, standing.changes, settings)
      let ways = standing.ways
      for (let index = 0; index < turning.length; index++) {
        const taken = (state[F.trail + index] as number) - 1
        others[index] = 0
        away[index] = 0
        if (taken < 0) continue
        const may = outlook.rows(turning[index] as number, turning[index] as number)
        possible[index] = may
        const other = may & ~((sameOf[index] as number[])[taken] as number)
        if (other === 0) continue
        const joining = state[F.mixed] === 1 ? 0 : joiningRows(index, other, state)
        others[index] = other
        away[index] = other & ~joining
        noteLeading(index, other & ~joining)
        ways = wayOn(ways, index, other & ~joining, joining)
      }
      const further = settings | (ways.settings ?? standing.settingsOf(ways))
      if (further === settings && leading.length === leadingBefore) return ways
      settings = further
    }
  }

  function noteLeading(index: number, rows: number): void {
    for (const [row, { go }] of (rowsOf[index] ?? []).entries())
      if ((rows >> row) % 2 !== 0 && !leading.some(way => way.at === turning[index] && way.go === go))
        leading.push({ at: turning[index] as number, go })
  }

  function joiningRows(index: number, rows: number, state: Int32Array): number {
    let joining = 0
    for (const [row, { go }] of (rowsOf[index] ?? []).entries())
      if ((rows >> row) % 2 !== 0 && joiningOf(index, go, state).joins) joining |= 1 << row
    return joining
  }

  const isAheadAgain = (node: number) =>
    isAhead(mainNow, node, alarmsNow) || leading.some(({ go }) => go !== RESUME && isAhead(go, node, 0))

  /** Drops steps that may turn and leave no trace by it. */
  function dropTraceless(state: Int32Array): boolean {
    let isDropped = false
    for (let index = 0; index < turning.length; index++) {
      const other = others[index] as number
      if (other === 0 || state[F.mixed] === 1 || !isWithoutTrace(index, other, state)) continue
      state[F.trail + index] = 0
      state[F.decidedAt + index] = 0
      isDropped = true
    }
    return isDropped
  }

  /** Whether turning changes nothing of the state, and nothing is said on the way: whether talk turned or not is all one. */
  function isWithoutTrace(index: number, rows: number, state: Int32Array): boolean {
    for (const [row, { go }] of (rowsOf[index] ?? []).entries()) {
      if ((rows >> row) % 2 === 0) continue
      const { isSilent, rejoin } = joiningOf(index, go, state)
      if (!isSilent || rejoin === undefined || takeBack.changes(rejoin, state)) return false
    }
    return true
  }

  /** A step that surely turns, silently, and joins again: it has turned already. */
  function turnAhead(state: Int32Array): boolean {
    for (let index = 0; index < turning.length; index++) {
      const other = others[index] as number
      if (
        other === 0 ||
        state[F.mixed] === 1 ||
        possible[index] !== other ||
        (other & (resumeOf[index] as number)) !== 0
      )
        continue
      const rows = rowsOf[index] ?? []
      const row = 31 - Math.clz32(other & -other)
      const go = rows[row]?.go ?? RESUME
      if ((other & ~((sameOf[index] as number[])[row] as number)) !== 0) continue
      const { isSilent, way, rejoin } = joiningOf(index, go, state)
      if (!isSilent || rejoin === undefined) continue
      const decided = state[F.decidedAt + index] as number
      takeBack.from(rejoin, state)
      setTrail(state, index, row, decided)
      for (const at of way) {
        const passing = turningOf.get(at)
        if (passing !== undefined)
          setTrail(state, passing, 31 - Math.clz32(outlook.rows(at, turning[index] as number)), decided)
      }
      return true
    }
    return false
  }

  function setTrail(state: Int32Array, index: number, row: number, decided: number): void {
    state[F.trail + index] = 1 + row
    state[F.decidedAt + index] = decided
  }

  /** A step that cannot turn any more is no longer on the trail. @returns whether one was */
  function clearTrail(state: Int32Array): boolean {
    let isCleared = false
    let isAny = false
    for (let index = 0; index < turning.length; index++) {
      if (others[index] !== 0) isAny = true
      else if (state[F.trail + index] !== 0) {
        isCleared = true
        state[F.trail + index] = 0
        state[F.decidedAt + index] = 0
      }
    }
    if (!isAny) state.fill(0, F.passed, F.count)
    return isCleared
  }

  /** Whether a turn may lead back to where no more was decided than "speak". */
  function turnsMilder(state: Int32Array): boolean {
    if ((state[F.floor] as number) > SPEAK) return false
    return away.some((rows, index) => rows !== 0 && (state[F.decidedAt + index] as number) <= SPEAK)
  }

  /** What lies ahead, by a path that is as short as it can be written. */
  function settle(state: Int32Array): { readonly standing: Standing; readonly ways: Ways } {
    for (;;) {
      settleUrgency(state)
      let runsOut = flat.isOutpaced || Math.max(state[F.floor] as number, state[F.decided] as number) <= SPEAK
      let standing = standingOf(state, runsOut)
      if (standing.isHeld) state[F.main] = flat.start
      let ways = waysOf(state, standing)
      if (!runsOut && turnsMilder(state)) {
        runsOut = true
        standing = standingOf(state, true)
        ways = waysOf(state, standing)
      }
      if (!runsOut) state[F.ranOut] = 0
      if (dropOutdone(state, { others, away, isAheadAgain, next: standing.next })) continue
      const isCleared = clearTrail(state)
      if (!turnAhead(state) && !isCleared) return { standing, ways }
    }
  }

  const settled = { sure: 0, marks: 0, key: 0 }

  /** Decided for good is what talk falls back to where it turns, and no less. */
  function settleRules(state: Int32Array, marks: number): void {
    let sure = state[F.decided] as number
    for (let index = 0; index < turning.length; index++)
      if (state[F.trail + index] !== 0) sure = Math.min(sure, state[F.decidedAt + index] as number)
    settled.sure = Math.max(sure, state[F.floor] as number)
    settled.marks = marks
    settled.key = settledKey(settled.sure, marks)
  }

  function put(maps: readonly Int32Array[], state: Int32Array): void {
    for (let field = 0; field < cells.length; field++)
      state[field] = (maps[field] as Int32Array)[state[field] as number] as number
    for (let at = 0; at < clocks.length; at++) {
      const field = clocks[at] as number
      state[field] = (maps[cells.length + at] as Int32Array)[state[field] as number] as number
    }
  }

  function forget(state: Int32Array, marks: number): void {
    const { standing, ways } = settle(state)
    settleRules(state, marks)
    const maps = ways.maps.get(settled.key) ?? standing.mapsOf(ways, settled)
    put(maps.all, state)
    const further = maps.further(state)
    if (further !== maps.all) put(further, state)
    for (let join = 0; join < flat.joins.length; join++) if (ways.joins?.[join] !== 1) state[F.passed + join] = 0
  }

  return (state, marks) => {
    do forget(state, marks)
    while (dropTraceless(state))
  }
}

const SPEAK = urgencyOf('speak')
const NO_JOINING: Joining = { joins: false, isSilent: false, way: [], rejoin: undefined }

function bitsWhere<T>(all: readonly T[], holds: (each: T) => boolean): number {
  return all.reduce((bits, each, bit) => (holds(each) ? bits | (1 << bit) : bits), 0)
}
