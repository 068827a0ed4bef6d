/**
 * What frees a rule for good, so that nothing it looks at need be remembered any more: an urgency that nothing but talk
 * begun anew lowers, and tags that were said. Where these meet what the rule demands, its subject must have come up
 * before, so that the walk still shows that it does.
 */
import type { Condition, Rule } from '../../flow/rule-document.ts'
import { listOf } from '../../flow/rule-load.ts'
import type { Observation } from '../model/flat-nodes.ts'
import { type Mark, urgencyOf } from '../model/tables.ts'

type Freeing = Observation['freed'][number]

export function freedBy(rule: Rule): readonly Freeing[] {
  const letOff = listOf(rule.unless).flatMap(each => (isLasting(each) ? [allOf([each], [])] : []))
  const goals = goalsHeld(rule)
  return goals === undefined ? letOff : [...letOff, allOf(goals, [{ cameUp: rule.id }])]
}

/** Everything a rule demands, where it lasts once it holds. */
function goalsHeld({ universality, response }: Rule): readonly Condition[] | undefined {
  if (universality !== undefined) return isLasting(universality) ? [universality] : undefined
  if (response === undefined) return undefined
  const held = listOf(response.must).flatMap(goal => ('holds' in goal && isLasting(goal.holds) ? [goal.holds] : []))
  return held.length === listOf(response.must).length ? held : undefined
}

const isLasting = (condition: Condition): boolean =>
  Object.keys(condition).every(word => word === 'decided' || word === 'said')

/** All of these conditions, and these marks beside. */
function allOf(conditions: readonly Condition[], marks: readonly Mark[]): Freeing {
  const urgencies = conditions.flatMap(({ decided }) => (decided === undefined ? [] : [leastOf(decided)]))
  const said = conditions.flatMap((each): Mark[] => (each.said === undefined ? [] : [{ said: wordsOf(each.said) }]))
  return { urgency: Math.max(0, ...urgencies), marks: [...said, ...marks] }
}

const wordsOf = (listed: string | readonly string[]) => (typeof listed === 'string' ? [listed] : listed)
const leastOf = (listed: string | readonly string[]) => Math.min(...wordsOf(listed).map(urgencyOf))
