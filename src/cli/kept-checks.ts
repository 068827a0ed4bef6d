/** What checks of single flows showed, kept between checks: a flow of which nothing has changed is not walked again. */
import { readdirSync, statSync } from 'node:fs'
import { dirname, join } from 'node:path'
import type { Flow, FlowSet } from '../flow/flow-set.ts'
import type { RuleSet } from '../flow/rule-document.ts'
import type { FlowCheck } from '../modelcheck/rules/check-flow.ts'
import type { CheckOptions, CheckRun } from '../modelcheck/rules/check-flows.ts'
import { digest, discard, isJson, keptIn, keptPath, programMark, writeKept } from './kept-file.ts'

export interface KeptChecks {
  /** The digest of everything a walk of one run depends on; undefined: nothing can be kept. */
  keyOf(run: CheckRun): string | undefined
  /** What was kept of a run, marked as such. */
  find(run: CheckRun): FlowCheck | undefined
  keep(run: CheckRun, check: FlowCheck): void
}

/** Folders of src whose code decides what a walk shows. */
export const WALKING_CODE = ['time', 'clinical', 'flow', 'oncall', 'case', 'modelcheck']

/** Checks of more runs than this are not kept: the oldest go. */
const KEPT_MOST = 200

/**
 * Under the digest of a flow's steps, advice, facts, tags and derived facts, the rules, the clinic's settings that a walk
 * reads, what is walked how, the code that walks, what is installed and Node. Words are not in it: nothing that is walked reads
 * them. A file that is damaged, of another user, or writable by others is not looked at.
 */
export function keptChecks(
  set: FlowSet,
  rules: RuleSet,
  options: CheckOptions,
  folder: string = keptPath('checks'),
): KeptChecks {
  const program = programMark(WALKING_CODE)
  const { facts, derived, policies, tags } = set
  const { settings, interruptions, statesMost, compares } = options
  const shared = JSON.stringify([program, facts, derived, policies, tags, rules])
  const keys = new Map<CheckRun, string>()

  function keyOf(run: CheckRun): string | undefined {
    if (program === undefined) return undefined
    const found = keys.get(run)
    if (found !== undefined) return found
    const about = walkedOf(run.flow)
    const said = [...settings.sayable]
    const how = [settings, said, interruptions ?? 'by size', statesMost ?? 'as many as it takes', compares ?? 'by size']
    const key = digest(JSON.stringify([shared, about, run.policies, how]))
    keys.set(run, key)
    return key
  }

  const fileOf = (key: string) => join(folder, key)

  return {
    keyOf,
    find(run) {
      const key = keyOf(run)
      const kept = key === undefined ? undefined : (keptIn(fileOf(key)) as Written | undefined)
      return kept === undefined
        ? undefined
        : { report: { ...kept.report, asBefore: true }, covered: new Set(kept.covered) }
    },
    keep(run, { report, covered }) {
      const key = keyOf(run)
      const written: Written = { report, covered: [...covered] }
      if (key === undefined || report.asBefore === true || !isJson(written)) return
      writeKept(fileOf(key), JSON.stringify(written))
      letOldestGo(fileOf(key))
    },
  }
}

/** What a walk reads of a flow, as JSON can hold it: all but its words. */
export function walkedOf(flow: Flow) {
  const { kernel: _kernel, wording: _wording, sources: _sources, ...walked } = flow
  return { ...walked, steps: [...walked.steps], advice: [...walked.advice] }
}

/** As it stands in a file. */
interface Written {
  readonly report: FlowCheck['report']
  readonly covered: readonly string[]
}

/** Of the files beside this one, all but the latest go. */
export function letOldestGo(file: string): void {
  try {
    const folder = dirname(file)
    const names = readdirSync(folder)
    if (names.length <= KEPT_MOST) return
    const byAge = names
      .map(name => ({ path: join(folder, name), at: statSync(join(folder, name)).mtimeMs }))
      .sort((a, b) => b.at - a.at)
    for (const { path } of byAge.slice(KEPT_MOST)) discard(path)
  } catch {
    // Another check has let them go meanwhile.
  }
}
