import { describe, expect, it } from 'vitest'
import { parseState } from '../../src/case/state.ts'
import type { Flow } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import {
  CLOSURE_BANDS,
  compileKernel,
  conditionHolds,
  type KernelEvent,
  type KernelState,
} from '../../src/flow/kernel.ts'
import { alarmTargets } from '../../src/flow/steps.ts'
import { aLine, shippedFlows } from '../support/a-line.ts'

const flows = [...shippedFlows.flows.values()]
const CALLOUT = ['idle', 'first', 'again', 'next', 'everyone', 'taken', 'broken', 'spoken', 'settled'] as const

/** Where call-out leads from each stage, by its own events. Anything left out stays. */
const ladder: Readonly<Record<string, Readonly<Record<string, string>>>> = {
  idle: { pageWanted: 'first' },
  first: { rungDue: 'again', pageFailed: 'next', passedOn: 'next', pageAcknowledged: 'taken', outcomeSet: 'settled' },
  again: { rungDue: 'next', pageFailed: 'next', passedOn: 'next', pageAcknowledged: 'taken', outcomeSet: 'settled' },
  next: {
    rungDue: 'everyone',
    pageFailed: 'everyone',
    passedOn: 'everyone',
    pageAcknowledged: 'taken',
    outcomeSet: 'settled',
  },
  everyone: { rungDue: 'everyone', pageAcknowledged: 'taken', outcomeSet: 'settled' },
  taken: {
    promiseBroken: 'broken',
    callMade: 'spoken',
    passedOn: 'next',
    outcomeSet: 'settled',
    pageAcknowledged: 'taken',
  },
  broken: {
    rungDue: 'everyone',
    pageAcknowledged: 'taken',
    callMade: 'spoken',
    passedOn: 'next',
    outcomeSet: 'settled',
  },
  spoken: { passedOn: 'next', outcomeSet: 'settled', pageAcknowledged: 'taken' },
  settled: { pageWanted: 'first', passedOn: 'next', pageAcknowledged: 'taken' },
}
const calloutEvents = [
  'pageWanted',
  'rungDue',
  'pageFailed',
  'pageAcknowledged',
  'passedOn',
  'promiseBroken',
  'callMade',
  'outcomeSet',
] as const

const statesOf = (flow: Flow, region: string): string[] =>
  Object.keys((flow.kernel.machine.config as unknown as Region).states?.[region]?.states ?? {})

const alarmsOf = (flow: Flow): string[] => {
  const names = [...flow.steps.values()].flatMap(step => step.alarms.map(alarm => alarm.name))
  return [...new Set([...names, 'silent-ask', 'silent-page', 'unanswered'])]
}

function talkEvents(flow: Flow): KernelEvent[] {
  const facts = { danger: 'absent', 'in-opening': 'nothing', 'danger-signs': 'none' }
  return [
    { type: 'answered', facts },
    { type: 'dangerSaid', facts },
    { type: 'personWanted', facts },
    { type: 'travelRefused', facts },
    { type: 'talkRestarted', facts },
    ...alarmsOf(flow).map((alarm): KernelEvent => ({ type: 'alarmDue', alarm, facts })),
  ]
}

const standing = (talk: string, callout: string, closure: string = 'time-left'): KernelState => ({
  talk,
  callout,
  closure,
  facts: { 'in-opening': 'nothing' },
})

