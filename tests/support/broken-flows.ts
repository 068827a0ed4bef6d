/** Shipped flows broken on purpose, a step at a time, and the plainest answers on the way to where it shows. */
import type { Flow } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import { shippedFlows } from './a-line.ts'
import { type WalkOf, withSteps } from './rule-bench.ts'

export const TUBE_OUT = shippedFlows.flows.get('tube-out') as Flow
export const SOMEONE = shippedFlows.flows.get('someone') as Flow

export const stepOf = (id: string, flow = TUBE_OUT): Step => {
  const step = flow.steps.get(id)
  if (step === undefined) throw new Error(`no step "${id}"`)
  return step
}
export const without = <Key extends 'page' | 'decide' | 'say'>(key: Key): Partial<Step> =>
  ({ [key]: undefined }) as Partial<Step>
/** A step that no longer says some advice. */
export const unsaid = (id: string, ...advice: string[]): Record<string, Partial<Step>> => ({
  [id]: { say: (stepOf(id).say ?? []).filter(each => !advice.includes(each)) },
})
/** A step of which one row, counted from 1, leads elsewhere, without its condition on some facts. */
export function row(
  id: string,
  number: number,
  change: { go?: string; drop?: readonly string[] },
): Record<string, Partial<Step>> {
  const rows = stepOf(id).rows.map((each, index) => {
    if (index !== number - 1) return each
    const kept = Object.entries(each.if).filter(([fact]) => !(change.drop ?? []).includes(fact))
    return { if: Object.fromEntries(kept), go: change.go ?? each.go }
  })
  return { [id]: { rows } }
}

/** The plainest answers, but for what a row lets be anything. */
export const PLAIN: Readonly<Record<string, readonly string[]>> = {
  'danger-signs': ['none'],
  'in-opening': ['nothing'],
  device: ['balloon-button'],
  'out-since': ['answered'],
  travel: ['answered'],
  'ring-back': ['answered'],
  'first-placed': ['over-settled'],
  'changed-before': ['yes'],
  'fasting-risk': ['none'],
  'critical-medicine-due': ['no'],
  'tube-found': ['yes'],
  'pain-or-bleeding': ['no'],
  'tried-already': ['no'],
  'came-out-with': ['balloon-empty'],
  'skin-signs': ['none'],
  'difficult-before': ['no'],
  'with-child': ['yes'],
  taught: ['replace'],
  spare: ['same-size'],
  replaced: ['went-in-easily'],
  'acid-medicine': ['no'],
  'feed-running': ['no'],
  'last-feed': ['answered'],
  'have-you-left': ['yes'],
  'have-you-arrived': ['yes'],
  'can-travel': ['yes'],
}
export const REPLACE = { 'home-replacement': 'on' }
export const HOLD = { 'hold-open-settled': 'on' }
export const BACK = { 'in-opening': ['same-tube'] }
export const HOLDING = { taught: ['hold-open'], spare: ['smaller'] }

export type Broken = readonly [
  rule: string,
  flow: Flow,
  change: {
    readonly policies?: Readonly<Record<string, string>>
    readonly answers?: WalkOf['answers']
    readonly interruptions?: boolean
    readonly alarms?: boolean
  },
]
export const tube = (changes: Readonly<Record<string, Partial<Step>>>) => withSteps(TUBE_OUT, changes)
export const someone = (changes: Readonly<Record<string, Partial<Step>>>) => withSteps(SOMEONE, changes)
