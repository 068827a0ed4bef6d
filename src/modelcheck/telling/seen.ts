/** What came of a stretch of conversation, and whether it is what was wanted: the same for a told night and a replay. */
import { factsAt } from '../../case/derive.ts'
import type { Effect } from '../../case/effect.ts'
import { flowOf, type Line } from '../../case/line.ts'
import type { CaseState } from '../../case/state.ts'
import { conditionHolds, type KernelFacts } from '../../flow/kernel.ts'
import type { Condition, Goal, Happening } from '../../flow/rule-document.ts'
import type { Instant } from '../../time/instant.ts'
import { urgencyOf } from '../model/tables.ts'
import type { Wanted } from './script.ts'

/** A stretch: effects from its first step on, the state before it, and the state it ended in. */
export interface Stretch {
  readonly line: Line
  readonly before: CaseState
  readonly after: CaseState
  readonly effects: readonly Effect[]
  /** Effects before the stretch. */
  readonly earlier: readonly Effect[]
  /** When it ends. */
  readonly at: Instant
}

/** Those of the wanted things that are not as wanted. */
export function amiss(stretch: Stretch, wanted: readonly Wanted[]): readonly Wanted[] {
  return wanted.filter(({ sense, what }) => isSo(stretch, what) !== (sense === 'must'))
}

function isSo(stretch: Stretch, goal: Goal): boolean {
  return 'holds' in goal ? isHeld(stretch, goal.holds) : hasHappened(stretch, goal)
}

function hasHappened(stretch: Stretch, happening: Happening): boolean {
  const { line, after, effects } = stretch
  const parts: boolean[] = []
  if (happening.says !== undefined) {
    const said = saidIn(stretch, effects)
    parts.push(happening.says.some(id => said.has(id)))
  }
  if (happening.decides !== undefined)
    parts.push(urgencyOf(after.disposition?.id) >= urgencyOf(happening.decides) && isNewlyDecided(stretch))
  if (happening.pages !== undefined) {
    const reasons = pagedFor(stretch)
    const wanted = happening.pages
    parts.push(wanted === 'any' ? reasons.length > 0 : reasons.some(reason => wanted.includes(reason)))
  }
  if (happening.asks !== undefined) {
    const asked = effects.flatMap(effect =>
      effect.kind === 'reply' ? effect.parts.flatMap(part => (part.kind === 'ask' ? part.fact : [])) : [],
    )
    const wanted = happening.asks
    parts.push(wanted === 'any' ? asked.length > 0 : asked.some(fact => wanted.includes(fact)))
  }
  if (happening.rests === true) parts.push(after.open === undefined)
  if (happening.ends === true)
    parts.push(after.closed || flowOf(line, after.concern).steps.get(after.kernel.talk)?.end === true)
  return parts.length > 0 && parts.every(part => part)
}

/** Tags said, and `advice/ID` for each piece of advice. */
function saidIn({ line, after }: Stretch, effects: readonly Effect[]): Set<string> {
  const { advice } = flowOf(line, after.concern)
  return new Set(
    effects.flatMap(effect =>
      effect.kind === 'reply'
        ? effect.parts.flatMap(part =>
            part.kind === 'say' ? [`advice/${part.id}`, ...(advice.get(part.id)?.tags ?? [])] : [],
          )
        : [],
    ),
  )
}

const isNewlyDecided = ({ before, after }: Stretch): boolean =>
  urgencyOf(after.disposition?.id) > urgencyOf(before.disposition?.id) || after.kernel.talk !== before.kernel.talk

/** Reasons for paging anew, and those added for whoever was paged already. What the ladder repeats is no new page. */
function pagedFor({ before, after, effects }: Stretch): readonly string[] {
  const sent = effects.flatMap(effect => {
    if (effect.kind !== 'page') return []
    const isNew = effect.why === 'update' || (effect.why === 'page' && effect.number === 1)
    return isNew ? [effect.reason] : []
  })
  const added = after.path.reasons.filter(reason => !before.path.reasons.includes(reason))
  return [...sent, ...added]
}

function isHeld(stretch: Stretch, condition: Condition): boolean {
  return Object.entries(condition).every(([on, listed]) => isPartHeld(stretch, on, [listed].flat()))
}

function isPartHeld(stretch: Stretch, on: string, values: readonly string[]): boolean {
  const { after, effects, earlier, line } = stretch
  const facts = { ...settableFacts(stretch), ...factsAt(line, after, stretch.at) }
  switch (on) {
    case 'decided':
      return urgencyOf(after.disposition?.id) >= Math.min(...values.map(urgencyOf))
    case 'history':
      return values.some(value =>
        value === 'danger'
          ? after.danger !== undefined
          : value === 'left'
            ? after.leftAt !== undefined
            : after.callout.pages.length > 0,
      )
    case 'armed':
      return Object.entries(after.alarms).some(
        ([name, { moment }]) => values.includes(name) || (moment !== undefined && values.includes(moment)),
      )
    case 'said': {
      const said = saidIn(stretch, [...earlier, ...effects])
      return values.some(value => said.has(value))
    }
    case 'in-force': {
      const { advice } = flowOf(line, after.concern)
      return Object.keys(after.inForce).some(id => (advice.get(id)?.tags ?? []).some(tag => values.includes(tag)))
    }
    default:
      return conditionHolds({ [on]: values }, facts)
  }
}

/** Facts that steps set: they stand in the machine, not among the answers. */
function settableFacts({ line, after }: Stretch): KernelFacts {
  return Object.fromEntries(
    Object.entries(after.kernel.facts).filter(([fact]) => line.flows.facts[fact]?.settable === true),
  )
}
