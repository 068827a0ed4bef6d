/** One check of a folder of flows, from its files to everything found, with each finding's conversation told. */

import { join } from 'node:path'
import type { Silenced } from '../flow/lint-exceptions.ts'
import type { Problem } from '../flow/problem.ts'
import type { Rule, RuleSet } from '../flow/rule-document.ts'
import { loadRules } from '../flow/rule-load.ts'
import { flatten } from '../modelcheck/model/flat-flow.ts'
import { givableIn } from '../modelcheck/model/givable.ts'
import { LADDERS, walkLadder } from '../modelcheck/model/ladder.ts'
import type { FlatFlow } from '../modelcheck/model/tables.ts'
import type { FlowCheck } from '../modelcheck/rules/check-flow.ts'
import { type CheckOptions, type CheckRun, checkFlows, rulesChosen, runsOf } from '../modelcheck/rules/check-flows.ts'
import type { CheckProgress, CheckReport, Finding, LadderReport } from '../modelcheck/rules/findings.ts'
import { observationsOf } from '../modelcheck/rules/rule-compile.ts'
import { type Told, tell } from '../modelcheck/telling/tell.ts'
import type { Instant } from '../time/instant.ts'
import { sayableIn } from '../understand/fact.ts'
import { CalledWrongly } from './command.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { type KeptChecks, keptChecks } from './kept-checks.ts'
import { type KeptLadder, keptLadder, ladderKept } from './kept-ladder.ts'
import { type LoadedLine, loadLine } from './load-line.ts'

export interface CheckRequest {
  readonly flowsDir: string
  readonly clinicDir: string
  readonly at: Instant
  /** Milliseconds that only ever grow. */
  readonly now: () => number
  readonly flows?: readonly string[]
  readonly rules?: readonly string[]
  /** `clinic`: all off, and as the clinic has set them. */
  readonly policies: 'clinic' | 'shipped' | 'few' | 'every'
  /** Holds the tables of large flows, too, to the machine that serves. */
  readonly compares?: boolean
  /** Follows every interruption and change of mind, any number of times, in large flows too. */
  readonly isWhole?: boolean
  /** Walks every flow, also where nothing it depends on has changed since it was walked. */
  readonly isAfresh?: boolean
  readonly onProgress?: (progress: CheckProgress) => void
}

/** One thing that breaks, under the first settings it was found with. */
export interface Violation {
  readonly finding: Finding
  /** Settings of policies beside that, under which the same breaks. */
  readonly others: number
  readonly rule?: Rule
  readonly told?: Told
}

export interface Checked {
  readonly problems: readonly Problem[]
  /** Findings about the words that somebody let pass. */
  readonly silenced: readonly Silenced[]
  /** Texts of the flows and rules that were walked, by path. */
  readonly files: ReadonlyMap<string, string>
  /** Absent where problems stand in the way. */
  readonly report?: CheckReport
  readonly rules?: RuleSet
  readonly loaded?: LoadedLine
  readonly violations: readonly Violation[]
}

/** Settings that are lengths of time or numbers, by id, as rules and the checker name them. */
function lengthsOf({ line }: LoadedLine): Readonly<Record<string, number>> {
  return Object.fromEntries(
    Object.entries(line.settings).filter((entry): entry is [string, number] => typeof entry[1] === 'number'),
  )
}

function policiesOf({ line }: LoadedLine): Readonly<Record<string, string>> {
  const settings = line.settings as unknown as Readonly<Record<string, unknown>>
  return Object.fromEntries(Object.keys(line.flows.policies).map(id => [id, String(settings[id] ?? 'off')]))
}

/** What a check walks and with what, once its files are read; without `walk` something stands in the way. */
export interface CheckPlan extends Pick<Checked, 'problems' | 'silenced' | 'files' | 'loaded'> {
  readonly walk?: CheckWalk
}

export interface CheckWalk {
  readonly loaded: LoadedLine
  readonly rules: RuleSet
  readonly options: CheckOptions
  readonly runs: readonly CheckRun[]
  readonly kept: KeptChecks
  /** Absent where the call-out ladder is not asked for. */
  readonly ladder?: KeptLadder
}

/** What was walked elsewhere meanwhile: runs by their key, ladders by `ladderKey`. */
export interface WalkedElsewhere {
  readonly runs: ReadonlyMap<string, FlowCheck>
  readonly ladders: ReadonlyMap<string, LadderReport>
}

export const ladderKey = ({ people, urgency }: Pick<LadderReport, 'people' | 'urgency'>): string =>
  `ladder of ${people}, ${urgency}`

export function planOf(request: CheckRequest): CheckPlan {
  const { flowsDir, clinicDir, at } = request
  const files = withRules(readFlowFiles(flowsDir, join(clinicDir, 'flows')))
  const { loaded, problems, silenced } = loadLine({ clinicDir, flowsDir, at })
  if (loaded === undefined || problems.some(({ severity }) => severity === 'problem'))
    return { problems, silenced, files }
  const set = loaded.line.flows
  const lengths = lengthsOf(loaded)
  const read = loadRules(files, set, Object.keys(lengths))
  const all = [...problems, ...read.problems]
  if (read.rules === undefined) return { problems: all, silenced, files, loaded }
  assertKnown(request, set.flows.keys(), read.rules)
  const options: CheckOptions = {
    settings: {
      lengths,
      settledNeedsChange: loaded.line.settings['tract-settled-needs-change'] === 'yes',
      sayable: sayableIn(loaded.lexicons.values()),
    },
    now: request.now,
    ...(request.policies === 'clinic'
      ? { policies: 'shipped' as const, own: policiesOf(loaded) }
      : { policies: request.policies }),
    ...(request.flows === undefined ? {} : { flows: request.flows }),
    ...(request.rules === undefined ? {} : { rules: request.rules }),
    ...(request.isWhole === true ? { interruptions: 'whole' as const, compares: request.compares === true } : {}),
    ...(request.compares === true ? { compares: true } : {}),
    ...(request.onProgress === undefined ? {} : { onProgress: request.onProgress }),
  }
  const ladder = request.flows === undefined && request.rules === undefined ? { ladder: keptLadder(loaded) } : {}
  const runs = runsOf(set, options)
  const kept = keptChecks(set, rulesChosen(read.rules, options), options)
  return { problems: all, silenced, files, loaded, walk: { loaded, rules: read.rules, options, runs, kept, ...ladder } }
}

