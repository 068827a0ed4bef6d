/** Where rules look: what a reply can concern at all, and what may still be come to, looked up instead of gone through. */

import { ANY_TIME_STEPS } from '../../flow/flow-step.ts'
import { UNANSWERED } from '../../flow/steps.ts'
import { MOVES, type MoveKind } from '../model/flat-step.ts'
import { nextOf } from '../model/steps-ahead.ts'
import { type FlatFlow, urgencyOf } from '../model/tables.ts'
import type { CompiledRule } from './rule-compile.ts'
import type { CompiledHappening } from './rule-match.ts'

/** Moves that nobody is answered on: time alone. */
export const isReplyTo = (kind: MoveKind): boolean => kind !== 'time' && kind !== 'grew-older'

const KIND_PLACE = Object.fromEntries(MOVES.map((kind, place) => [kind, place])) as Readonly<Record<MoveKind, number>>

/**
 * By the kind of a move and the step at which talk stands after it: the places of those happenings that are told by these
 * two alone and can be meant. Left out are happenings of steps that are entered, which are noted as they are.
 */
export function openPlaces(
  happenings: readonly (CompiledHappening | undefined)[],
  nodes: number,
): (kind: MoveKind, stand: number) => readonly number[] {
  const known: (readonly number[])[] = []
  const made = (kind: MoveKind, stand: number) =>
    happenings.flatMap((happening, place) => {
      if (happening === undefined) return [place]
      if (happening.steps !== undefined || happening.kinds?.includes(kind) === false) return []
      return happening.stands === undefined || (isReplyTo(kind) && happening.stands[stand] === 1) ? [place] : []
    })
  return (kind, stand) => {
    const key = KIND_PLACE[kind] * nodes + stand
    const found = known[key]
    if (found !== undefined) return found
    const places = made(kind, stand)
    known[key] = places
    return places
  }
}

/**
 * Puts to 1 what some rules wait for, where nothing they look at may still be come to: whether it happened is then all one.
 *
 * @param waiting  by place in the memory, the rules that wait for what is remembered there
 */
export function settlesUnneeded(
  waiting: ReadonlyMap<number, readonly CompiledRule[]>,
  flat: FlatFlow,
): (memory: Int32Array, state: Int32Array) => void {
  const places = [...waiting.keys()]
  const groups = Array.from({ length: Math.ceil(places.length / BITS_MOST) }, (_, group) =>
    aheadMask(
      places.slice(group * BITS_MOST, (group + 1) * BITS_MOST).map(place => waiting.get(place) ?? []),
      flat,
    ),
  )
  return (memory, state) => {
    for (let group = 0; group < groups.length; group++) {
      const ahead = groups[group]?.(state) ?? 0
      const first = group * BITS_MOST
      const count = Math.min(BITS_MOST, places.length - first)
      for (let bit = 0; bit < count; bit++) if (((ahead >> bit) & 1) === 0) memory[places[first + bit] as number] = 1
    }
  }
}
const BITS_MOST = 30

/** Whether a place that rules look at may still be come to, one bit each group of rules. */
function aheadMask(groups: readonly (readonly CompiledRule[])[], flat: FlatFlow): (state: Int32Array) => number {
  const { nodes, fields: F, turning, alarms } = flat
  const isPlace = groups.map(rules =>
    nodes.map((_, at) => rules.some(({ event }) => (event?.steps ?? event?.stands ?? EVERYWHERE)[at] !== 0)),
  )
  const leads = Int32Array.from(nodes, (_, at) => bitsOf(isPlace.map(places => reachesOne(at, places, flat))))
  const targets = alarms.map(({ target }) => leads[target] as number)
  const own = new Set(nodes.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  const late = flat.alarmOf.get(UNANSWERED) ?? -1
  const side = targets.filter((_, alarm) => !own.has(alarm) && alarm !== late)
  const anyTime = ANY_TIME_STEPS.flatMap(id => flat.nodeOf.get(id) ?? []).map(at => leads[at] as number)
  const always = [...side, ...anyTime].reduce((all, each) => all | each, 0)
  const whole = bitsOf(groups.map(() => true))
  const speak = urgencyOf('speak')
  return state => {
    let mask = always | (leads[state[F.talk] as number] as number) | (leads[state[F.main] as number] as number)
    if (mask === whole) return mask
    for (let index = 0; index < turning.length; index++)
      if (state[F.trail + index] !== 0) mask |= leads[turning[index] as number] as number
    for (let alarm = 0; alarm < targets.length; alarm++)
      if (state[F.armed + alarm] === 1) mask |= targets[alarm] as number
    if (
      late >= 0 &&
      state[F.ranOut] === 0 &&
      (state[F.decided] as number) <= speak &&
      (state[F.floor] as number) <= speak
    )
      mask |= targets[late] as number
    return mask
  }
}

const EVERYWHERE: Readonly<Record<number, number>> = {}

const bitsOf = (all: readonly boolean[]): number =>
  all.reduce((bits, each, bit) => (each ? bits | (1 << bit) : bits), 0)

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
