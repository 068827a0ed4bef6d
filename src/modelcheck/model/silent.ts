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

export function silentGraph(flat: FlatFlow, settings: SilentSettings): SilentGraph {
  const from = numbers()
  const to = numbers()
  const codes = numbers()
  const goals = numbers()
  const ask = flat.alarmOf.get(SILENT_ASK) ?? -1
  const page = flat.alarmOf.get(SILENT_PAGE) ?? -1
  const known = new Map<number, { after: number; edge: number }>()
  const keyOf = (state: number, isAsked: boolean, goal: number) => (state * 2 + Number(isAsked)) * 32 + goal

  function firstFrom(state: number): number {
    let low = 0
    let high = from.length()
    while (low < high) {
      const middle = (low + high) >> 1
      if (from.at(middle) < state) low = middle + 1
      else high = middle
    }
    return low
  }

  /** Edges from a state that can come next. Asked once, a family is not asked again before the page. */
  function* nextOf(state: number, isAsked: boolean): Iterable<number> {
    for (let edge = firstFrom(state); edge < from.length() && from.at(edge) === state; edge++) {
      const move = moveOf(codes.at(edge))
      if (!(isAsked && move.kind === 'alarm' && move.arg === ask)) yield edge
    }
  }

  const isMet = (edge: number, goal: number) => (goals.at(edge) >> goal) % 2 !== 0

  /** Time from the last writing to the goal, by the way that takes longest. A circle never comes to it. */
  function worst(state: number, isAsked: boolean, goal: number, open: Set<number>): number {
    const key = keyOf(state, isAsked, goal)
    const found = known.get(key)
    if (found !== undefined) return found.after
    if (open.has(key)) return Number.POSITIVE_INFINITY
    open.add(key)
    let after = -1
    let longest = -1
    for (const edge of nextOf(state, isAsked)) {
      const each = along(edge, isAsked, goal, open)
      if (each > after) {
        after = each
        longest = edge
      }
    }
    open.delete(key)
    if (after === -1) after = Number.POSITIVE_INFINITY
    known.set(key, { after, edge: longest })
    return after
  }

  function along(edge: number, isAsked: boolean, goal: number, open: Set<number>): number {
    const move = moveOf(codes.at(edge))
    if (move.kind !== 'alarm') return worst(to.at(edge), isAsked, goal, open)
    if (move.arg === ask) return isMet(edge, goal) ? settings.ask : worst(to.at(edge), true, goal, open)
    if (move.arg === page) return isMet(edge, goal) ? settings.page : worst(to.at(edge), true, goal, open)
    return isMet(edge, goal) ? 0 : worst(to.at(edge), false, goal, open)
  }

  return {
    add(edge, met) {
      if (edge.from < 0 || (edge.move.kind !== 'alarm' && edge.move.kind !== 'time')) return
      // Time that nothing ahead reads leads back to the same state. It is no circle to stay in: what waits comes due meanwhile.
      if (edge.move.kind === 'time' && edge.to === edge.from) return
      from.push(edge.from)
      to.push(edge.to)
      codes.push(codeOf(edge.move))
      goals.push(met)
    },
    worstFrom(state, goal) {
      const after = worst(state, false, goal, new Set())
      const way: Move[] = []
      let isAsked = false
      const passed = new Set<number>()
      let at = state
      for (;;) {
        const key = keyOf(at, isAsked, goal)
        const found = known.get(key)
        if (found === undefined || found.edge === -1 || passed.has(key)) break
        passed.add(key)
        const move = moveOf(codes.at(found.edge))
        way.push(move)
        if (isMet(found.edge, goal) && move.kind === 'alarm') break
        isAsked = move.kind === 'alarm' ? move.arg === ask || move.arg === page : isAsked
        at = to.at(found.edge)
      }
      return { after, way, state: at }
    },
    leadsOn(state) {
      for (const edge of nextOf(state, false)) if (moveOf(codes.at(edge)).kind === 'alarm') return true
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
