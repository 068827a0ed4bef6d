/** A whole check: every flow under the settings of the policies it reads, and what holds over all of them together. */
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import { isPending, type RuleSet } from '../../flow/rule-document.ts'
import { flatten } from '../model/flat-flow.ts'
import { faultsOfStep } from './builtin-rows.ts'
import { type CheckSettings, checkFlow, type FlowCheck } from './check-flow.ts'
import type { CheckProgress, CheckReport, Finding, LadderReport } from './findings.ts'

export interface CheckOptions {
  readonly settings: CheckSettings
  /** Milliseconds that only ever grow, for the seconds of the report. */
  readonly now: () => number
  /** `few`: all off, each one on alone, all on. `every`: every combination. `shipped`: all off. */
  readonly policies?: 'shipped' | 'few' | 'every'
  /** With `shipped`: also as a clinic has set them, where a flow reads one that is not off. */
  readonly own?: Readonly<Record<string, string>>
  /** Flows and rules to look at; left out: all. Where some are left out, nothing is said of what never comes up. */
  readonly flows?: readonly string[]
  readonly rules?: readonly string[]
  /** See `FlowCheckOptions`; left out: `whole` up to `WHOLE_MOST` states, `once` above. */
  readonly interruptions?: 'whole' | 'once'
  readonly statesMost?: number
  /** See `FlowCheckOptions`. */
  readonly compares?: boolean
  readonly onProgress?: (progress: CheckProgress) => void
  /** What is known of a run already: walked elsewhere, or before, with the same settings. */
  readonly walked?: (run: CheckRun) => FlowCheck | undefined
  /** Told of what was walked now. */
  readonly onWalked?: (run: CheckRun, check: FlowCheck) => void
  /** Walks the call-out ladder; left out, it is not looked at. */
  readonly ladder?: () => readonly LadderReport[]
}

/** Flows that come to more states than this by answers, silence and time alone are walked with each interruption once. */
const WHOLE_MOST = 1_000

export function checkFlows(set: FlowSet, rules: RuleSet, options: CheckOptions): CheckReport {
  const began = options.now()
  const isPart = options.flows !== undefined || options.rules !== undefined
  const chosen = rulesChosen(rules, options)
  const runs = runsOf(set, options)
  const checks = runs.map((run, done) => {
    const progress = (states: number, looked: number) =>
      options.onProgress?.({ flow: run.flow.concern, policies: run.policies, done, of: runs.length, states, looked })
    progress(0, 0)
    const known = options.walked?.(run)
    const check = known ?? walkRun(run, set, chosen, options, progress)
    if (known === undefined) options.onWalked?.(run, check)
    return { ...run, ...check }
  })
  const ladder = options.ladder?.() ?? []
  return {
    rules: chosen.rules.length,
    pending: chosen.rules.filter(rule => isPending(rule, set.flows)).map(({ id }) => id),
    flows: checks.map(check => check.report),
    ladder,
    findings: isPart ? [] : [...neverUsed(checks, set), ...vacuous(checks, set, chosen)],
    seconds: (options.now() - began) / 1000,
  }
}

/** One flow under one setting of the policies it reads. */
export interface CheckRun {
  readonly flow: Flow
  readonly policies: Readonly<Record<string, string>>
}

/** Everything that is to be walked, in the order in which it is told. */
export function runsOf(set: FlowSet, options: CheckOptions): readonly CheckRun[] {
  return [...set.flows.values()]
    .filter(flow => options.flows?.includes(flow.concern) ?? true)
    .flatMap(flow => settingsOf(flow, set, options).map(policies => ({ flow, policies })))
}

/** The rules that are looked at. */
export const rulesChosen = (rules: RuleSet, options: CheckOptions): RuleSet => ({
  ...rules,
  rules: rules.rules.filter(rule => options.rules?.includes(rule.id) ?? true),
})

export function walkRun(
  { flow, policies }: CheckRun,
  set: FlowSet,
  rules: RuleSet,
  options: CheckOptions,
  onProgress: (states: number, looked: number) => void,
): FlowCheck {
  const { settings, now, statesMost, compares } = options
  const own = {
    settings,
    now,
    policies,
    onProgress,
    ...(statesMost === undefined ? {} : { statesMost }),
    ...(compares === undefined ? {} : { compares }),
  }
  if (options.interruptions !== undefined)
    return checkFlow(flow, set, rules, { ...own, interruptions: options.interruptions })
  const once = checkFlow(flow, set, rules, { ...own, interruptions: 'once' })
  const isSmall = once.report.states > 0 && once.report.states <= WHOLE_MOST
  return isSmall ? checkFlow(flow, set, rules, { ...own, interruptions: 'whole' }) : once
}

