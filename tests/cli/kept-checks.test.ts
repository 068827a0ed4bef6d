import { chmodSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { keptChecks } from '../../src/cli/kept-checks.ts'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { type CheckOptions, runsOf, walkRun } from '../../src/modelcheck/rules/check-flows.ts'
import { shippedFlows } from '../support/a-line.ts'
import { shippedRules, withSteps } from '../support/rule-bench.ts'

const SOMEONE = shippedFlows.flows.get('someone') as Flow
const MIN = 60_000
const OPTIONS: CheckOptions = {
  settings: {
    lengths: { 'left-check': 10 * MIN, 'left-silent': 20 * MIN, 'promise-grace': MIN },
    settledNeedsChange: true,
    sayable: new Map([['device', undefined]]),
  },
  now: () => 0,
  policies: 'shipped',
  flows: ['someone'],
}
const RUN = { flow: SOMEONE, policies: runsOf(shippedFlows, OPTIONS)[0]?.policies ?? {} }
const CHECK = walkRun(RUN, shippedFlows, shippedRules, OPTIONS, () => {})

let folder = ''
const checks = () => join(folder, 'checks')
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-checks-'))
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))

const kept = (set: FlowSet = shippedFlows, rules = shippedRules, options = OPTIONS) =>
  keptChecks(set, rules, options, checks())
const file = () => join(checks(), readdirSync(checks())[0] ?? '')

describe('what a check of a flow showed', () => {
  it('is given back as it was, marked as of before', () => {
    expect(kept().find(RUN)).toBeUndefined()
    kept().keep(RUN, CHECK)
    const { asBefore, ...report } = kept().find(RUN)?.report ?? {}
    expect(asBefore).toBe(true)
    expect(report).toEqual(CHECK.report)
    expect(kept().find(RUN)?.covered).toEqual(CHECK.covered)
  })

  it('stands while only words change', () => {
    kept().keep(RUN, CHECK)
    expect(kept().find({ ...RUN, flow: { ...SOMEONE, wording: new Map() } })).toBeDefined()
  })

  it('is forgotten with whatever else it depends on', () => {
    kept().keep(RUN, CHECK)
    const [rule, ...rules] = shippedRules.rules
    const { 'danger-signs': signs, ...facts } = shippedFlows.facts
    const step = withSteps(SOMEONE, { 'shared/silence-page': { page: undefined } as never })
    const [tag, ...tags] = Object.entries(shippedFlows.tags)
    const [advice, ...others] = [...SOMEONE.advice]
    const retagged = new Map([...others, [advice?.[0] ?? '', { ...advice?.[1], tags: ['feed'] } as never] as const])
    expect(rule === undefined || signs === undefined || tag === undefined).toBe(false)
    expect(kept().find({ ...RUN, flow: step })).toBeUndefined()
    expect(kept().find({ ...RUN, flow: { ...SOMEONE, advice: retagged } })).toBeUndefined()
    expect(kept().find({ ...RUN, policies: { 'home-replacement': 'on' } })).toBeUndefined()
    expect(kept({ ...shippedFlows, facts }).find(RUN)).toBeUndefined()
    expect(kept({ ...shippedFlows, tags: Object.fromEntries(tags) }).find(RUN)).toBeUndefined()
    expect(kept(shippedFlows, { ...shippedRules, rules }).find(RUN)).toBeUndefined()
    const longer = { ...OPTIONS.settings.lengths, 'left-silent': 21 * MIN }
    const settings = { ...OPTIONS.settings, lengths: longer }
    expect(kept(shippedFlows, shippedRules, { ...OPTIONS, settings }).find(RUN)).toBeUndefined()
    expect(kept(shippedFlows, shippedRules, { ...OPTIONS, compares: true }).find(RUN)).toBeUndefined()
    expect(kept().find(RUN)).toBeDefined()
  })

  it('is not looked at once the file is damaged, or others may write it', () => {
    kept().keep(RUN, CHECK)
    const text = readFileSync(file(), 'utf8')
    writeFileSync(file(), text.replace('"states":', '"states":1'))
    expect(kept().find(RUN)).toBeUndefined()
    writeFileSync(file(), text)
    expect(kept().find(RUN)).toBeDefined()
    chmodSync(file(), 0o666)
    expect(kept().find(RUN)).toBeUndefined()
  })

  it('lets the oldest go when there are very many', () => {
    kept().keep(RUN, CHECK)
    for (let at = 0; at < 205; at++) writeFileSync(join(checks(), `old-${at}`), '')
    kept().keep({ ...RUN, policies: { 'hold-open-new': 'on' } }, CHECK)
    expect(readdirSync(checks()).length).toBeLessThanOrEqual(200)
    expect(existsSync(checks())).toBe(true)
  })
})
