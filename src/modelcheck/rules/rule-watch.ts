/**
 * Watches rules while a flow is walked. Walked breadth first, so the first breach of a rule is one by a shortest
 * conversation, and so is the first time that what it speaks of comes up.
 */

import { ANY_TIME_STEPS } from '../../flow/flow-step.ts'
import { UNANSWERED } from '../../flow/steps.ts'
import type { Edge, Watch } from '../model/explore.ts'
import type { Mover, OnEntered } from '../model/flat-step.ts'
import { nextOf } from '../model/steps-ahead.ts'
import { type FlatFlow, urgencyOf } from '../model/tables.ts'
import type { CompiledRule, CompiledRules } from './rule-compile.ts'
import { type CompiledHappening, type Moment, tagsOf } from './rule-match.ts'

/** Where something was first seen: the state before, and the move from it. */
export interface Seen {
  readonly from: number
  readonly move: Edge['move']
  /** Step at which it was seen; -1 where it is the reply as a whole. */
  readonly node: number
}

export interface RuleWatch {
  readonly watch: Watch
  readonly listen: (mover: Mover) => void
  readonly onEdge: (edge: Edge) => void
  /** By rule, in the order of `rules`. */
  readonly broken: readonly (Seen | undefined)[]
  readonly witnessed: readonly (Seen | undefined)[]
}

/** An edge on which a rule about silence is triggered, or its goal is met. */
export interface SilentEdge {
  /** Rules triggered whose goal has not been met in the same reply. */
  readonly triggered: readonly number[]
  /** Rules with a bound in silence whose goal is met: one bit each, in the order of `silentRules`. */
  readonly met: number
}

/** Rules with a bound in silence, by their numbers. @throws above 30 */
export function silentRules(rules: readonly CompiledRule[]): readonly number[] {
  const silent = rules.flatMap((rule, index) => (rule.silent === undefined ? [] : [index]))
  if (silent.length > SILENT_MOST)
    throw new Error(
      `${silent.length} rules with a bound in silence, at most ${SILENT_MOST} can be looked at together: leave some out`,
    )
  return silent
}

const SILENT_MOST = 30

