/**
 * What clinicians approve of a flow, as one canonical text: steps, the shared steps they reach, every text that can be
 * shown on the way in each language, facts, derived facts, ids of settings that are read, sources, drawings. Comments,
 * layout and the order of keys are not in it; the order of lists is, since it decides what is said first and which row wins.
 *
 * One changed character of any of it changes the text of exactly the flows it touches.
 */
import { factsOf } from './flow-facts.ts'
import type { FlowSet } from './flow-set.ts'
import type { Step } from './flow-step.ts'
import { type Catalogue, variablesOf } from './wording.ts'

/** Form of the canonical text. It rises when the meaning of the flow language changes: older approvals then lapse. */
const FORM = 1

/** Kinds of text that belong to one fact: `ask/FACT`, `option/FACT/VALUE`. */
const OF_FACTS = ['ask', 'label', 'option', 'why', 'coming']

/**
 * Settings that each derived fact, and each moment an alarm may count to, is worked out with. A test watches which
 * settings the computations read.
 */
const READ_FOR: Readonly<Record<string, readonly string[]>> = {
  tract: ['tract-settled-after', 'tract-settled-needs-change', 'first-days'],
  closure: ['closure-soonest', 'closure-latest', 'closure-overdue'],
  reach: ['closure-soonest', 'closure-latest', 'closure-overdue'],
  'ph-result': ['ph-at-most'],
  fever: ['fever-under-3-months', 'fever-3-to-6-months'],
  urine: ['no-urine-page', 'no-urine-hospital'],
  'balloon-loss': ['balloon-loss-ml'],
  'leave-by': ['closure-soonest', 'closure-latest', 'closure-overdue'],
  'closure-soonest': ['closure-soonest'],
  'closure-latest': ['closure-latest'],
  'closure-overdue': ['closure-overdue'],
}

/** Settings that a text shows, by the variable that stands for them. */
const SHOWN_AS: Readonly<Record<string, string>> = {
  flushLeast: 'flush-ml',
  flushMost: 'flush-ml',
  flushWait: 'flush-wait',
}

/** Settings of every case: chasing silence, the ladder, a promised call, an outage, the road to hospital. */
const READ_ALWAYS = [
  'asked-again-after',
  'left-check',
  'left-silent',
  'arrival-grace',
  'ladder-urgent',
  'ladder-speak',
  'promise-grace',
]

/** JSON with the keys of every map in order, so that equal content is equal text. What is undefined is left out. */
export function canonicalText(value: unknown): string {
  return JSON.stringify(ordered(value))
}

function ordered(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(ordered)
  if (value instanceof Map) return ordered(Object.fromEntries(value))
  if (value === null || typeof value !== 'object') return value
  const entries = Object.entries(value).filter(([, inner]) => inner !== undefined)
  return Object.fromEntries(
    entries.toSorted(([a], [b]) => (a < b ? -1 : 1)).map(([key, inner]) => [key, ordered(inner)]),
  )
}

/**
 * The content of one flow of a set, to be made a text with `canonicalText`. Throws for a concern without a flow.
 *
 * @param drawingDigest  digest of a drawing's bytes by its id; undefined where there is none
 */
export function flowContent(
  set: FlowSet,
  concern: string,
  drawingDigest: (id: string) => string | undefined,
): Readonly<Record<string, unknown>> {
  const flow = set.flows.get(concern)
  if (flow === undefined) throw new Error(`there is no flow "${concern}" whose content could be told`)
  const reached = reachedBy(set, concern)
  const advice = Object.fromEntries([...flow.advice].filter(([id]) => reached.advice.has(id)))
  const cited = new Set(Object.values(advice).flatMap(one => one['rests-on'] ?? []))
  const drawn = [...reached.facts].flatMap(id => {
    const document = set.facts[id]
    const own = document?.drawing === undefined ? [] : [document.drawing]
    return document?.drawings === true ? [...own, ...(document.values ?? []), 'unsure'] : own
  })
  for (const { drawing } of Object.values(advice)) if (drawing !== undefined) drawn.push(drawing)
  return {
    form: FORM,
    concern,
    start: flow.start,
    silence: flow.silence,
    unanswered: flow.unanswered,
    left: flow.left,
    steps: flow.steps,
    advice,
    closing: flow.closing,
    sources: Object.fromEntries([...flow.sources].filter(([id]) => cited.has(id))),
    facts: only(set.facts, reached.facts),
    derived: only(set.derived, reached.derived),
    policies: only(set.policies, reached.policies),
    settings: settingsReadBy(set, concern),
    wording: Object.fromEntries(
      [...flow.wording].map(([language, catalogue]) => [language, wordsOf(set, concern, catalogue)]),
    ),
    drawings: Object.fromEntries(drawn.map(id => [id, drawingDigest(id)])),
  }
}

/** Shared texts that no flow's content holds, by language: titles of concerns, words of facts that no flow reaches yet. */
export function restOfWording(set: FlowSet): Readonly<Record<string, Readonly<Record<string, string>>>> {
  return Object.fromEntries(
    [...set.wording].map(([language, catalogue]) => {
      const shown = [...set.flows.keys()].map(concern => shownIn(set, concern))
      return [language, textsOf(catalogue, id => !shown.some(isShown => isShown(id)))]
    }),
  )
}

