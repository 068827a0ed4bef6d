/**
 * Watches rules while a flow is walked. Walked breadth first, so the first breach of a rule is one by a shortest
 * conversation, and so is the first time that what it speaks of comes up.
 */

import type { Edge, Watch } from '../model/explore.ts'
import type { Mover, OnEntered } from '../model/flat-step.ts'
import type { FlatFlow } from '../model/tables.ts'
import type { CompiledRule, CompiledRules } from './rule-compile.ts'
import { type CompiledHappening, type Moment, tagsOf } from './rule-match.ts'
import { isReplyTo, openPlaces, settlesUnneeded } from './rule-places.ts'

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
  /** Bits of `FlatFlow.marks` that stand with what is remembered. */
  readonly marks: (memory: Int32Array) => number
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
  const count = flat.nodes.length
  /** Atoms that are remembered, each at its place here in the memory; tags stand after them. */
  const kept = atoms.flatMap((atom, index) => (atom.isKept ? [index] : []))
  const bitOf = new Map(kept.map((atom, bit) => [atom, bit]))
  const memory = new Int32Array(kept.length + tags.length)
  const tagBit = new Map(tags.map((tag, index) => [tag, kept.length + index]))
  const atomsAt = stepsOf(
    atoms.map(atom => atom.happening),
    count,
  )
  const rulesAt = stepsOf(
    rules.map(rule => rule.event),
    count,
  )
  const openAtoms = openPlaces(
    atoms.map(atom => atom.happening),
    count,
  )
  const openRules = openPlaces(
    rules.map(rule => rule.event),
    count,
  )
  const tagBitsAt = flat.nodes.map(node => tagsOf(node, flat).flatMap(tag => tagBit.get(tag) ?? []))
  const silent = silentRules(rules)

  /** What must have come first is no longer remembered where nothing ahead asks for it; talk that begins anew says it anew. */
  const needed = new Map([
    ...kept.flatMap((atom, bit) => {
      const waiting = rules.filter(rule => rule.needs === atom)
      const isShared = rules.some(rule => rule.after === atom || rule.before === atom)
      return waiting.length === 0 || isShared ? [] : [[bit, waiting] as const]
    }),
    ...tags.flatMap((tag, at) => {
      const waiting = rules.filter(rule => readsTag(rule, tag))
      return waiting.some(isLoosened(tag)) ? [] : [[kept.length + at, waiting] as const]
    }),
  ])
  const settle = settlesUnneeded(needed, flat)

  /** In this reply: whether an atom's steps were entered, and where a rule's event was entered in its scope. */
  const stepped = new Uint8Array(atoms.length)
  const occurred = new Uint8Array(atoms.length)
  const saidNow = new Uint8Array(tags.length)
  const enteredAt = new Int32Array(rules.length)
  const seenAt = new Int32Array(rules.length)
  const steppedAtoms = placesList(atoms.length)
  const seenRules = placesList(rules.length)
  let before: Int32Array | undefined
  const isSaid = (tag: string) => memory[tagBit.get(tag) ?? -1] === 1
  const broken: (Seen | undefined)[] = rules.map(() => undefined)
  const witnessed: (Seen | undefined)[] = rules.map(() => undefined)
  const breaches = foundList(rules.length)
  const witnesses = foundList(rules.length)
  let triggered: number[] = []
  let met = 0

  function hasHappened(atom: number | undefined): boolean {
    if (atom === undefined) return false
    return stepped[atom] === 1 || occurred[atom] === 1 || memory[bitOf.get(atom) ?? -1] === 1
  }

  function isInScope(rule: CompiledRule, moment: Moment): boolean {
    if (rule.after !== undefined && !hasHappened(rule.after)) return false
    if (rule.before !== undefined && hasHappened(rule.before)) return false
    if (rule.scope?.holdsIn(moment) === false) return false
    for (let at = 0; at < rule.unless.length; at++) if (rule.unless[at]?.holdsIn(moment) === true) return false
    return true
  }

  const entering: { state: Int32Array; deciding: number; readonly isSaid: Moment['isSaid'] } = {
    state: memory,
    isSaid,
    deciding: 0,
  }

  /** What was said before talk began anew is not held against it, nor for it; what is said as it begins is. */
  function forgetTags(): void {
    for (let place = kept.length; place < memory.length; place++)
      if (needed.has(place) && saidNow[place - kept.length] === 0) memory[place] = 0
  }

  const onEntered: OnEntered = (node, state, how) => {
    const bits = tagBitsAt[node] as readonly number[]
    for (let at = 0; at < bits.length; at++) {
      memory[bits[at] as number] = 1
      saidNow[(bits[at] as number) - kept.length] = 1
    }
    entering.state = state
    entering.deciding = flat.nodes[node]?.decides ?? 0
    const here = rulesAt[node] as readonly number[]
    for (let at = 0; at < here.length; at++) {
      const index = here[at] as number
      const rule = rules[index] as CompiledRule
      // What is in force already is not said again when talk is replayed.
      if (rule.rule.absence !== undefined && rule.event?.isSaidNow(node, state, how.replaying) === false) continue
      if (seenAt[index] === -1) {
        seenAt[index] = node
        seenRules.add(index)
      }
      if (enteredAt[index] === -1 && isInScope(rule, entering)) enteredAt[index] = node
    }
    const own = atomsAt[node] as readonly number[]
    for (let at = 0; at < own.length; at++) {
      const atom = own[at] as number
      if (stepped[atom] === 1) continue
      stepped[atom] = 1
      steppedAtoms.add(atom)
    }
  }

  function begin(from: Int32Array, state: Int32Array | undefined): void {
    memory.set(from)
    before = state
    stepped.fill(0)
    occurred.fill(0)
    enteredAt.fill(-1)
    seenAt.fill(-1)
    saidNow.fill(0)
    steppedAtoms.clear()
    seenRules.clear()
  }

  function isWhole(happening: CompiledHappening, move: Edge['move'], stand: number, isReply: boolean): boolean {
    if (happening.stands !== undefined && (!isReply || happening.stands[stand] !== 1)) return false
    if (happening.kinds?.includes(move.kind) === false) return false
    return happening.isMove === undefined || happening.isMove(move, before)
  }

  function noteAtoms(move: Edge['move'], stand: number, isReply: boolean): void {
    const note = (atom: number) => {
      const { happening } = atoms[atom] as CompiledRules['atoms'][number]
      if (isWhole(happening, move, stand, isReply)) occurred[atom] = 1
    }
    for (let at = 0; at < steppedAtoms.count(); at++) note(steppedAtoms.at(at))
    const open = openAtoms(move.kind, stand)
    for (let at = 0; at < open.length; at++) note(open[at] as number)
    stepped.set(occurred)
  }

  function end(move: Edge['move'], next: Int32Array): Int32Array {
    const stand = next[talk] as number
    const isReply = isReplyTo(move.kind)
    const isAnew = move.kind === 'restarted' || move.kind === 'wrong-tap'
    if (isAnew) forgetTags()
    noteAtoms(move, stand, isReply)
    breaches.clear()
    witnesses.clear()
    if (triggered.length > 0) triggered = []
    met = 0
    entering.state = next
    entering.deciding = 0
    for (let place = 0; place < silent.length; place++)
      if (areMet(rules[silent[place] as number] as CompiledRule, entering)) met |= 1 << place
    for (let at = 0; at < seenRules.count(); at++) judge(seenRules.at(at), move, stand, isReply)
    const open = openRules(move.kind, stand)
    for (let at = 0; at < open.length; at++) judge(open[at] as number, move, stand, isReply)
    for (let bit = 0; bit < kept.length; bit++) {
      if (occurred[kept[bit] as number] === 1) memory[bit] = 1
      else if (isAnew && needed.has(bit)) memory[bit] = 0
    }
    settle(memory, next)
    return memory
  }

  function judge(index: number, move: Edge['move'], stand: number, isReply: boolean): void {
    const rule = rules[index] as CompiledRule
    const { event } = rule
    if (event === undefined) {
      if (!isInScope(rule, entering)) return
      witnesses.add(index, stand)
      if (rule.always?.holdsIn(entering) === false) breaches.add(index, stand)
      return
    }
    if (!isWhole(event, move, stand, isReply)) return
    const isStep = event.steps !== undefined
    const isIn = isStep ? enteredAt[index] !== -1 : isInScope(rule, entering)
    const node = isStep ? (enteredAt[index] as number) : event.stands === undefined ? -1 : stand
    if (rule.rule.absence !== undefined) {
      witnesses.add(index, isStep ? (seenAt[index] as number) : node)
      if (isIn) breaches.add(index, node)
      return
    }
    if (!isIn) return
    witnesses.add(index, node)
    if (rule.needs !== undefined && !hasHappened(rule.needs)) breaches.add(index, node)
    if (rule.goals.length === 0 || areMet(rule, entering)) return
    if (rule.silent === undefined) breaches.add(index, node)
    else triggered.push(index)
  }

  function areMet(rule: CompiledRule, moment: Moment): boolean {
    for (let at = 0; at < rule.goals.length; at++) {
      const { holds, atom } = rule.goals[at] as CompiledRule['goals'][number]
      if (holds === undefined ? atom === undefined || occurred[atom] !== 1 : !holds.holdsIn(moment)) return false
    }
    return true
  }

  const placesOfMarks = flat.marks.map(mark => ('said' in mark ? mark.said.flatMap(tag => tagBit.get(tag) ?? []) : []))
  const rulesOfMarks = flat.marks.map(mark =>
    'cameUp' in mark ? rules.findIndex(({ rule }) => rule.id === mark.cameUp) : -1,
  )
  function marks(remembered: Int32Array): number {
    let bits = 0
    for (let bit = 0; bit < placesOfMarks.length; bit++) {
      const places = placesOfMarks[bit] as readonly number[]
      let stands = witnessed[rulesOfMarks[bit] as number] !== undefined
      for (let at = 0; !stands && at < places.length; at++) stands = remembered[places[at] as number] === 1
      if (stands) bits |= 1 << bit
    }
    return bits
  }

  return {
    marks,
    watch: { sizes: Array.from(memory, () => 2), begin, end },
    listen(mover) {
      const earlier = mover.onEntered
      mover.onEntered = (node, state, how) => {
        earlier(node, state, how)
        onEntered(node, state, how)
      }
    },
    onEdge(edge) {
      breaches.into(broken, edge)
      witnesses.into(witnessed, edge)
      onSilent(edge, { triggered, met })
    },
    broken,
    witnessed,
  }
}

