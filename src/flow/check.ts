/** What a flow may not say: every id must exist, every route must be total, every end must have decided. */
import type { AdviceDocument, StepDocument } from './document.ts'
import type { FlowFolder, FlowSources, Placed } from './flow-sources.ts'
import { ANY_TIME_STEPS } from './flow-step.ts'
import type { Problem } from './problem.ts'
import { BACK, CASE_ALARMS, reachableSteps, resolveRef, resolveStep, sideEntries, targetsOf } from './steps.ts'
import { type PlacedYaml, unknownId } from './yaml-places.ts'

/** Settings an alarm may count from. */
export const ALARM_SETTINGS = [
  'left-check',
  'left-silent',
  'arrival-grace',
  'promise-grace',
  'asked-again-after',
  'flush-wait',
  'closure-soonest',
  'closure-latest',
  'closure-overdue',
] as const

/** Problems of one flow folder against the shared files. Shared steps are checked with each flow, reported once. */
export function checkFlow(sources: FlowSources, folder: FlowFolder): Problem[] {
  const problems: Problem[] = []
  const { flow } = folder
  const shared = sources.sharedSteps
  const stepIds = new Set([
    ...Object.keys(flow.value.steps),
    ...Object.keys(shared.value.steps).map(id => `shared/${id}`),
  ])
  const advice: Record<string, AdviceDocument> = {
    ...sources.sharedSources.value.advice,
    ...folder.sources.value.advice,
  }
  const report = (
    yaml: PlacedYaml,
    path: PropertyKey[],
    kind: string,
    id: string,
    valid: Iterable<string>,
    key = false,
  ) => problems.push(unknownId(yaml, path, kind, id, valid, key))

  if (flow.value.concern !== folder.name) {
    problems.push({
      code: 'CONCERN_NAME',
      file: flow.yaml.file,
      ...flow.yaml.place(['concern']),
      found: `concern "${flow.value.concern}"`,
      expected: `the folder's name, "${folder.name}"`,
      severity: 'problem',
    })
  }
  for (const [path, ref] of [
    [['start'], flow.value.start],
    [['silence', 'ask'], flow.value.silence?.ask],
    [['silence', 'page'], flow.value.silence?.page],
    [['unanswered'], flow.value.unanswered],
    [['left'], flow.value.left],
    ...Object.entries(flow.value.back ?? {}).map(([name, ref]) => [['back', name], ref] as const),
  ] as const) {
    if (ref !== undefined && !stepIds.has(ref)) report(flow.yaml, [...path], 'step', ref, stepIds)
  }
  for (const needed of ANY_TIME_STEPS) {
    if (!stepIds.has(needed)) report(shared.yaml, ['steps'], 'step', needed, [])
  }
  checkSteps(flow, false)
  checkSteps(shared, true)
  checkReach()
  checkAlarmNames()
  return problems

  function checkSteps(file: Placed<{ steps: Record<string, StepDocument> }>, inShared: boolean) {
    for (const [id, step] of Object.entries(file.value.steps)) {
      const at = (...path: PropertyKey[]) => ['steps', id, ...path]
      const knownAdvice = inShared ? sources.sharedSources.value.advice : advice
      step.say?.forEach((ref, i) => {
        if (!(ref in knownAdvice)) report(file.yaml, at('say', i), 'advice', ref, Object.keys(knownAdvice))
      })
      if (step.ask !== undefined) checkAsk(file.yaml, at('ask'), step.ask)
      for (const [fact, value] of Object.entries(step.set ?? {})) checkValue(file.yaml, at('set', fact), fact, value)
      const checkTarget = (path: PropertyKey[], ref: string) => {
        const target = resolveRef(flow.value, ref, inShared)
        if (inShared && target.startsWith(BACK)) checkHandsBack(id, target)
        else if (ref !== 'resume' && !stepIds.has(target)) report(file.yaml, path, 'step', ref, stepIds)
      }
      if (step.go !== undefined) checkTarget(at('go'), step.go)
      step.route?.forEach((row, i) => {
        checkTarget(at('route', i, 'go'), row.go)
        for (const [fact, values] of Object.entries(row.if ?? {}))
          for (const [j, value] of values.entries()) checkValue(file.yaml, at('route', i, 'if', fact, j), fact, value)
      })
      checkTotal(file.yaml, at('route'), step)
      step.alarms?.forEach((alarm, i) => {
        checkTarget(at('alarms', i, 'go'), alarm.go)
        if (alarm.after !== undefined && !(ALARM_SETTINGS as readonly string[]).includes(alarm.after)) {
          report(file.yaml, at('alarms', i, 'after'), 'setting', alarm.after, ALARM_SETTINGS)
        }
      })
    }
  }

  /** A flow that never comes to a shared step need not say where that step hands back to. */
  function checkHandsBack(id: string, ref: string) {
    if (!reachableSteps(flow.value, shared.value.steps).has(`shared/${id}`)) return
    problems.push({
      code: 'BACK_MISSING',
      file: flow.yaml.file,
      ...flow.yaml.place(flow.value.back === undefined ? ['concern'] : ['back']),
      found: `the shared step "${id}", used here, that hands back to "${ref}"`,
      expected: `a line "${ref.slice(BACK.length)}:" with a step of this flow under "back"`,
      severity: 'problem',
    })
  }

  function checkAsk(yaml: PlacedYaml, path: PropertyKey[], fact: string) {
    const facts = sources.facts.value.facts
    const document = facts[fact]
    if (document === undefined) report(yaml, path, 'fact', fact, Object.keys(facts))
    else if (document.settable === true) {
      problems.push({
        code: 'NOT_ASKABLE',
        file: yaml.file,
        ...yaml.place(path),
        found: `"${fact}" is set by steps`,
        expected: 'a fact that a caregiver answers',
        severity: 'problem',
      })
    }
  }

  /** A fact compared with a value in a condition or set by a step. */
  function checkValue(yaml: PlacedYaml, path: PropertyKey[], fact: string, value: string) {
    const { facts, derived, policies } = sources.facts.value
    const document = facts[fact]
    const known = [...Object.keys(facts), ...Object.keys(derived), ...Object.keys(policies)]
    const keyPath = path.at(-1) === fact ? path : path.slice(0, -1)
    let values: readonly string[]
    if (document !== undefined) {
      if (document.values === undefined) {
        problems.push({
          code: 'NOT_COMPARABLE',
          file: yaml.file,
          ...yaml.place(keyPath, true),
          found: `"${fact}" is a ${document.kind}`,
          expected: 'a choice, or a fact derived from it (a number or time is cut into bands first)',
          severity: 'problem',
        })
        return
      }
      values = [...document.values, 'unsure', 'not-asked']
    } else if (derived[fact] !== undefined) values = [...(derived[fact]?.values ?? []), 'not-asked']
    else if (policies[fact] !== undefined) values = policies[fact] ?? []
    else {
      report(yaml, keyPath, 'fact', fact, known, true)
      return
    }
    if (!values.includes(value)) report(yaml, path, `value of ${fact}`, value, values)
  }

  function checkTotal(yaml: PlacedYaml, path: PropertyKey[], step: StepDocument) {
    const rows = step.route
    if (rows === undefined) return
    rows.forEach((row, i) => {
      const last = i === rows.length - 1
      if (last && row.if !== undefined) {
        problems.push({
          code: 'ROUTE_NOT_TOTAL',
          file: yaml.file,
          ...yaml.place([...path, i]),
          found: 'a condition on the last row',
          expected: 'a last row with no condition',
          severity: 'problem',
        })
      }
      const taken = rows.slice(0, i).some(earlier => earlier.if !== undefined && fitsWhenever(earlier.if, row.if))
      if (taken) {
        problems.push({
          code: 'ROUTE_SHADOWED',
          file: yaml.file,
          ...yaml.place([...path, i]),
          found: 'a row that an earlier row always takes',
          expected: 'a row that can be reached',
          severity: 'problem',
        })
      }
      if (!last && row.if === undefined) {
        problems.push({
          code: 'ROUTE_SHADOWED',
          file: yaml.file,
          ...yaml.place([...path, i]),
          found: 'a row with no condition before the last',
          expected: 'rows after it that can be reached',
          severity: 'problem',
        })
      }
    })
  }

  function checkReach() {
    const steps = reachableSteps(flow.value, shared.value.steps)
    const seen = new Set<string>()
    const queue: string[] = [flow.value.start, ...sideEntries(flow.value)]
    for (let id = queue.pop(); id !== undefined; id = queue.pop()) {
      const step = steps.get(id)
      if (step === undefined || seen.has(id)) continue
      seen.add(id)
      queue.push(...targetsOf(step))
    }
    for (const id of Object.keys(flow.value.steps)) {
      if (!seen.has(id)) {
        problems.push({
          code: 'STEP_UNREACHABLE',
          file: flow.yaml.file,
          ...flow.yaml.place(['steps', id], true),
          found: `step "${id}" that nothing leads to`,
          expected: 'a step some route or alarm leads to',
          severity: 'problem',
        })
      }
    }
    for (const id of endsUndecided(flow.value.start, steps)) {
      problems.push({
        code: 'END_UNDECIDED',
        file: flow.yaml.file,
        ...flow.yaml.place(['steps', id], true),
        found: `step "${id}" can end with nothing decided`,
        expected: 'a "decide" on every way to it',
        severity: 'problem',
      })
    }
    for (const step of steps.values()) {
      if (hasSilentLoop(step.id, steps)) {
        problems.push({
          code: 'LOOP',
          file: flow.yaml.file,
          ...flow.yaml.place(['steps', step.id], true),
          found: `step "${step.id}" can come back to itself with no question between`,
          expected: 'a question or a wait on every way round',
          severity: 'problem',
        })
      }
    }
  }

  function checkAlarmNames() {
    const targets = new Map<string, string>()
    const all = [
      ...Object.entries(flow.value.steps).map(([id, step]) => ({
        step: resolveStep(flow.value, id, step, false),
        yaml: flow.yaml,
        id,
      })),
      ...Object.entries(shared.value.steps).map(([id, step]) => ({
        step: resolveStep(flow.value, `shared/${id}`, step, true),
        yaml: shared.yaml,
        id,
      })),
    ]
    for (const { step, yaml, id } of all) {
      step.alarms.forEach((alarm, i) => {
        if ((CASE_ALARMS as readonly string[]).includes(alarm.name)) {
          problems.push({
            code: 'ALARM_NAME_TAKEN',
            file: yaml.file,
            ...yaml.place(['steps', id, 'alarms', i, 'name']),
            found: `alarm "${alarm.name}", which every case sets by itself`,
            expected: 'another name',
            severity: 'problem',
          })
        }
        const first = targets.get(alarm.name)
        if (first !== undefined && first !== alarm.go) {
          problems.push({
            code: 'ALARM_TWO_TARGETS',
            file: yaml.file,
            ...yaml.place(['steps', id, 'alarms', i]),
            found: `alarm "${alarm.name}" leads to "${alarm.go}"`,
            expected: `"${first}", where it leads elsewhere`,
            severity: 'problem',
          })
        }
        targets.set(alarm.name, alarm.go)
      })
    }
    for (const { step, yaml, id } of all) {
      step.cancel?.forEach((name, i) => {
        if (!targets.has(name)) report(yaml, ['steps', id, 'cancel', i], 'alarm', name, targets.keys())
      })
    }
  }
}

