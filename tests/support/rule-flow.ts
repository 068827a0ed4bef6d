/** Tiny flows for rules about concerns that have no flow, or none that breaks them: some questions, then one act. */
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import { shippedFlows } from './a-line.ts'

export interface TinyAct {
  readonly decide?: Step['decide']
  /** Tags of what is said. */
  readonly says?: readonly string[]
  /** Advice that is shipped, said after it. */
  readonly advice?: readonly string[]
}

export interface Tiny {
  readonly concern: string
  /** Facts asked, in this order. */
  readonly asks: readonly string[]
  /** What is done at the end, whatever was answered, or where `only` holds. */
  readonly act: TinyAct
  readonly only?: Readonly<Record<string, readonly string[]>>
  /** What was said before the first question. */
  readonly first?: TinyAct
  /** Where talk ends in place of waiting. */
  readonly ends?: true
  /** Where a row of the last question leads at once, such as a shared step. */
  readonly aside?: { readonly if: Readonly<Record<string, readonly string[]>>; readonly go: string }
  /** Asked after the act. */
  readonly thenAsks?: string
  /** Danger signs are asked about first, unless this stands. */
  readonly skipsDanger?: true
  /** The same act once more, after one further question. */
  readonly twice?: true
}

/** A flow of its own beside every shared step, in a set of its own. */
export function tinyFlow(tiny: Tiny): { flow: Flow; set: FlowSet } {
  const base = shippedFlows.flows.get('someone')
  if (base === undefined) throw new Error('no flow "someone" is shipped')
  const advice = new Map(base.advice)
  const saying = (name: string, { decide, says = [], advice: shipped = [] }: TinyAct): Partial<Step> => {
    const ids = says.map(tag => `${name}-${tag}`)
    for (const [index, id] of ids.entries()) advice.set(id, { tags: [says[index] as string], own: 'a test' })
    return { ...(decide === undefined ? {} : { decide }), say: [...ids, ...shipped] }
  }
  // With the flow's own steps that the shared ones hand back to.
  const handedBack = new Set([...base.steps.values()].flatMap(({ rows }) => rows.map(({ go }) => go)))
  const steps = new Map([...base.steps].filter(([id]) => id.startsWith('shared/') || handedBack.has(id)))
  const add = (id: string, step: Partial<Step>) => steps.set(id, { id, rows: [], alarms: [], ...step } as Step)
  const { asks, act, only, aside, first = {} } = tiny
  const questions = tiny.skipsDanger ? asks : ['danger-signs', ...asks]
  const person = [...base.steps.values()].find(step => step.page !== undefined && !step.id.startsWith('shared/'))
  add('begin', { ...saying('first', first), rows: [{ if: {}, go: 'ask-0' }] })
  for (const [at, ask] of questions.entries()) {
    const isLast = at === questions.length - 1
    const onward = isLast
      ? [...(aside === undefined ? [] : [aside]), ...(only === undefined ? [] : [{ if: only, go: 'act' }])]
      : []
    const go = !isLast ? `ask-${at + 1}` : only === undefined ? 'act' : 'else'
    add(`ask-${at}`, { ask, rows: [...onward, { if: {}, go }] })
  }
  const page = { page: person?.page } as Partial<Step>
  const finish = tiny.ends ? { end: true as const } : { wait: true as const }
  add('act', {
    ...saying('act', act),
    ...(act.decide === undefined || act.decide === 'at-home' || act.decide === 'tell-clinic' ? {} : page),
    rows: [{ if: {}, go: tiny.twice ? 'more' : tiny.thenAsks === undefined ? 'rest' : 'then' }],
  })
  if (tiny.thenAsks !== undefined) add('then', { ask: tiny.thenAsks, rows: [{ if: {}, go: 'rest' }] })
  add('more', { ask: 'ring-back', rows: [{ if: {}, go: 'again' }] })
  add('again', { ...saying('again', act), rows: [{ if: {}, go: 'rest' }] })
  add('rest', finish as Partial<Step>)
  add('else', { decide: 'ambulance', ...page, rows: [{ if: {}, go: 'rest' }] })
  const flow: Flow = {
    ...base,
    concern: tiny.concern,
    start: 'begin',
    unanswered: undefined,
    left: undefined,
    silence: undefined,
    steps,
    advice,
  }
  return { flow, set: { ...shippedFlows, flows: new Map([[tiny.concern, flow]]) } }
}
