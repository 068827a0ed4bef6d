/**
 * What happens while nobody answers: only stored alarms, and time itself. From every state where a rule about silence is
 * triggered, the goal must come within its length on every way that alarms can fall due.
 *
 * Silence is counted from the trigger, and anew from each alarm of the flow, which writes to the family. Such an alarm may
 * fall due at any time, before or after the chase of silence; that it cannot put the goal off for ever is looked at too.
 */
import { SILENT_ASK, SILENT_PAGE } from '../../flow/steps.ts'
import type { Edge } from './explore.ts'
import { codeOf, moveOf } from './explore.ts'
import type { Move } from './flat-step.ts'
import type { FlatFlow } from './tables.ts'

/** Lengths of the clinic, milliseconds: the chase of silence and those that alarms count from. */
export interface SilentSettings {
  readonly ask: number
  readonly page: number
}

export interface SilentGraph {
  /** Told of every edge, in the order of the walk; `met` has one bit a goal. */
  add(edge: Edge, met: number): void
  /** Longest time, in milliseconds, until a goal comes from a state, `Infinity` where it may never come, the alarms of that way, and the state they lead to. */
  worstFrom(
    state: number,
    goal: number,
  ): { readonly after: number; readonly way: readonly Move[]; readonly state: number }
  /** Whether silence leads on from a state at all. */
  leadsOn(state: number): boolean
}

/** What an edge is: time alone, the chase of silence that asks, the one that pages, or an alarm of the flow. */
const TIME = 0
const ASKS = 1
const PAGES = 2
const ALARM = 3

/** By state and whether it was asked already: the time to a goal, -1 not worked out; the edge of the way that takes longest; and what is being worked out. */
interface Known {
  readonly after: Float64Array
  readonly edge: Int32Array
  readonly open: Uint8Array
}

export function silentGraph(flat: FlatFlow, settings: SilentSettings): SilentGraph {
  const from = numbers()
  const to = numbers()
  const codes = numbers()
  const kinds = numbers()
  const goals = numbers()
  const ask = flat.alarmOf.get(SILENT_ASK) ?? -1
  const page = flat.alarmOf.get(SILENT_PAGE) ?? -1
  const kindOf = ({ kind, arg }: Move) => (kind !== 'alarm' ? TIME : arg === ask ? ASKS : arg === page ? PAGES : ALARM)
  const known: (Known | undefined)[] = []

  /** First edge of each state, and where those of the last end; edges come in the order of the states they lead from. */
  function firstEdges(): Int32Array {
    const first = new Int32Array(from.length() === 0 ? 1 : from.at(from.length() - 1) + 2)
    for (let edge = 0; edge < from.length(); edge++) first[from.at(edge) + 1] = edge + 1
    for (let at = 1; at < first.length; at++) first[at] = Math.max(first[at] as number, first[at - 1] as number)
    return first
  }
  let first: Int32Array | undefined

  /** The edges from a state: from one place up to another. */
  const edgesFrom = (state: number): readonly [number, number] => {
    first ??= firstEdges()
    return [first[state] ?? 0, first[state + 1] ?? 0]
  }

  const isMet = (edge: number, goal: number) => (goals.at(edge) >> goal) % 2 !== 0

  /** What is worked out already of a goal. */
  function knownOf(goal: number): Known {
    first ??= firstEdges()
    const found = known[goal]
    if (found !== undefined) return found
    const places = 2 * (first.length - 1)
    const made: Known = {
      after: new Float64Array(places).fill(-1),
      edge: new Int32Array(places).fill(-1),
      open: new Uint8Array(places),
    }
    known[goal] = made
    return made
  }

  /** Time from the last writing to the goal, by the way that takes longest. A circle never comes to it. */
  function worst(state: number, isAsked: boolean, goal: number): number {
    const [begin, end] = edgesFrom(state)
    if (begin >= end) return Number.POSITIVE_INFINITY
    const { after, edge: longest, open } = knownOf(goal)
    const place = state * 2 + Number(isAsked)
    if ((after[place] as number) >= 0) return after[place] as number
    if (open[place] === 1) return Number.POSITIVE_INFINITY
    open[place] = 1
    let most = -1
    for (let edge = begin; edge < end; edge++) {
      // Asked once, a family is not asked again before the page.
      if (isAsked && kinds.at(edge) === ASKS) continue
      const each = along(edge, isAsked, goal)
      if (each > most) {
        most = each
        longest[place] = edge
      }
    }
    open[place] = 0
    after[place] = most === -1 ? Number.POSITIVE_INFINITY : most
    return after[place] as number
  }

  function along(edge: number, isAsked: boolean, goal: number): number {
    const kind = kinds.at(edge)
    if (kind === TIME) return worst(to.at(edge), isAsked, goal)
    if (isMet(edge, goal)) return kind === ASKS ? settings.ask : kind === PAGES ? settings.page : 0
    return worst(to.at(edge), kind !== ALARM, goal)
  }

  return {
    add(edge, met) {
      if (edge.from < 0 || (edge.move.kind !== 'alarm' && edge.move.kind !== 'time')) return
      // Time that nothing ahead reads leads back to the same state. It is no circle to stay in: what waits comes due meanwhile.
      if (edge.move.kind === 'time' && edge.to === edge.from) return
      from.push(edge.from)
      to.push(edge.to)
      codes.push(codeOf(edge.move))
      kinds.push(kindOf(edge.move))
      goals.push(met)
    },
    worstFrom(state, goal) {
      const after = worst(state, false, goal)
      const way: Move[] = []
      let isAsked = false
      const passed = new Set<number>()
      let at = state
      for (;;) {
        const place = at * 2 + Number(isAsked)
        const edge = knownOf(goal).edge[place] ?? -1
        if (edge === -1 || passed.has(place)) break
        passed.add(place)
        const kind = kinds.at(edge)
        way.push(moveOf(codes.at(edge)))
        if (isMet(edge, goal) && kind !== TIME) break
        if (kind !== TIME) isAsked = kind !== ALARM
        at = to.at(edge)
      }
      return { after, way, state: at }
    },
    leadsOn(state) {
      const [begin, end] = edgesFrom(state)
      for (let edge = begin; edge < end; edge++) if (kinds.at(edge) !== TIME) return true
      return false
    },
  }
}

/** A growing list of whole numbers. */
export function numbers() {
  let list = new Int32Array(1024)
  let count = 0
  return {
    push(value: number) {
      if (count === list.length) {
        const larger = new Int32Array(count * 2)
        larger.set(list)
        list = larger
      }
      list[count++] = value
    },
    at: (index: number): number => list[index] as number,
    length: () => count,
  }
}

/** An ISO 8601 length of days, hours, minutes and seconds, in milliseconds; undefined where it is none. */
export function isoLength(text: string): number | undefined {
  const parts = /^P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?$/.exec(text)
  if (parts === null || text.endsWith('P') || text.endsWith('T')) return undefined
  const [days = 0, hours = 0, minutes = 0, seconds = 0] = parts.slice(1).map(part => Number(part ?? 0))
  return (((days * 24 + hours) * 60 + minutes) * 60 + seconds) * 1000
}
