/** The shortest conversation that breaks one rule in an edited copy of the shipped flows, as the checker finds it. */
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { loadFlows } from '../../src/flow/load.ts'
import type { Rule } from '../../src/flow/rule-document.ts'
import { loadRules } from '../../src/flow/rule-load.ts'
import { type Explored, explore } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { checkFlow } from '../../src/modelcheck/rules/check-flow.ts'
import { compileRules, observationsOf } from '../../src/modelcheck/rules/rule-compile.ts'
import { ruleWatch } from '../../src/modelcheck/rules/rule-watch.ts'
import { instant } from '../../src/time/instant.ts'

export interface Edit {
  readonly file: string
  readonly find: string
  readonly put: string
}

export interface Breach {
  readonly line: LoadedLine['line']
  readonly flat: FlatFlow
  readonly rule: Rule
  readonly way: readonly Move[]
}

/** The texts of the shipped flows with every edit made. Throws where an edit finds nothing. */
export function editedFlows(edits: readonly Edit[]): ReadonlyMap<string, string> {
  const files = new Map(readFlowFiles())
  for (const { file, find, put } of edits) {
    const text = files.get(file) ?? ''
    if (!text.includes(find)) throw new Error(`${file} has no "${find}"`)
    files.set(file, text.replaceAll(find, put))
  }
  return files
}

/** Throws where the rule holds. */
export function firstBreach(
  concern: string,
  edits: readonly Edit[],
  ruleId: string,
  policies: Readonly<Record<string, string>> = {},
): Breach {
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: instant(Date.parse('2026-03-01T07:10:00Z')) })
  const files = editedFlows(edits)
  const { set, problems } = loadFlows(files)
  const flow = set?.flows.get(concern)
  if (loaded === undefined || set === undefined || flow === undefined)
    throw new Error(`the edited flows cannot be read: ${problems[0]?.found}`)
  const rule = loadRules(files, set, Object.keys(loaded.line.settings)).rules?.rules.find(({ id }) => id === ruleId)
  if (rule === undefined) throw new Error(`there is no rule "${ruleId}"`)
  const plain = flatten(flow, set, { policies })
  const flat = flatten(flow, set, { policies, observed: observationsOf([rule], plain) })
  const watch = ruleWatch(compileRules([rule], flat), flat)
  let walked: Explored | undefined
  try {
    walked = explore(flat, {
      resume: 'return',
      watch: watch.watch,
      marks: watch.marks,
      onMover: watch.listen,
      onEdge(edge) {
        watch.onEdge(edge)
        if (watch.broken[0] !== undefined) throw new Broken()
      },
    })
  } catch (error) {
    const seen = watch.broken[0]
    const way = (error as { way?: readonly Move[] }).way
    if (seen === undefined || way === undefined) throw error
    const line = { ...loaded.line, flows: set, settings: { ...loaded.line.settings, ...(policies as object) } }
    return { line, flat, rule, way: [...way, seen.move] }
  }
  // Silence is looked at once all states are known.
  const lengths = Object.fromEntries(
    Object.entries(loaded.line.settings).filter(([, value]) => typeof value === 'number'),
  )
  const settings = { lengths: lengths as Record<string, number>, settledNeedsChange: true, sayable: new Map() }
  const rules = { rules: [rule], worse: {} }
  const { report } = checkFlow(flow, set, rules, { settings, now: () => 0, policies, interruptions: 'whole' })
  const finding = report.findings.find(each => each.rule === ruleId)
  if (finding === undefined) throw new Error(`rule "${ruleId}" holds in all ${walked.states} states`)
  return { line: { ...loaded.line, flows: set }, flat, rule, way: finding.way }
}

class Broken extends Error {}
