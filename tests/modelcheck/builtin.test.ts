import { describe, expect, it } from 'vitest'
import { settingDefinitions } from '../../src/config/setting-definitions.ts'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import { checkFlow } from '../../src/modelcheck/rules/check-flow.ts'
import { checkFlows, policySettings } from '../../src/modelcheck/rules/check-flows.ts'
import { SMALL } from '../flow/small-flow.ts'
import { flowsOf, shippedFlows } from '../support/a-line.ts'
import { leadsTo, rulesOf, shippedRules, withSteps } from '../support/rule-bench.ts'

const MIN = 60_000
const settings = {
  lengths: { 'left-check': 10 * MIN, 'left-silent': 20 * MIN },
  settledNeedsChange: true,
  sayable: new Map(),
}
const now = () => 0
const NONE = { rules: [], worse: {} }
const SOMEONE = shippedFlows.flows.get('someone') as Flow
const onlySomeone = { ...shippedFlows, flows: new Map([['someone', SOMEONE]]) }

function small(steps: string, head = ''): { flow: Flow; set: FlowSet } {
  const words = 'reason/q: Q.\n'
  const set = flowsOf(
    new Map(
      Object.entries({
        ...SMALL,
        'tube-out/flow.yaml': `concern: tube-out\nstart: a\n${head}steps:\n${steps}`,
        'tube-out/wording.en.yaml': `${SMALL['tube-out/wording.en.yaml']}${words}`,
      }),
    ),
  )
  return { flow: set.flows.get('tube-out') as Flow, set }
}

function found(flow: Flow, set: FlowSet, rules: Parameters<typeof checkFlow>[2] = NONE) {
  return checkFlow(flow, set, rules, { settings, now, policies: {}, interruptions: 'whole' }).report
}
const ids = (flow: Flow, set: FlowSet, rules = NONE) => found(flow, set, rules).findings.map(each => each.rule)

const SILENCE = 'silence: { ask: ask-again, page: tell }\n'
const CHASED = `  ask-again: { go: resume }\n  tell: { decide: speak, page: q, go: resume }\n`
const PLAIN = `  a: { ask: in-opening, route: [{ if: { in-opening: [nothing] }, go: c }, { go: b }] }\n  b: { decide: speak, page: q, wait: true }\n  c: { decide: set-out, page: q, wait: true }\n${CHASED}`

describe('what holds of every flow', () => {
  it('a flow in which silence is chased and everything decided has no finding', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    expect(found(flow, set).findings).toEqual([])
  })

  it('the shipped flow for a person holds, with every interruption followed', () => {
    expect(ids(SOMEONE, shippedFlows, shippedRules as never)).toEqual([])
  })

  it('the shipped rule about silence finds a flow that asks again and pages nobody', () => {
    const flow = withSteps(SOMEONE, { 'shared/silence-page': { page: undefined } as never })
    expect(ids(flow, shippedFlows, shippedRules as never)).toContain('silence-is-paged')
  })

  it('a question nobody chases leaves a silent family alone', () => {
    const { flow, set } = small('  a: { ask: in-opening, go: b }\n  b: { decide: speak, page: q, wait: true }\n')
    const report = found(flow, set)
    expect(report.findings.map(each => [each.rule, each.at?.step])).toContainEqual(['left-alone-in-silence', 'a'])
  })

  it('silence that asks again and never pages leaves a family alone', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    expect(ids(withSteps(flow, { tell: { page: undefined } as never }), set)).toContain('left-alone-in-silence')
  })

  it('a rest with nobody paged and nothing set leaves a family alone', () => {
    const { flow, set } = small(`  a: { ask: in-opening, go: b }\n  b: { wait: true }\n${CHASED}`, SILENCE)
    expect(ids(flow, set)).toContain('left-alone-in-silence')
  })

  it('a circle without a question is told, with its steps', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    const round = found(withSteps(flow, { b: { wait: undefined, ...leadsTo('b') } as never }), set)
    expect(round.findings.map(each => each.rule)).toContain('never-rests')
  })

  it('answers that no row fits are told with the way there', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    const gap = withSteps(flow, { a: { rows: [{ if: { 'in-opening': ['nothing'] }, go: 'b' }] } })
    const finding = found(gap, set).findings.find(each => each.rule === 'no-row-fits')
    expect(finding?.says).toContain('"a"')
  })

  it('an end before anything was decided is told', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    const report = found(withSteps(flow, { b: { decide: undefined, wait: undefined, end: true } as never }), set)
    expect(report.findings.map(each => each.rule)).toContain('ends-undecided')
  })

  it('a question put though nothing can change what is decided any more is told', () => {
    const steps = `  a: { decide: speak, page: q, ask: in-opening, go: b }\n  b: { decide: set-out, ask: travel, go: c }\n  c: { wait: true }\n${CHASED}`
    const words = `ask/travel: How far?\nlabel/travel: The way\noption/travel/up-to-an-hour: Up to an hour\noption/travel/in-words: In words\n`
    const files = {
      ...SMALL,
      'tube-out/flow.yaml': `concern: tube-out\nstart: a\n${SILENCE}steps:\n${steps}`,
      'tube-out/wording.en.yaml': `${SMALL['tube-out/wording.en.yaml']}reason/q: Q.\n${words}`,
    }
    const set = flowsOf(new Map(Object.entries(files)))
    const finding = found(set.flows.get('tube-out') as Flow, set).findings.find(each => each.rule === 'decided-late')
    expect(finding?.at?.step).toBe('a')
  })
})