describe.each(flows)('the machine of $concern', flow => {
  const talks = statesOf(flow, 'talk')
  const dangerAsked = [...flow.steps.values()].find(({ ask }) => ask === 'danger-signs')?.id ?? ''

  it('keeps call-out and closure where they are, whatever talk hears in whatever step', () => {
    let sent = 0
    for (const callout of CALLOUT)
      for (const closure of ['not-asked', 'past-latest'])
        for (const talk of talks)
          for (const event of talkEvents(flow)) {
            const { state, effects } = flow.kernel.step(standing(talk, callout, closure), event)
            if (state.callout !== callout || state.closure !== closure)
              expect.fail(`${event.type} in ${talk} moved ${callout}/${closure} to ${state.callout}/${state.closure}`)
            const others = effects.filter(effect => effect.kind === 'callout' || effect.kind === 'band')
            if (others.length > 0) expect.fail(`${event.type} in ${talk}, ${callout}: ${JSON.stringify(others)}`)
            sent++
          }
    expect(sent).toBe(CALLOUT.length * 2 * talks.length * talkEvents(flow).length)
  })

  it('moves call-out by its own events alone, as the ladder says, and leaves talk and its facts', () => {
    for (const talk of [dangerAsked, 'shared/emergency-wait'])
      for (const callout of CALLOUT)
        for (const type of calloutEvents) {
          const before = standing(talk, callout)
          const { state, effects } = flow.kernel.step(before, { type })
          expect([type, callout, state]).toEqual([
            type,
            callout,
            { ...before, callout: ladder[callout]?.[type] ?? callout },
          ])
          const moved = ladder[callout]?.[type]
          const stage = moved ?? (type === 'pageWanted' && callout !== 'idle' ? 'update' : undefined)
          expect([type, callout, effects]).toEqual([
            type,
            callout,
            stage === undefined ? [] : [{ kind: 'callout', stage }],
          ])
        }
  })

  it('never starts a second ladder while one runs', () => {
    for (const callout of CALLOUT.filter(stage => stage !== 'idle' && stage !== 'settled')) {
      const { effects } = flow.kernel.step(standing(dangerAsked, callout), { type: 'pageWanted' })
      expect(effects).toEqual([{ kind: 'callout', stage: 'update' }])
    }
  })

  it('says the emergency from every step, and again when it stands in one already', () => {
    for (const talk of talks) {
      const { state, effects } = flow.kernel.step(standing(talk, 'taken'), { type: 'dangerSaid', facts: {} })
      expect([talk, effects[0]]).toEqual([talk, { kind: 'entered', step: 'shared/emergency' }])
      expect(state.talk).toBe('shared/emergency-plan')
      expect(state.facts['danger-seen']).toBe('yes')
    }
  })

  it('lets no alarm lead out of an emergency', () => {
    const emergency = talks.filter(talk => talk.startsWith('shared/emergency'))
    expect(emergency.length).toBeGreaterThan(5)
    for (const talk of emergency)
      for (const alarm of alarmsOf(flow)) {
        const before = standing(talk, 'first')
        const stood = flow.kernel.step(before, { type: 'alarmDue', alarm, facts: {} })
        // The routing halves pass on by themselves; a step that rests hears nothing.
        if (flow.steps.get(talk)?.ask !== undefined || flow.steps.get(talk)?.wait === true)
          expect([talk, alarm, stood]).toEqual([talk, alarm, { state: before, effects: [] }])
        expect(stood.state.talk).toMatch(/^shared\/emergency/)
      }
  })

  it('moves only the closure band when the clock crosses, and says so once', () => {
    for (const from of CLOSURE_BANDS)
      for (const to of CLOSURE_BANDS) {
        const before = standing(dangerAsked, 'next', from)
        const { state, effects } = flow.kernel.step(before, { type: 'clockCrossed', closure: to })
        expect(state).toEqual({ ...before, closure: to })
        expect([from, to, effects]).toEqual([
          from,
          to,
          from === to || to === 'not-asked' ? [] : [{ kind: 'band', closure: to }],
        ])
      }
  })

  it('forgets answers when talk restarts, never that danger was seen or a try was made', () => {
    const before = {
      ...standing('shared/person', 'first'),
      facts: { device: 'nasal', attempt: 'made', 'danger-seen': 'yes' },
    }
    const { state } = flow.kernel.step(before, { type: 'talkRestarted', facts: { 'home-replacement': 'off' } })
    expect(state.facts).toMatchObject({ attempt: 'made', 'danger-seen': 'yes', 'home-replacement': 'off' })
    expect(state.facts.device).toBeUndefined()
  })

  it('refuses a stored state that it does not have', () => {
    const sound = standing(dangerAsked, 'idle')
    expect(flow.kernel.knows(sound)).toBe(true)
    for (const [region, state] of [
      ['talk', 'no-such-step'],
      ['talk', ''],
      ['callout', 'rung-9'],
      ['callout', undefined],
      ['closure', 'late'],
      ['closure', undefined],
    ] as const)
      expect([region, state, flow.kernel.knows({ ...sound, [region]: state } as KernelState)]).toEqual([
        region,
        state,
        false,
      ])
  })

  it('is built of nothing that a restored machine would lose or a sibling would feel', () => {
    const found: string[] = []
    walk(flow.kernel.machine.config as unknown as Region, flow.concern, found)
    expect(found).toEqual([])
    expect((flow.kernel.machine.config as unknown as Region).on).toBeUndefined()
    const talk = (flow.kernel.machine.config as unknown as Region).states?.talk
    for (const transitions of Object.values(talk?.on ?? {}))
      for (const transition of [transitions].flat() as { reenter?: boolean }[])
        expect(transition.reenter).toBeUndefined()
  })

  it('resolves every target, and each step keeps to its own danger and person events', () => {
    for (const talk of talks) {
      const own = (flow.kernel.machine.config as unknown as Region).states?.talk?.states?.[talk]?.on ?? {}
      expect(Object.keys(own).filter(type => type !== 'answered' && type !== 'alarmDue')).toEqual([])
    }
    for (const alarm of alarmsOf(flow)) {
      const target = alarmTargets({ ...flow, steps: {} } as never, flow.steps).get(alarm)
      expect([alarm, target !== undefined && flow.steps.has(target)]).toEqual([alarm, true])
    }
  })
})