/** @param onSilent  told of every edge, for rules with a bound in silence */
export function ruleWatch(
  { rules, atoms, tags }: CompiledRules,
  flat: FlatFlow,
  onSilent: (edge: Edge, silent: SilentEdge) => void = () => {},
): RuleWatch {
  const { talk } = flat.fields
  const kept = atoms.flatMap((atom, index) => (atom.isKept ? [index] : []))
  const bitOf = new Map(kept.map((atom, bit) => [atom, bit]))
  const memory = new Int32Array(kept.length + tags.length)
  const tagBit = new Map(tags.map((tag, index) => [tag, kept.length + index]))
  const atomsAt = flat.nodes.map((_, at) =>
    atoms.flatMap((atom, index) => (atom.happening.steps?.[at] === 1 ? [index] : [])),
  )
  const rulesAt = flat.nodes.map((_, at) =>
    rules.flatMap((rule, index) => (rule.event?.steps?.[at] === 1 ? [index] : [])),
  )
  const tagBitsAt = flat.nodes.map(node => tagsOf(node, flat).flatMap(tag => tagBit.get(tag) ?? []))
  const silentPlace = new Map(silentRules(rules).map((index, place) => [index, place]))

  /** What must have come first is no longer remembered where nothing ahead asks for it; talk that begins anew says it anew. */
  const needed = new Map(
    kept.flatMap(atom => {
      const waiting = rules.filter(rule => rule.needs === atom)
      const isShared = rules.some(rule => rule.after === atom || rule.before === atom)
      return waiting.length === 0 || isShared ? [] : [[atom, placesAhead(waiting, flat)] as const]
    }),
  )

  /** In this reply: whether an atom's steps were entered, and where a rule's event was entered in its scope. */
  const stepped = new Uint8Array(atoms.length)
  const occurred = new Uint8Array(atoms.length)
  const enteredAt = new Int32Array(rules.length)
  const seenAt = new Int32Array(rules.length)
  let before: Int32Array | undefined
  const isSaid = (tag: string) => memory[tagBit.get(tag) ?? -1] === 1
  const broken: (Seen | undefined)[] = rules.map(() => undefined)
  const witnessed: (Seen | undefined)[] = rules.map(() => undefined)
  let breaches: { rule: number; node: number }[] = []
  let witnesses: { rule: number; node: number }[] = []
  let triggered: number[] = []
  let met = 0

  const hasHappened = (atom: number | undefined): boolean =>
    atom !== undefined && (memory[bitOf.get(atom) ?? -1] === 1 || stepped[atom] === 1 || occurred[atom] === 1)

  function isInScope(rule: CompiledRule, moment: Moment): boolean {
    if (rule.after !== undefined && !hasHappened(rule.after)) return false
    if (rule.before !== undefined && hasHappened(rule.before)) return false
    if (rule.scope?.holdsIn(moment) === false) return false
    return !rule.unless.some(each => each.holdsIn(moment))
  }

  const onEntered: OnEntered = (node, state, how) => {
    for (const bit of tagBitsAt[node] ?? []) memory[bit] = 1
    for (const index of rulesAt[node] ?? []) {
      const rule = rules[index] as CompiledRule
      // What is in force already is not said again when talk is replayed.
      if (rule.rule.absence !== undefined && rule.event?.isSaidNow(node, state, how.replaying) === false) continue
      if (seenAt[index] === -1) seenAt[index] = node
      if (enteredAt[index] !== -1) continue
      if (isInScope(rule, { state, isSaid, deciding: flat.nodes[node]?.decides ?? 0 })) enteredAt[index] = node
    }
    for (const atom of atomsAt[node] ?? []) stepped[atom] = 1
  }

  function begin(from: Int32Array, state: Int32Array | undefined): void {
    memory.set(from)
    before = state
    stepped.fill(0)
    occurred.fill(0)
    enteredAt.fill(-1)
    seenAt.fill(-1)
  }

  function isWhole(happening: CompiledHappening, move: Edge['move'], stand: number, isReply: boolean): boolean {
    if (happening.stands !== undefined && (!isReply || happening.stands[stand] !== 1)) return false
    return happening.isMove === undefined || happening.isMove(move, before)
  }

  function end(move: Edge['move'], next: Int32Array): Int32Array {
    const stand = next[talk] as number
    const isReply = move.kind !== 'time' && move.kind !== 'grew-older'
    atoms.forEach(({ happening }, atom) => {
      const isStepped = happening.steps === undefined || stepped[atom] === 1
      occurred[atom] = Number(isStepped && isWhole(happening, move, stand, isReply))
    })
    stepped.set(occurred)
    breaches = []
    witnesses = []
    triggered = []
    met = 0
    const moment: Moment = { state: next, isSaid, deciding: 0 }
    for (const [index, rule] of rules.entries()) judge(rule, index, move, stand, isReply, moment)
    const isAnew = move.kind === 'restarted' || move.kind === 'wrong-tap'
    for (const atom of kept) {
      const bit = bitOf.get(atom) as number
      if (occurred[atom] === 1) memory[bit] = 1
      else if (isAnew && needed.has(atom)) memory[bit] = 0
    }
    for (const [atom, isAhead] of needed) if (!isAhead(next)) memory[bitOf.get(atom) as number] = 1
    return memory
  }

  function judge(
    rule: CompiledRule,
    index: number,
    move: Edge['move'],
    stand: number,
    isReply: boolean,
    moment: Moment,
  ): void {
    const { event } = rule
    if (event === undefined) {
      if (!isInScope(rule, moment)) return
      witnesses.push({ rule: index, node: stand })
      if (rule.always?.holdsIn(moment) === false) breaches.push({ rule: index, node: stand })
      return
    }
    if (rule.silent !== undefined && areMet(rule, moment)) met |= 1 << (silentPlace.get(index) ?? 0)
    if (!isWhole(event, move, stand, isReply)) return
    const isStep = event.steps !== undefined
    const isSeen = isStep ? seenAt[index] !== -1 : true
    const isIn = isStep ? enteredAt[index] !== -1 : isInScope(rule, moment)
    const node = isStep ? (enteredAt[index] as number) : event.stands === undefined ? -1 : stand
    if (rule.rule.absence !== undefined) {
      if (isSeen) witnesses.push({ rule: index, node: isStep ? (seenAt[index] as number) : node })
      if (isIn) breaches.push({ rule: index, node })
      return
    }
    if (!isIn) return
    witnesses.push({ rule: index, node })
    if (rule.needs !== undefined && !hasHappened(rule.needs)) breaches.push({ rule: index, node })
    if (rule.goals.length === 0 || areMet(rule, moment)) return
    if (rule.silent === undefined) breaches.push({ rule: index, node })
    else triggered.push(index)
  }

  function areMet(rule: CompiledRule, moment: Moment): boolean {
    return rule.goals.every(goal => {
      if (goal.holds !== undefined) return goal.holds.holdsIn(moment)
      return goal.atom !== undefined && occurred[goal.atom] === 1
    })
  }

  return {
    watch: { sizes: Array.from(memory, () => 2), begin, end },
    listen(mover) {
      const earlier = mover.onEntered
      mover.onEntered = (node, state, how) => {
        earlier(node, state, how)
        onEntered(node, state, how)
      }
    },
    onEdge(edge) {
      for (const { rule, node } of breaches) broken[rule] ??= { from: edge.from, move: edge.move, node }
      for (const { rule, node } of witnesses) witnessed[rule] ??= { from: edge.from, move: edge.move, node }
      onSilent(edge, { triggered, met })
    },
    broken,
    witnessed,
  }
}

