/**
 * What a way tells of the rows it came through: each row that was taken, each of its values without which another would have been,
 * and each row that one value more would have taken. Ways that meet all of these show an added, dropped or swapped value in any row.
 *
 * After modified condition/decision coverage: each condition shown to steer by itself (J. J. Chilenski, S. P. Miller, "Applicability of
 * modified condition/decision coverage to software testing", Software Engineering Journal 9(5), 1994; from memory).
 */
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import { conditionHolds, type Kernel, type KernelFacts } from '../../src/flow/kernel.ts'

type FlowRow = Step['rows'][number]

/** Where what is met now is written down. */
export interface Meeting {
  into: Set<string> | undefined
}

/** The set with every flow telling what its kernel comes through. */
export function meetingRows(set: FlowSet, meeting: Meeting): FlowSet {
  const told = (met: string) => meeting.into?.add(met)
  return { ...set, flows: new Map([...set.flows].map(([id, flow]) => [id, tellingRows(flow, told)])) }
}

function tellingRows(flow: Flow, told: (met: string) => void): Flow {
  const kernel: Kernel = {
    ...flow.kernel,
    step(state, event) {
      const next = flow.kernel.step(state, event)
      const entered = next.effects.flatMap(effect => (effect.kind === 'entered' ? [effect.step] : []))
      const left = event.type === 'answered' ? [state.talk, ...entered] : entered
      // The last one rests, and is left by a later event.
      for (const id of left.filter((id, at) => at < left.length - 1 || id !== next.state.talk)) {
        const step = flow.steps.get(id)
        if (step !== undefined) for (const met of metIn(step, next.state.facts)) told(`${id} ${met}`)
      }
      return next
    },
  }
  return { ...flow, kernel }
}

function metIn({ rows }: Pick<Step, 'rows'>, facts: KernelFacts): readonly string[] {
  const takenAt = rows.findIndex(row => conditionHolds(row.if, facts))
  const taken = rows[takenAt]
  if (taken === undefined) return []
  const next = rows.slice(takenAt + 1).find(row => conditionHolds(row.if, facts))
  return [
    `takes ${takenAt}`,
    ...(next === undefined || next.go === taken.go ? [] : [`takes ${takenAt} before ${rows.indexOf(next)}`]),
    ...(next?.go === taken.go ? [] : steering(taken, facts).map(by => `takes ${takenAt} by ${by}`)),
    ...rows
      .slice(0, takenAt)
      .flatMap((row, at) => (row.go === taken.go ? [] : missing(row, facts).map(by => `misses ${at} by ${by}`))),
  ]
}

/** Of each fact that one listed value alone fits: that value. */
function steering(row: FlowRow, facts: KernelFacts): readonly string[] {
  return Object.entries(row.if).flatMap(([fact, values]) => {
    const fitting = values.filter(value => conditionHolds({ [fact]: [value] }, facts))
    return fitting.length === 1 ? [`${fact} ${fitting[0]}`] : []
  })
}

/** Where one fact alone keeps a row from being taken: what that fact is. */
function missing(row: FlowRow, facts: KernelFacts): readonly string[] {
  const failing = Object.keys(row.if).filter(fact => !conditionHolds({ [fact]: row.if[fact] ?? [] }, facts))
  const [fact] = failing
  return failing.length === 1 && fact !== undefined ? valuesOf(fact, facts).map(value => `${fact} ${value}`) : []
}

/** A fact's value; of one that may have many, all of them. */
function valuesOf(fact: string, facts: KernelFacts): readonly string[] {
  const many = Object.keys(facts).flatMap(id =>
    id.startsWith(`${fact}.`) && facts[id] === 'yes' ? [id.slice(fact.length + 1)] : [],
  )
  return [
    facts[fact] ?? 'not-asked',
    ...many,
    ...(facts[`${fact}~`] === undefined ? [] : [facts[`${fact}~`] as string]),
  ]
}
