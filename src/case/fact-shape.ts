import type { FactDocument } from '../flow/document.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import type { KernelFacts } from '../flow/kernel.ts'
import type { Answer } from './answer.ts'
import { copyOf } from './copy.ts'
import { type LineSettings, settingOf } from './line.ts'

/**
 * The keys of steering facts after certain answers, each in its place. An object that grows key by key is a slow one from a
 * dozen keys on, and a copy of such a one costs some two hundred times that of a compact one: so each set of keys is made once,
 * copied, and filled in.
 */
export interface FactShape {
  /** Policies as they are set, derived facts "not-asked", and a place for everything answered. */
  readonly facts: KernelFacts
  /** Keys of the answers that it has places for, as they came. */
  readonly reached: readonly FactKeys[]
  readonly after: ReadonlyMap<string, FactShape>
}

/** Keys that an answer fills, beside the fact's own: what it counts as, and one for each value of a "many" fact. */
export interface FactKeys {
  readonly id: string
  readonly document: FactDocument
  /** Stands for a fact that was answered "not sure", and for a choice. */
  readonly beside: string
  /** Names the way on from a shape by several values at once. */
  readonly several: string
  readonly ofValues: readonly { readonly value: string; readonly key: string }[]
}

/** Derived facts that are worked out in `derive.ts`, and the answer without which each is "not-asked". */
export const DERIVED_FROM: Readonly<Record<string, string | undefined>> = {
  danger: 'danger-signs',
  tract: 'first-placed',
  closure: 'out-since',
  reach: 'out-since',
  'ph-result': 'ph',
  'age-band': 'age',
  fever: 'temperature',
  urine: 'last-wet',
  'balloon-loss': 'balloon-put-in',
  callout: undefined,
}

/** What the facts of a line's cases are built from. */
export interface FactGround {
  readonly start: FactShape
  readonly derived: readonly { readonly id: string; readonly from: string | undefined }[]
  readonly keys: ReadonlyMap<string, FactKeys>
}

const GROUNDS = new WeakMap<LineSettings, WeakMap<FlowSet, FactGround>>()

/** Worked out once for a line, whatever language it speaks. */
export function factGround({ flows, settings }: { flows: FlowSet; settings: LineSettings }): FactGround {
  const ofSettings = GROUNDS.get(settings) ?? new WeakMap<FlowSet, FactGround>()
  const known = ofSettings.get(flows)
  if (known !== undefined) return known
  const policies = Object.keys(flows.policies).map(id => [id, String(settingOf({ settings }, id) ?? 'off')])
  const derived = Object.keys(flows.derived).map(id => [id, 'not-asked'])
  const answered = Object.entries(flows.facts).filter(([, document]) => document.settable !== true)
  const ground: FactGround = {
    start: shapeOf(Object.fromEntries([...policies, ...derived]), []),
    derived: Object.keys(flows.derived).map(id => ({ id, from: DERIVED_FROM[id] })),
    keys: new Map(answered.map(([id, document]) => [id, keysOf(id, document)])),
  }
  GROUNDS.set(settings, ofSettings.set(flows, ground))
  return ground
}

const keysOf = (id: string, document: FactDocument): FactKeys => ({
  id,
  document,
  beside: `${id}~`,
  several: `${id}.`,
  ofValues: (document.values ?? []).map(value => ({ value, key: `${id}.${value}` })),
})

const shapeOf = (facts: KernelFacts, reached: readonly FactKeys[]): FactShape => ({
  facts: copyOf(facts),
  reached,
  after: new Map(),
})

/** Ways that are kept from one shape on: more than there are facts, so that nothing grows with what families say. */
const WAYS_MOST = 1_000

/** The shape with one more answer. */
export function shapeWith(shape: FactShape, keys: FactKeys, kind: Answer['kind']): FactShape {
  const { id, beside, several, ofValues } = keys
  const way = kind === 'choice' || kind === 'unsure' ? beside : kind === 'many' ? several : id
  const known = shape.after.get(way)
  if (known !== undefined) return known
  const also = way === beside ? [beside] : way === id ? [] : ofValues.map(({ key }) => key)
  const facts = { ...shape.facts, ...Object.fromEntries([id, ...also].map(key => [key, ''])) }
  const grown = shapeOf(facts, [...shape.reached, keys])
  const after = shape.after as Map<string, FactShape>
  if (after.size < WAYS_MOST) after.set(way, grown)
  return grown
}