/** Whether a place that some rules look at may still be come to. */
function placesAhead(rules: readonly CompiledRule[], flat: FlatFlow): (state: Int32Array) => boolean {
  const { nodes, fields: F, turning } = flat
  const isPlace = nodes.map((_, at) =>
    rules.some(({ event }) => (event?.steps ?? event?.stands ?? EVERYWHERE)[at] !== 0),
  )
  const leads = nodes.map((_, at) => reachesOne(at, isPlace, flat))
  const own = new Set(nodes.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  const late = flat.alarmOf.get(UNANSWERED) ?? -1
  const side = flat.alarms.flatMap(({ target }, alarm) => (own.has(alarm) || alarm === late ? [] : [target]))
  const always = [...side, ...ANY_TIME_STEPS.flatMap(id => flat.nodeOf.get(id) ?? [])].some(at => leads[at])
  const speak = urgencyOf('speak')
  return state => {
    if (always || leads[state[F.talk] as number] || leads[state[F.main] as number]) return true
    if (turning.some((at, index) => state[F.trail + index] !== 0 && leads[at])) return true
    if (flat.alarms.some(({ target }, alarm) => state[F.armed + alarm] === 1 && leads[target])) return true
    const urgency = Math.max(state[F.decided] as number, state[F.floor] as number)
    return late >= 0 && state[F.ranOut] === 0 && urgency <= speak && leads[flat.alarms[late]?.target ?? -1] === true
  }
}

const EVERYWHERE: Readonly<Record<number, number>> = {}

function reachesOne(from: number, isPlace: readonly boolean[], flat: FlatFlow): boolean {
  const seen = new Set<number>()
  const queue = [from]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (isPlace[at] === true) return true
    if (seen.has(at)) continue
    seen.add(at)
    queue.push(...nextOf(flat, at))
  }
  return false
}
