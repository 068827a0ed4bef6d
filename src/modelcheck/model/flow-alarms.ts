import type { Flow } from '../../flow/flow-set.ts'
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'

/** Alarms of a compiled flow with the step each leads to, those of silence and of a page that ran out among them. */
export function alarmTargetsOf(flow: Flow): ReadonlyMap<string, string> {
  const targets = new Map<string, string>()
  for (const step of flow.steps.values()) for (const alarm of step.alarms) targets.set(alarm.name, alarm.go)
  if (flow.silence !== undefined) {
    targets.set(SILENT_ASK, flow.silence.ask)
    targets.set(SILENT_PAGE, flow.silence.page)
  }
  if (flow.unanswered !== undefined) targets.set(UNANSWERED, flow.unanswered)
  if (flow.left !== undefined) targets.set(LEFT, flow.left)
  return targets
}
