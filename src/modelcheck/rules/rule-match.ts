/** What a rule speaks of, over the tables of one flow: which steps and moves are meant, and when a condition holds. */
import type { Condition, Happening } from '../../flow/rule-document.ts'
import type { Compared } from '../model/abstract-answers.ts'
import { MOVES, type Move, type MoveKind } from '../model/flat-step.ts'
import { testFor } from '../model/flat-tests.ts'
import { type FlatFlow, type FlatNode, holds, type Test, urgencyOf } from '../model/tables.ts'

/** What one walk over a flow has come to: the state, and which tags were said up to here. */
export interface Moment {
  readonly state: Int32Array
  /** Whether a tag has been said before, or in this reply. */
  readonly isSaid: (tag: string) => boolean
  /** Urgency that the step decides which is being entered; 0 after a reply. */
  readonly deciding: number
}

export interface CompiledCondition {
  readonly holdsIn: (moment: Moment) => boolean
  /** Facts and derived facts it reads. */
  readonly compared: readonly Compared[]
  /** Tags that must be remembered as said. */
  readonly tags: readonly string[]
}

const WORDS: Readonly<Record<string, (flat: FlatFlow, values: readonly string[]) => (moment: Moment) => boolean>> = {
  decided: (flat, values) => {
    const { decided, floor } = flat.fields
    const least = Math.min(...values.map(urgencyOf))
    return ({ state, deciding }) =>
      deciding >= least || (state[decided] as number) >= least || (state[floor] as number) >= least
  },
  history: (flat, values) => {
    const { danger, left, paged } = flat.fields
    const fields = values.map(value => ({ danger, left, paged })[value] ?? paged)
    return anyOf(fields)
  },
  armed: (flat, values) => {
    const fields = flat.alarms.flatMap(({ name }, alarm) => {
      const moments = flat.nodes.flatMap(node => node.alarms.filter(each => each.alarm === alarm))
      const isMeant = values.includes(name) || moments.some(({ moment }) => values.includes(moment ?? ''))
      return isMeant ? [flat.fields.armed + alarm] : []
    })
    return anyOf(fields)
  },
  said:
    (_flat, values) =>
    ({ isSaid }) =>
      values.some(isSaid),
  'in-force': (flat, values) => {
    const fields = flat.hazardous.flatMap((id, index) =>
      (flat.flow.advice.get(id)?.tags ?? []).some(tag => values.includes(tag)) ? [flat.fields.inForce + index] : [],
    )
    return anyOf(fields)
  },
}

const anyOf =
  (fields: readonly number[]) =>
  ({ state }: Moment): boolean => {
    for (let at = 0; at < fields.length; at++) if (state[fields[at] as number] === 1) return true
    return false
  }

/** All parts must hold. A policy is settled here: what it rules out never holds. */
export function compileCondition(condition: Condition, flat: FlatFlow): CompiledCondition {
  const parts: ((moment: Moment) => boolean)[] = []
  const compared: Compared[] = []
  const tags: string[] = []
  for (const [on, listed] of Object.entries(condition)) {
    const values = typeof listed === 'string' ? [listed] : listed
    const word = WORDS[on]
    const policy = flat.policies[on]
    if (word !== undefined) parts.push(word(flat, values))
    else if (policy !== undefined) parts.push(() => values.includes(policy))
    else {
      const test: Test = testFor(on, values, flat)
      parts.push(({ state }) => holds(test, state))
      compared.push({ on, values })
    }
    if (on === 'said') tags.push(...values)
  }
  return { holdsIn: allOf(parts), compared, tags }
}

/** Asked at every step and reply of a walk: a plain loop, and none where there is one part only. */
function allOf(parts: readonly ((moment: Moment) => boolean)[]): (moment: Moment) => boolean {
  const [first] = parts
  if (first !== undefined && parts.length === 1) return first
  return moment => {
    for (let at = 0; at < parts.length; at++) if (parts[at]?.(moment) === false) return false
    return true
  }
}

/** Whether a condition can never hold: the policies of a flow rule it out, or what it looks at is never asked there. */
export function isRuledOut(condition: Condition, flat: FlatFlow): boolean {
  return Object.entries(condition).some(([on, listed]) => {
    const values = typeof listed === 'string' ? [listed] : listed
    const policy = flat.policies[on]
    if (policy !== undefined) return !values.includes(policy)
    if (WORDS[on] !== undefined) return false
    const { fields, table } = testFor(on, values, flat)
    return fields.length === 0 && !table.includes(1)
  })
}

/** Whether a condition holds whatever is answered: all it looks at is settled by the policies, or never asked. */
export function isCertain(condition: Condition, flat: FlatFlow): boolean {
  return Object.entries(condition).every(([on, listed]) => {
    const values = typeof listed === 'string' ? [listed] : listed
    const policy = flat.policies[on]
    if (policy !== undefined) return values.includes(policy)
    if (WORDS[on] !== undefined) return false
    const { fields, table } = testFor(on, values, flat)
    return fields.length === 0 && table.includes(1)
  })
}