/** Whether `earlier` holds whenever `later` does: it names no fact more, and no value less. */
function fitsWhenever(
  earlier: Readonly<Record<string, readonly string[]>>,
  later: Readonly<Record<string, readonly string[]>> | undefined,
): boolean {
  if (later === undefined) return false
  return Object.entries(earlier).every(([fact, values]) => later[fact]?.every(value => values.includes(value)) === true)
}

/** Steps that end the concern and can be reached from the start with nothing decided on the way. */
function endsUndecided(start: string, steps: ReadonlyMap<string, ReturnType<typeof resolveStep>>): string[] {
  const seen = new Set<string>()
  const queue = [start]
  const ends: string[] = []
  for (let id = queue.pop(); id !== undefined; id = queue.pop()) {
    const step = steps.get(id)
    if (step === undefined || seen.has(id) || step.decide !== undefined) continue
    seen.add(id)
    if (step.end === true) ends.push(id)
    queue.push(...targetsOf(step))
  }
  return ends
}

function hasSilentLoop(start: string, steps: ReadonlyMap<string, ReturnType<typeof resolveStep>>): boolean {
  const seen = new Set<string>()
  const queue = [start]
  for (let id = queue.pop(); id !== undefined; id = queue.pop()) {
    const step = steps.get(id)
    if (step === undefined || step.ask !== undefined) continue
    for (const row of step.rows) {
      if (row.go === start) return true
      if (!seen.has(row.go)) {
        seen.add(row.go)
        queue.push(row.go)
      }
    }
  }
  return false
}