const conditionsOf = (rule: CompiledRule) => [
  rule.always,
  rule.scope,
  ...rule.unless,
  ...rule.goals.map(goal => goal.holds),
]

const readsTag = (rule: CompiledRule, tag: string): boolean =>
  conditionsOf(rule).some(each => each?.tags.includes(tag) === true)

/** Whether a rule holds more easily while a tag counts as not said, or looks at it whatever happens. */
const isLoosened =
  (tag: string) =>
  (rule: CompiledRule): boolean =>
    rule.silent !== undefined || rule.scope?.tags.includes(tag) === true

/** By step, the places of the happenings that it makes by being entered. */
const stepsOf = (
  happenings: readonly (CompiledHappening | undefined)[],
  nodes: number,
): readonly (readonly number[])[] =>
  Array.from({ length: nodes }, (_, at) =>
    happenings.flatMap((happening, place) => (happening?.steps?.[at] === 1 ? [place] : [])),
  )

/** A list of places, used again for every edge. */
function placesList(most: number) {
  const list = new Int32Array(most)
  let count = 0
  return {
    add(place: number) {
      list[count++] = place
    },
    at: (index: number): number => list[index] as number,
    count: () => count,
    clear() {
      count = 0
    },
  }
}

/** Rules for which something was found on this edge, with the step; of each only the first find of a walk is kept. */
function foundList(rules: number) {
  const found = placesList(rules * 2)
  const nodes = new Int32Array(rules * 2)
  const isKept = new Uint8Array(rules)
  return {
    add(rule: number, node: number) {
      if (isKept[rule] === 1) return
      nodes[found.count()] = node
      found.add(rule)
    },
    clear: found.clear,
    into(first: (Seen | undefined)[], edge: Edge) {
      for (let at = 0; at < found.count(); at++) {
        const rule = found.at(at)
        isKept[rule] = 1
        first[rule] ??= { from: edge.from, move: edge.move, node: nodes[at] as number }
      }
    },
  }
}