/** A happening over the tables. Every part that it names must match. */
export interface CompiledHappening {
  /** 1 at every step that by itself says, decides and pages what is meant; undefined where none of these is named. */
  readonly steps: Uint8Array | undefined
  /** At a step of `steps`, whether it is said now and not only in force from before. */
  readonly isSaidNow: (node: number, state: Int32Array, isReplaying: boolean) => boolean
  /** 1 at every step where talk stands after the reply; undefined where it does not matter. */
  readonly stands: Uint8Array | undefined
  /** Kinds of moves that can be meant; undefined where the move does not matter. */
  readonly kinds: readonly MoveKind[] | undefined
  /** Whether a move of one of those kinds is meant; undefined where it does not matter. */
  readonly isMove: ((move: Move, before: Int32Array | undefined) => boolean) | undefined
}

export function compileHappening(happening: Happening, flat: FlatFlow): CompiledHappening {
  const { says, decides, pages } = happening
  const acts = says === undefined ? undefined : flat.nodes.map(node => node.says.filter(id => isMeant(id, says, flat)))
  const isStep = says !== undefined || decides !== undefined || pages !== undefined
  const steps = Uint8Array.from(flat.nodes, (node, at) =>
    Number(
      (acts === undefined || (acts[at] ?? []).length > 0) &&
        (decides === undefined || node.decides >= urgencyOf(decides)) &&
        (pages === undefined || (node.page !== undefined && (pages === 'any' || pages.includes(node.page)))),
    ),
  )
  const inForce = new Map(flat.hazardous.map((id, index) => [id, flat.fields.inForce + index]))
  return {
    steps: isStep ? steps : undefined,
    isSaidNow: (node, state, isReplaying) =>
      acts === undefined ||
      !isReplaying ||
      (acts[node] ?? []).some(id => {
        const field = inForce.get(id)
        return field === undefined || state[field] === 0
      }),
    stands: standsOf(happening, flat),
    kinds: kindsOf(happening),
    isMove: moveOf(happening, flat),
  }
}

function isMeant(id: string, says: readonly string[], flat: FlatFlow): boolean {
  return says.includes(`advice/${id}`) || (flat.flow.advice.get(id)?.tags ?? []).some(tag => says.includes(tag))
}

/** Tags that a step says. */
export function tagsOf(node: FlatNode, flat: FlatFlow): readonly string[] {
  return node.says.flatMap(id => flat.flow.advice.get(id)?.tags ?? [])
}

function standsOf({ asks, rests, ends }: Happening, flat: FlatFlow): Uint8Array | undefined {
  if (asks === undefined && rests === undefined && ends === undefined) return undefined
  return Uint8Array.from(flat.nodes, node => {
    const isAsked = node.ask >= 0 && !node.quiet
    const fact = flat.cells[node.ask]?.fact ?? ''
    return Number(
      (asks === undefined || (isAsked && (asks === 'any' || asks.includes(fact)))) &&
        (rests === undefined || node.rests) &&
        (ends === undefined || node.ends),
    )
  })
}

function moveOf({ family, answers, alarm }: Happening, flat: FlatFlow): CompiledHappening['isMove'] {
  if (family === undefined && answers === undefined && alarm === undefined) return undefined
  const isAnswered = flat.nodes.map(
    ({ ask }) => answers === 'any' || answers?.includes(flat.cells[ask]?.fact ?? '') === true,
  )
  const isAlarm = flat.alarms.map(({ name }) => alarm === 'any' || alarm?.includes(name) === true)
  const { talk } = flat.fields
  return (move, before) => {
    if (answers !== undefined && isAnswered[before?.[talk] ?? -1] !== true) return false
    return alarm === undefined || isAlarm[move.arg] === true
  }
}

/** The kinds of moves that can be meant; undefined where every one can. */
function kindsOf({ family, answers, alarm }: Happening): readonly MoveKind[] | undefined {
  if (family === undefined && answers === undefined && alarm === undefined) return undefined
  const isMeant = (kind: MoveKind) =>
    (family === undefined || (family as readonly string[]).includes(kind)) &&
    (answers === undefined || kind === 'answered') &&
    (alarm === undefined || kind === 'alarm')
  return MOVES.filter(isMeant)
}

/** Steps at which a rule looks at facts when this happens: `all` where it can come at any step. */
export function placesOf(happening: Happening, flat: FlatFlow): 'all' | ReadonlySet<string> {
  const compiled = compileHappening(happening, flat)
  const named = (flags: Uint8Array) => new Set(flat.nodes.filter((_, at) => flags[at] === 1).map(node => node.id))
  if (compiled.steps !== undefined) return named(compiled.steps)
  if (compiled.stands !== undefined) return named(compiled.stands)
  const { answers } = happening
  if (answers === undefined || answers === 'any') return 'all'
  return new Set(flat.nodes.filter(node => answers.includes(flat.cells[node.ask]?.fact ?? '')).map(node => node.id))
}