export function runCheck(
  request: CheckRequest,
  plan: CheckPlan = planOf(request),
  walked: WalkedElsewhere = { runs: new Map(), ladders: new Map() },
): Checked {
  const { walk, ...read } = plan
  if (walk === undefined) return { ...read, violations: [] }
  const { loaded, rules, options, kept } = walk
  const chosen = rulesChosen(rules, options)
  const report = checkFlows(loaded.line.flows, rules, {
    ...options,
    ...(walk.ladder === undefined ? {} : { ladder: () => laddersWalked(request, loaded, walked) }),
    walked: run => walked.runs.get(kept.keyOf(run) ?? '') ?? (request.isAfresh === true ? undefined : kept.find(run)),
    onWalked: kept.keep,
  })
  // With every lock shut, what lies behind it comes up nowhere: that says nothing of the flow.
  const whole = request.policies === 'clinic' || request.policies === 'shipped' ? { ...report, findings: [] } : report
  return {
    ...read,
    report: whole,
    rules: chosen,
    violations: violationsOf(whole, chosen, loaded, request.rules !== undefined),
  }
}

/** As kept, or those that were walked elsewhere, and the others walked now. */
function laddersWalked(
  { isAfresh }: CheckRequest,
  loaded: LoadedLine,
  { ladders }: WalkedElsewhere,
): readonly LadderReport[] {
  return ladderKept(loaded, isAfresh === true, line =>
    LADDERS.map(which => ladders.get(ladderKey(which)) ?? walkLadder(line, which)),
  )
}

/** A folder without rules is held to the shipped ones. */
function withRules(files: ReadonlyMap<string, string>): ReadonlyMap<string, string> {
  if ([...files.keys()].some(path => path.startsWith('rules/'))) return files
  const shipped = [...readFlowFiles(SHIPPED_FLOWS)].filter(([path]) => path.startsWith('rules/'))
  return new Map([...files, ...shipped])
}

function assertKnown({ flows, rules }: CheckRequest, concerns: Iterable<string>, { rules: known }: RuleSet): void {
  const names = [...concerns]
  const strange = flows?.find(id => !names.includes(id))
  if (strange !== undefined) throw new CalledWrongly(`--flow ${strange}: one of ${names.join(', ')} was expected`)
  const missing = rules?.find(id => !known.some(rule => rule.id === id))
  if (missing !== undefined)
    throw new CalledWrongly(`--rule ${missing}: the id of a rule in flows/rules was expected, such as ${known[0]?.id}`)
}

/** Findings that are the same under several settings are told once. */
function violationsOf(report: CheckReport, rules: RuleSet, loaded: LoadedLine, isPart: boolean): readonly Violation[] {
  const all = [
    ...report.flows.flatMap(flow => flow.findings),
    ...report.ladder.flatMap(ladder => ladder.findings),
    ...report.findings,
  ]
  // Asked for single rules, nobody wants to read of others.
  const findings = isPart ? all.filter(({ kind }) => kind === 'rule') : all
  const groups = Map.groupBy(findings, ({ rule, flow, at, kind, says }) =>
    JSON.stringify(kind === 'vacuous' || at === undefined ? [rule, flow, says] : [rule, flow, at]),
  )
  return [...groups.values()].flatMap(([finding, ...others]) => {
    if (finding === undefined) return []
    const rule = rules.rules.find(({ id }) => id === finding.rule && finding.kind === 'rule')
    const told = finding.way.length === 0 ? undefined : toldOf(finding, rule, rules, loaded)
    return [
      {
        finding,
        others: others.length,
        ...(rule === undefined ? {} : { rule }),
        ...(told === undefined ? {} : { told }),
      },
    ]
  })
}

/** The tables that a finding's moves are numbers of: those with what rules look at, or without. */
function toldOf(finding: Finding, rule: Rule | undefined, rules: RuleSet, loaded: LoadedLine): Told | undefined {
  const told = flatsFor(finding, rules, loaded).flatMap(flat => {
    const line = {
      ...loaded.line,
      settings: { ...loaded.line.settings, ...(finding.policies as Partial<typeof loaded.line.settings>) },
    }
    try {
      return tell({ line, flat, way: finding.way, resume: finding.resume, ...(rule === undefined ? {} : { rule }) })
    } catch (error) {
      // Moves of other tables cannot happen in these.
      if (error instanceof Error) return []
      throw error
    }
  })
  return told.find(({ isShown }) => isShown) ?? told[0]
}

function flatsFor(finding: Finding, { rules }: RuleSet, loaded: LoadedLine): readonly FlatFlow[] {
  const { line } = loaded
  const flow = line.flows.flows.get(finding.flow)
  if (flow === undefined) return []
  const settledNeedsChange = line.settings['tract-settled-needs-change'] === 'yes'
  const givable = givableIn(flow, line.flows, sayableIn(loaded.lexicons.values()))
  const base = { policies: finding.policies, settledNeedsChange, givable }
  const bare = flatten(flow, line.flows, base)
  return [flatten(flow, line.flows, { ...base, observed: observationsOf(rules, bare) }), bare]
}