describe('a worse answer never leads to less', () => {
  const ask = (nothing: string, same: string) =>
    small(
      `  a: { ask: in-opening, route: [{ if: { in-opening: [nothing] }, go: ${nothing} }, { if: { in-opening: [same-tube] }, go: ${same} }, { go: far }] }\n  near: { decide: speak, page: q, wait: true }\n  far: { decide: set-out, page: q, wait: true }\n${CHASED}`,
      SILENCE,
    )
  const WORSE = { rules: [], worse: { 'in-opening': [['same-tube'], ['nothing']] } }

  it('in order: nothing is found', () => {
    const { flow, set } = ask('far', 'near')
    expect(ids(flow, set, WORSE as never)).toEqual([])
  })

  it('the other way round: the two answers and both ends are named', () => {
    const { flow, set } = ask('near', 'far')
    const finding = found(flow, set, WORSE).findings.find(each => each.rule === 'worse-is-milder')
    expect(finding?.says).toContain('"nothing" for "in-opening" is worse than "same-tube" and leads to less: speak')
  })

  it('"not sure" that leads to less than what it acts as is found', () => {
    const { flow, set } = ask('near', 'far')
    const gentle = withSteps(flow, { far: { decide: 'speak' } })
    const rows = [
      { if: { 'in-opening': ['nothing', 'same-tube'] }, go: 'grave' },
      { if: {}, go: 'far' },
    ]
    const far = gentle.steps.get('far') as Step
    const steps = new Map([...gentle.steps, ['grave', { ...far, id: 'grave', decide: 'ambulance' }] as const])
    const unsure = withSteps({ ...gentle, steps }, { a: { rows } })
    expect(ids(unsure, set, WORSE as never)).toContain('not-sure-is-milder')
  })
})

