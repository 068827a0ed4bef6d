/** Steps of a flow with their references resolved, and where they lead. */
import type { FlowDocument, StepDocument } from './document.ts'
import { ANY_TIME_STEPS, type Step } from './flow-step.ts'

/** How a shared step names a place in the flow that uses it. */
export const BACK = 'back/'

/** The whole id of a step that a step of the flow, or of flows/shared/steps.yaml, names. */
export function resolveRef(document: FlowDocument, ref: string, inShared: boolean): string {
  if (!inShared || ref === 'resume' || ref.startsWith('shared/')) return ref
  return ref.startsWith(BACK) ? (document.back?.[ref.slice(BACK.length)] ?? ref) : `shared/${ref}`
}

/** A step with its references resolved; `inShared` when it stands in flows/shared/steps.yaml. */
export function resolveStep(document: FlowDocument, id: string, step: StepDocument, inShared: boolean): Step {
  const resolve = (ref: string) => resolveRef(document, ref, inShared)
  const { route, go, alarms, ...rest } = step
  const rows =
    route?.map(row => ({ if: row.if ?? {}, go: resolve(row.go) })) ??
    (go === undefined ? [] : [{ if: {}, go: resolve(go) }])
  return { ...rest, id, rows, alarms: (alarms ?? []).map(alarm => ({ ...alarm, go: resolve(alarm.go) })) }
}

/** The flow's own steps and every shared step they, the silence steps or the any-time steps lead to. */
export function reachableSteps(document: FlowDocument, shared: Record<string, StepDocument>): Map<string, Step> {
  const steps = new Map<string, Step>()
  for (const [id, step] of Object.entries(document.steps)) steps.set(id, resolveStep(document, id, step, false))
  const queue: string[] = sideEntries(document)
  for (const step of steps.values()) queue.push(...targetsOf(step))
  for (let id = queue.pop(); id !== undefined; id = queue.pop()) {
    if (steps.has(id) || !id.startsWith('shared/')) continue
    const found = shared[id.slice('shared/'.length)]
    if (found === undefined) continue
    const step = resolveStep(document, id, found, true)
    steps.set(id, step)
    queue.push(...targetsOf(step))
  }
  return steps
}

/** Every step a step can lead to, by route or by alarm. */
export function targetsOf(step: Step): string[] {
  return [...step.rows.map(row => row.go), ...step.alarms.map(alarm => alarm.go)].filter(target => target !== 'resume')
}

/** Alarm names of a flow with the step each leads to; silence has two of its own. */
export const SILENT_ASK = 'silent-ask'
export const SILENT_PAGE = 'silent-page'
export const UNANSWERED = 'unanswered'
export const LEFT = 'left'
/** Names of the alarms a case sets by itself (ladder, promised call, closure clock, closing); no flow may set these. */
export const CASE_ALARMS = ['rung', 'promise', 'closure', 'close', SILENT_ASK, SILENT_PAGE, UNANSWERED] as const
export function alarmTargets(document: FlowDocument, steps: ReadonlyMap<string, Step>): Map<string, string> {
  const targets = new Map<string, string>()
  for (const step of steps.values()) for (const alarm of step.alarms) targets.set(alarm.name, alarm.go)
  if (document.silence !== undefined) {
    targets.set(SILENT_ASK, document.silence.ask)
    targets.set(SILENT_PAGE, document.silence.page)
  }
  if (document.unanswered !== undefined) targets.set(UNANSWERED, document.unanswered)
  if (document.left !== undefined) targets.set(LEFT, document.left)
  return targets
}

/** Steps outside the routes that a flow's own lines lead to. */
export function sideEntries(document: FlowDocument): string[] {
  return [...ANY_TIME_STEPS, document.silence?.ask, document.silence?.page, document.unanswered, document.left].filter(
    ref => ref !== undefined,
  )
}