interface Region {
  readonly states?: Readonly<Record<string, Region>>
  readonly on?: Readonly<Record<string, unknown>>
  readonly after?: unknown
  readonly invoke?: unknown
  readonly type?: string
  readonly entry?: unknown
  readonly exit?: unknown
  readonly onDone?: unknown
}

function walk(node: Region, path: string, found: string[]): void {
  if (node.after !== undefined) found.push(`${path}: after`)
  if (node.invoke !== undefined) found.push(`${path}: invoke`)
  if (node.type === 'final' || node.type === 'history') found.push(`${path}: ${node.type}`)
  if (node.onDone !== undefined || node.exit !== undefined) found.push(`${path}: exit`)
  for (const type of Object.keys(node.on ?? {})) if (type.includes('*')) found.push(`${path}: wildcard ${type}`)
  for (const action of [node.entry ?? []].flat() as { type?: string; params?: unknown }[])
    if (typeof action === 'function' || typeof action.params === 'function') found.push(`${path}: function action`)
  for (const [id, child] of Object.entries(node.states ?? {})) walk(child, `${path}.${id}`, found)
}

describe('a stored case', () => {
  const line = aLine()
  const kernel = { talk: 'danger', callout: 'idle', closure: 'not-asked', facts: {} }
  const stored = (change: object) => JSON.stringify({ version: 1, concern: 'tube-out', kernel, ...change })

  it.each([
    ['cut short', '{"version":1,'],
    ['null', 'null'],
    ['of another version', stored({ version: 2 })],
    ['of a flow that is not served', stored({ concern: 'dragons' })],
    ['without a kernel', stored({ kernel: undefined })],
    ['in a step that there is not', stored({ kernel: { ...kernel, talk: 'nowhere' } })],
    ['without its call-out', stored({ kernel: { talk: 'danger', closure: 'not-asked', facts: {} } })],
    ['in a band that there is not', stored({ kernel: { ...kernel, closure: 'soon' } })],
  ])('%s is refused', (_what, json) => {
    expect(() => parseState(line, json)).toThrow(/stored case|no flow is served/)
  })
})

describe('a condition', () => {
  const facts = {
    device: 'nasal',
    taught: 'several',
    'taught.replace': 'yes',
    'taught.hold-open': 'no',
    spare: 'unsure',
    'spare~': 'none',
  }
  it.each([
    [{}, true],
    [{ device: ['nasal'] }, true],
    [{ device: ['balloon-long', 'nasal'] }, true],
    [{ device: ['balloon-long'] }, false],
    [{ taught: ['replace'] }, true],
    [{ taught: ['hold-open'] }, false],
    [{ spare: ['unsure'] }, true],
    [{ spare: ['none'] }, true],
    [{ spare: ['same-size'] }, false],
    [{ travel: ['not-asked'] }, true],
    [{ device: ['nasal'], spare: ['same-size'] }, false],
  ])('%j is %s', (condition, holds) => {
    expect(conditionHolds(condition as Record<string, string[]>, facts)).toBe(holds)
  })

  it('takes the first row that fits', () => {
    const step = (id: string, rows: Step['rows']): [string, Step] => [id, { id, rows, alarms: [] }]
    const rests = (id: string): [string, Step] => [id, { id, rows: [], alarms: [], wait: true }]
    const kernel = compileKernel(
      'probe',
      'a',
      new Map([
        step('a', [
          { if: { x: ['1', '2'] }, go: 'b' },
          { if: { x: ['2'] }, go: 'c' },
          { if: {}, go: 'd' },
        ]),
        ...['b', 'c', 'd', 'shared/emergency', 'shared/person', 'shared/cannot-travel'].map(rests),
      ]),
      new Map(),
      new Set(),
    )
    const taken = (x: string) => kernel.step(kernel.blank, { type: 'talkRestarted', facts: { x } }).state.talk
    expect([taken('1'), taken('2'), taken('3')]).toEqual(['b', 'b', 'd'])
  })

  it('fails where steps lead in a circle without a question, so that no other family waits', () => {
    const step = (id: string, go: string): [string, Step] => [id, { id, rows: [{ if: {}, go }], alarms: [] }]
    const rests = (id: string): [string, Step] => [id, { id, rows: [], alarms: [], wait: true }]
    const kernel = compileKernel(
      'circle',
      'a',
      new Map([
        step('a', 'b'),
        step('b', 'a'),
        ...['shared/emergency', 'shared/person', 'shared/cannot-travel'].map(rests),
      ]),
      new Map(),
      new Set(),
    )
    expect(() => kernel.step(kernel.blank, { type: 'talkRestarted', facts: {} })).toThrow(/infinite loop/i)
  })
})