/** Ids of the settings that decide something in this flow, or in any case, in order. */
export function settingsReadBy(set: FlowSet, concern: string): readonly string[] {
  const { derived, policies, alarms } = reachedBy(set, concern)
  const read = [...derived, ...alarms].flatMap(id => READ_FOR[id] ?? [])
  const counted = [...alarms].filter(id => READ_FOR[id] === undefined && id !== 'arrival')
  return [...new Set([...READ_ALWAYS, ...read, ...counted, ...policies, ...settingsShown(set, concern)])].toSorted()
}

/** Ids of the settings whose figure stands in advice of this flow, in any language. */
function settingsShown(set: FlowSet, concern: string): string[] {
  const { advice } = reachedBy(set, concern)
  const texts = [...(set.flows.get(concern)?.wording.values() ?? [])].flatMap(catalogue =>
    [...advice].flatMap(id => ['say', 'stop'].map(kind => catalogue.source(`${kind}/${id}`) ?? '')),
  )
  return texts.flatMap(variablesOf).flatMap(name => SHOWN_AS[name] ?? [])
}

interface Reached {
  readonly advice: ReadonlySet<string>
  readonly facts: ReadonlySet<string>
  readonly derived: ReadonlySet<string>
  readonly policies: ReadonlySet<string>
  /** Moments and settings that alarms count by. */
  readonly alarms: ReadonlySet<string>
  /** Ids of reasons for a page, and of notes. */
  readonly told: ReadonlySet<string>
}

/** What a set reaches, worked out once: every part of the content asks for it. */
const REACHED = new WeakMap<FlowSet, ReachedInSet>()

interface ReachedInSet {
  readonly byConcern: ReadonlyMap<string, Reached>
  /** Advice of any flow. */
  readonly advised: ReadonlySet<string>
  /** Reasons and notes of any flow. */
  readonly told: ReadonlySet<string>
}

function reachedIn(set: FlowSet): ReachedInSet {
  const known = REACHED.get(set)
  if (known !== undefined) return known
  const byConcern = new Map([...set.flows.keys()].map(concern => [concern, reachedFrom(set, concern)]))
  const reached = {
    byConcern,
    advised: new Set([...set.flows.values()].flatMap(flow => [...flow.advice.keys()])),
    told: new Set([...byConcern.values()].flatMap(one => [...one.told])),
  }
  REACHED.set(set, reached)
  return reached
}

const reachedBy = (set: FlowSet, concern: string): Reached =>
  reachedIn(set).byConcern.get(concern) ?? reachedFrom(set, concern)

function reachedFrom(set: FlowSet, concern: string): Reached {
  const flow = set.flows.get(concern)
  const steps: readonly Step[] = [...(flow?.steps.values() ?? [])]
  const compared = steps.flatMap(step => step.rows.flatMap(row => Object.keys(row.if)))
  const derived = new Set(compared.filter(id => id in set.derived))
  const notices = [...(flow?.advice ?? [])].filter(([id, one]) => one.tags.length === 0 && isShared(set, id))
  return {
    advice: new Set([
      ...steps.flatMap(step => step.say ?? []),
      ...(flow?.closing === undefined ? [] : [flow.closing]),
      ...notices.map(([id]) => id),
    ]),
    facts: new Set(
      [
        ...(flow === undefined ? [] : factsOf(flow, set.derived)),
        ...steps.flatMap(step => Object.keys(step.set ?? {})),
      ].filter(id => id in set.facts),
    ),
    derived,
    policies: new Set(compared.filter(id => id in set.policies)),
    alarms: new Set(steps.flatMap(step => step.alarms.flatMap(({ at, after }) => at ?? after ?? []))),
    told: new Set(steps.flatMap(step => [step.page ?? [], step.note ?? []].flat())),
  }
}

/** Whether every flow has the piece of advice: it then stands in the shared sources, where code may say a notice. */
const isShared = (set: FlowSet, id: string): boolean => [...set.flows.values()].every(flow => flow.advice.has(id))

/** The texts of a catalogue that can be shown in this flow: what it reaches, and what every case may say. */
const wordsOf = (set: FlowSet, concern: string, catalogue: Catalogue): Readonly<Record<string, string>> =>
  textsOf(catalogue, shownIn(set, concern))

/** Whether the text with an id can be shown in a flow. */
function shownIn(set: FlowSet, concern: string): (id: string) => boolean {
  const own = reachedBy(set, concern)
  const { advised, told } = reachedIn(set)
  return id => {
    const [kind = '', key = ''] = id.split('/')
    if (kind === 'concern') return key === concern
    if (OF_FACTS.includes(kind) && key in set.facts) return own.facts.has(key)
    if ((kind === 'say' || kind === 'stop') && advised.has(key)) return own.advice.has(key)
    if ((kind === 'reason' || kind === 'note') && told.has(key)) return own.told.has(key)
    return true
  }
}

function textsOf(catalogue: Catalogue, isHeld: (id: string) => boolean): Readonly<Record<string, string>> {
  const held = [...catalogue.ids].filter(isHeld)
  return Object.fromEntries(held.map(id => [id, catalogue.source(id) ?? '']))
}

function only<T>(documents: Readonly<Record<string, T>>, ids: ReadonlySet<string>): Readonly<Record<string, T>> {
  return Object.fromEntries(Object.entries(documents).filter(([id]) => ids.has(id)))
}
