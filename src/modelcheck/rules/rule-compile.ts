/** The rules of a clinic made ready for one flow under one setting of its policies. */

import { ANY_TIME_STEPS } from '../../flow/flow-step.ts'
import type { Condition, Goal, Happening, Rule } from '../../flow/rule-document.ts'
import { listOf } from '../../flow/rule-load.ts'
import type { Observation } from '../model/flat-nodes.ts'
import { nextOf } from '../model/steps-ahead.ts'
import { type FlatFlow, urgencyOf } from '../model/tables.ts'
import { freedBy } from './rule-freed.ts'
import {
  type CompiledCondition,
  type CompiledHappening,
  compileCondition,
  compileHappening,
  isCertain,
  isRuledOut,
  placesOf,
} from './rule-match.ts'

/** Something a rule waits for or remembers. */
export interface Atom {
  readonly happening: CompiledHappening
  /** Whether it is remembered from one reply to the next. */
  readonly isKept: boolean
}

export interface CompiledRule {
  readonly rule: Rule
  /** What it looks at; undefined for universality, which looks at every reply. */
  readonly event: CompiledHappening | undefined
  /** What must hold at every moment (universality). */
  readonly always: CompiledCondition | undefined
  readonly scope: CompiledCondition | undefined
  readonly unless: readonly CompiledCondition[]
  /** Atoms by number: what must have happened (`needs`), and the scope in time. */
  readonly needs: number | undefined
  readonly after: number | undefined
  readonly before: number | undefined
  readonly goals: readonly { readonly atom?: number; readonly holds?: CompiledCondition }[]
  /** Silence after which the goals must have come, as the rule writes it; undefined: in the same reply. */
  readonly silent: string | undefined
}

export interface CompiledRules {
  readonly rules: readonly CompiledRule[]
  readonly atoms: readonly Atom[]
  /** Tags that are remembered once said. */
  readonly tags: readonly string[]
}

/** Rules that speak of this flow and are not ruled out by its policies. */
export function compileRules(rules: readonly Rule[], flat: FlatFlow): CompiledRules {
  const atoms: Atom[] = []
  const known = new Map<string, number>()
  const atomOf = (happening: Happening | undefined, isKept: boolean): number | undefined => {
    if (happening === undefined) return undefined
    const key = JSON.stringify([happening, isKept])
    const found = known.get(key)
    if (found !== undefined) return found
    known.set(key, atoms.length)
    return atoms.push({ happening: compileHappening(happening, flat), isKept }) - 1
  }
  const condition = (value: Condition | undefined) => (value === undefined ? undefined : compileCondition(value, flat))
  const compiled = rules
    .filter(rule => appliesTo(rule, flat))
    .map((rule): CompiledRule => {
      const within = rule.response?.within
      const event = eventOf(rule)
      return {
        rule,
        event: event === undefined ? undefined : compileHappening(event, flat),
        always: condition(rule.universality),
        scope: condition(rule.while),
        unless: listOf(rule.unless).map(each => compileCondition(each, flat)),
        needs: atomOf(rule.existence ?? rule.precedence?.needs, true),
        after: atomOf(rule.after, true),
        before: rule.existence === undefined ? atomOf(rule.before, true) : undefined,
        goals: goalsOf(rule).map(goal => {
          if ('holds' in goal) return { holds: compileCondition(goal.holds, flat) }
          const atom = atomOf(goal, false)
          return atom === undefined ? {} : { atom }
        }),
        silent: typeof within === 'object' ? within.silent : undefined,
      }
    })
  return { rules: compiled, atoms, tags: [...new Set(compiled.flatMap(tagsRemembered))] }
}

/** Whether a rule speaks of this flow: it is not about others, can come to apply, and is not let off whatever is answered. */
export function appliesTo(rule: Rule, flat: FlatFlow): boolean {
  if (rule.flows !== undefined && !rule.flows.includes(flat.concern)) return false
  if (listOf(rule.unless).some(each => isCertain(each, flat))) return false
  return rule.while === undefined || !isRuledOut(rule.while, flat)
}

/** What a rule looks at: the trigger of a response, what an absence or precedence is about. */
export function eventOf(rule: Rule): Happening | undefined {
  if (rule.existence !== undefined) return rule.before
  return rule.absence ?? rule.precedence?.of ?? rule.response?.after
}

export function goalsOf(rule: Rule): readonly Goal[] {
  return listOf(rule.response?.must)
}

const tagsRemembered = (rule: CompiledRule): readonly string[] =>
  [rule.always, rule.scope, ...rule.unless, ...rule.goals.map(goal => goal.holds)].flatMap(each => each?.tags ?? [])

/**
 * What the rules compare and where, to be kept by the flow's tables. A place where the flow has always decided what frees
 * the rule (`unless` a disposition) is left out: nothing compared there could break it.
 */
export function observationsOf(rules: readonly Rule[], flat: FlatFlow): Observation[] {
  return rules
    .filter(rule => appliesTo(rule, flat))
    .flatMap(rule => {
      const event = eventOf(rule)
      const places = event === undefined ? 'all' : placesOf(event, flat)
      const free = freeing(rule)
      const open = free === undefined ? undefined : reachedBelow(flat, free)
      const conditions = [
        ...(rule.universality === undefined ? [] : [rule.universality]),
        ...(rule.while === undefined ? [] : [rule.while]),
        ...listOf(rule.unless),
        ...goalsOf(rule).flatMap(goal => ('holds' in goal ? [goal.holds] : [])),
      ]
      const compared = conditions.flatMap(each => compileCondition(each, flat).compared)
      const isAt = (step: { readonly id: string }) =>
        (places === 'all' || places.has(step.id)) && (open === undefined || open.has(step.id))
      // What is being answered need not be known before.
      const isAnswered = event?.answers !== undefined
      const freed = freedBy(rule)
      return compared.map(each => ({
        ...each,
        freed,
        isAt: step => isAt(step) && !(isAnswered && step.ask === each.on),
      }))
    })
}

/** The least urgency that alone frees a rule. */
function freeing(rule: Rule): number | undefined {
  const alone = listOf(rule.unless).flatMap(each => {
    const { decided } = each
    return decided !== undefined && Object.keys(each).length === 1 ? listOf(decided).map(urgencyOf) : []
  })
  return alone.length === 0 ? undefined : Math.min(...alone)
}

/** Steps that can be come to without an urgency of at least this having been decided, that step's own included. */
function reachedBelow(flat: FlatFlow, urgency: number): Set<string> {
  const own = new Set(flat.nodes.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  const side = flat.alarms.flatMap(({ target }, alarm) => (own.has(alarm) ? [] : [target]))
  const queue = [flat.start, ...ANY_TIME_STEPS.flatMap(id => flat.nodeOf.get(id) ?? []), ...side]
  const open = new Set<number>()
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (open.has(at) || (flat.nodes[at]?.decides ?? 0) >= urgency) continue
    open.add(at)
    queue.push(...nextOf(flat, at))
  }
  return new Set([...open].map(at => flat.nodes[at]?.id ?? ''))
}