/** Policies that the conditions of a flow read. */
export function policiesRead(flow: Flow, set: FlowSet): readonly string[] {
  const read = new Set([...flow.steps.values()].flatMap(step => step.rows.flatMap(row => Object.keys(row.if))))
  return Object.keys(set.policies).filter(id => read.has(id))
}

/** Settings of the policies a flow reads, the cheapest first. */
export function policySettings(
  flow: Flow,
  set: FlowSet,
  which: 'shipped' | 'few' | 'every',
): readonly Readonly<Record<string, string>>[] {
  const read = policiesRead(flow, set)
  const off = Object.fromEntries(read.map(id => [id, 'off']))
  const on = Object.fromEntries(read.map(id => [id, 'on']))
  if (which === 'shipped' || read.length === 0) return [off]
  if (which === 'few') {
    const alone = read.length === 1 ? [] : read.map(id => ({ ...off, [id]: 'on' }))
    return [off, ...alone, on]
  }
  return Array.from({ length: 2 ** read.length }, (_, bits) =>
    Object.fromEntries(read.map((id, bit) => [id, (bits >> bit) % 2 === 0 ? 'off' : 'on'])),
  ).toSorted((a, b) => countOn(a) - countOn(b))
}

function settingsOf(flow: Flow, set: FlowSet, { policies = 'few', own }: CheckOptions) {
  const settings = policySettings(flow, set, policies)
  if (policies !== 'shipped' || own === undefined) return settings
  const asSet = Object.fromEntries(policiesRead(flow, set).map(id => [id, own[id] ?? 'off']))
  return countOn(asSet) === 0 ? settings : [...settings, asSet]
}

const countOn = (policies: Readonly<Record<string, string>>): number =>
  Object.values(policies).filter(value => value === 'on').length

interface Checked extends FlowCheck, CheckRun {}

/** Steps and rows that no conversation of any flow comes to, under any setting that was looked at. */
function neverUsed(checks: readonly Checked[], set: FlowSet): Finding[] {
  if (checks.some(check => check.report.states === 0)) return []
  // A flow's own steps by flow: two flows may call a step the same. Shared ones by what all flows come to.
  const ownOf = (flow: Flow, of: string): string => (of.startsWith('shared/') ? of : `${flow.concern}/${of}`)
  const covered = new Set(checks.flatMap(check => [...check.covered].map(of => ownOf(check.flow, of))))
  const told = new Set<string>()
  return checks.flatMap(({ flow }) =>
    [...flow.steps.values()].flatMap(step => {
      const own = ownOf(flow, step.id)
      if (told.has(own)) return []
      told.add(own)
      const about = (says: string, at: Finding['at']): Finding => ({
        rule: 'never-used',
        kind: 'built-in',
        flow: flow.concern,
        policies: {},
        says,
        way: [],
        resume: 'return',
        ...(at === undefined ? {} : { at }),
      })
      if (!covered.has(own)) return [about(`No conversation comes to step "${step.id}".`, { step: step.id })]
      return step.rows.flatMap((_, row) => {
        if (covered.has(`${own}#${row}`)) return []
        const why = shadowedIn(flow, set, checks, step.id, row)
          ? 'an earlier row takes everything it would'
          : 'no conversation has these answers there'
        return [about(`Row ${row + 1} of step "${step.id}" is never taken: ${why}.`, { step: step.id, row })]
      })
    }),
  )
}

function shadowedIn(flow: Flow, set: FlowSet, checks: readonly Checked[], step: string, row: number): boolean {
  return checks
    .filter(check => check.flow === flow)
    .every(({ policies }) => {
      const flat = flatten(flow, set, { policies })
      const faults = faultsOfStep(flat, flat.nodeOf.get(step) ?? -1)
      return faults?.shadowed.some(each => each.row === row) ?? false
    })
}

/** Rules whose subject comes up nowhere, and rules that say so of themselves and are wrong by now. */
function vacuous(checks: readonly Checked[], set: FlowSet, { rules }: RuleSet): Finding[] {
  const seen = new Set(checks.flatMap(check => check.report.witnesses.map(({ rule }) => rule)))
  return rules.flatMap((rule): Finding[] => {
    const isSeen = seen.has(rule.id)
    if (isSeen === (rule['not-yet'] === undefined) || isPending(rule, set.flows)) return []
    const says = isSeen
      ? `What rule "${rule.id}" speaks of comes up now: take its "not-yet" out.`
      : `What rule "${rule.id}" speaks of comes up in no flow, so it shows nothing: correct it, or say why under "not-yet" or "awaits".`
    return [{ rule: rule.id, kind: 'vacuous', flow: '', policies: {}, says, way: [], resume: 'return' }]
  })
}