describe('a check of all flows', () => {
  it('reports figures, witnesses and progress for each flow and setting', () => {
    const seen: number[] = []
    const report = checkFlows(shippedFlows, shippedRules, {
      settings,
      now,
      flows: ['someone'],
      onProgress: ({ of }) => void seen.push(of),
    })
    const [flow] = report.flows
    expect(report.rules).toBe(shippedRules.rules.length)
    expect(flow?.questions).toEqual({
      toDecision: { best: 0, median: 0, worst: 0 },
      toAdvice: { best: 0, median: 0, worst: 0 },
      toRest: { best: 2, median: 3, worst: 5 },
    })
    expect(flow?.witnesses.map(each => each.rule)).toContain('a-person-who-is-wanted-is-paged')
    expect(seen[0]).toBe(1)
  })

  it('a flow that is too large says what multiplies, and claims nothing', () => {
    const [report] = checkFlows(shippedFlows, NONE, {
      settings,
      now,
      flows: ['tube-out'],
      policies: 'shipped',
      interruptions: 'whole',
      statesMost: 2000,
    }).flows
    expect(report?.notWhole).toMatch(
      /^More than 2000 states: not all were walked, so nothing is proved here\. Most is told apart of "/,
    )
  })

  it('a flow that is too large still shows a rule that broke by then', () => {
    const flow = shippedFlows.flows.get('tube-out') as Flow
    const step = flow.steps.get('hold-either') as Step
    const mute = withSteps(flow, {
      'hold-either': { say: step.say?.filter(id => id !== 'danger-ring') } as Partial<Step>,
    })
    const { report } = checkFlow(mute, shippedFlows, shippedRules, {
      settings: { ...settings, lengths: { ...settings.lengths, 'promise-grace': MIN } },
      now,
      policies: {},
      interruptions: 'once',
      statesMost: 500,
    })
    expect(report.notWhole).toMatch(/^More than 500 states/)
    expect(report.findings.map(({ rule }) => rule)).toContain('the-first-reply-is-advice')
  })

  it('a rule whose subject comes up nowhere is a finding, unless it says so itself', () => {
    const text = (more: string) =>
      `rules:\n  one:\n    means: "It holds."\n    hazards: [H1]\n    reason: "A test."\n    own: "a test"\n${more}    absence: { says: [by-mouth] }\n`
    const run = (more: string) => checkFlows(onlySomeone, rulesOf(text(more), onlySomeone), { settings, now }).findings
    expect(
      run('')
        .filter(each => each.kind === 'vacuous')
        .map(each => each.rule),
    ).toEqual(['one'])
    expect(run('    not-yet: "nothing says it"\n').filter(each => each.kind === 'vacuous')).toEqual([])
    expect(run('    awaits: [medicine]\n').filter(each => each.kind === 'vacuous')).toEqual([])
    expect(run('    awaits: [medicine, someone]\n').filter(each => each.kind === 'vacuous')).toHaveLength(1)
  })

  it('a rule for flows that nobody has written yet is named as pending, until one of them is there', () => {
    const text = (awaits: string) =>
      `rules:\n  one:\n    means: "It holds."\n    hazards: [H1]\n    reason: "A test."\n    own: "a test"\n    awaits: [${awaits}]\n    absence: { rests: true }\n    while: { danger: [not-asked] }\n`
    const pending = (awaits: string) =>
      checkFlows(onlySomeone, rulesOf(text(awaits), onlySomeone), { settings, now }).pending
    expect(pending('medicine, skin')).toEqual(['one'])
    expect(pending('medicine, someone')).toEqual([])
  })

  it('policies a flow reads are set one by one, then all, or in every combination', () => {
    const flow = shippedFlows.flows.get('tube-out') as Flow
    expect(policySettings(flow, shippedFlows, 'few')).toHaveLength(6)
    expect(policySettings(flow, shippedFlows, 'every')).toHaveLength(16)
    expect(policySettings(SOMEONE, shippedFlows, 'every')).toEqual([{}])
  })

  it('the lengths it is given are those the clinic may set', () => {
    for (const id of Object.keys(settings.lengths)) expect(Object.keys(settingDefinitions)).toContain(id)
  })
})

describe('a question that nobody chases', () => {
  const QUIET = `  a: { decide: speak, page: q, go: b }\n  b: { ask: in-opening, quiet: true, go: c }\n  c: { wait: true }\n`
  it('is left alone in silence although somebody was paged, unless an alarm leads on', () => {
    const { flow, set } = small(QUIET + CHASED, SILENCE)
    expect(ids(flow, set)).toContain('left-alone-in-silence')
    const alarmed = QUIET.replace('b: { ask', 'b: { alarms: [{ name: on, after: left-check, go: c }], ask')
    const led = small(alarmed + CHASED, SILENCE)
    expect(ids(led.flow, led.set)).not.toContain('left-alone-in-silence')
  })
})

describe('silence within its time', () => {
  const RULE = `rules:
  one:
    means: "Silence is paged."
    hazards: [H14]
    reason: "A test."
    own: "a test"
    response: { after: { asks: any }, must: { pages: any }, within: { silent: LENGTH } }
`
  it('holds at the clinic’s length and fails one minute below it, with the alarms of the way', () => {
    const { flow, set } = small(PLAIN, SILENCE)
    const at = (length: string) => found(flow, set, rulesOf(RULE.replace('LENGTH', length), set)).findings
    expect(at('left-silent')).toEqual([])
    expect(at('PT20M')).toEqual([])
    const [finding] = at('PT19M')
    expect(finding?.says).toContain('it takes 20 minutes; at most 19 minutes is allowed')
    expect(finding?.way.at(-1)?.kind).toBe('alarm')
  })
})
