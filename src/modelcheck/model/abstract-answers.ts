/**
 * What a family can answer, as far as any condition of a flow can tell answers apart. Numbers and times are cut at the
 * limits a clinic sets, so that what is found holds whatever the limits are.
 */
import type { FactDocument } from '../../flow/document.ts'
import type { Flow, FlowSet } from '../../flow/flow-set.ts'

/** Answers of one fact that every condition and every derived fact takes for the same. */
export interface AnswerClass {
  /** What a family would say: a value, several joined by `+`, `unsure`, or a band such as `under-first-days`. */
  readonly id: string
  /** All answers merged into this class, itself among them. */
  readonly members: readonly string[]
  /** The values it satisfies in a condition. */
  readonly literals: ReadonlySet<string>
  /** The band that derived facts work from; the id where they do not care. */
  readonly band: string
}

/** A fact of a flow with its classes of answers. */
export interface FactDomain {
  readonly fact: string
  readonly document: FactDocument
  readonly classes: readonly AnswerClass[]
}

/** How a tract grows older while a conversation goes on. */
export const GROWING = ['under-first-days', 'under-settled', 'over-settled'] as const

/** Bands of facts with a number or a time behind them, in order; "unsure" comes after them. */
const BANDS: Readonly<Record<string, readonly string[]>> = {
  'first-placed': GROWING,
  ph: ['at-most-limit', 'over-limit', 'none-came'],
  age: ['under-3-months', '3-to-6-months', '6-months-to-5-years', '5-years-and-over'],
  // Fever; from what it cannot wait under 3 months; from what it cannot wait under 6 months.
  temperature: ['low', 'normal', 'fever', 'fever-youngest', 'high', 'feels-hot', 'feels-normal'],
  'last-wet': ['recent', 'page', 'hospital'],
  // Beside what had been put in.
  'balloon-came-out': ['holds', 'small-loss', 'loss', 'none-came-out', 'gain'],
}

/** Facts whose own classes a derived fact works from beyond the values that conditions name. */
const READ_BY_DERIVED: Readonly<Record<string, readonly string[]>> = {
  tract: ['first-placed', 'changed-before'],
  closure: ['out-since', 'travel'],
  reach: ['out-since', 'travel'],
  danger: ['danger-signs'],
  'ph-result': ['ph', 'acid-medicine'],
  'age-band': ['age'],
  fever: ['temperature', 'age'],
  urine: ['last-wet'],
  'balloon-loss': ['balloon-put-in', 'balloon-came-out'],
}

/** Classes that an answer may come to by time alone, the next one first. */
export function olderClasses({ domain }: { readonly domain: FactDomain }, classIndex: number): readonly number[] {
  if (domain.fact !== 'first-placed') return []
  const stands = (GROWING as readonly string[]).indexOf(domain.classes[classIndex]?.band ?? '')
  const later = stands < 0 ? [] : GROWING.slice(stands + 1)
  return later.flatMap(band => {
    const at = domain.classes.findIndex(each => each.band === band)
    return at < 0 ? [] : [at]
  })
}

/** What rules compare: a fact or derived fact with values. */
export interface Compared {
  readonly on: string
  readonly values: readonly string[]
}

/** Every value that conditions of a flow, and rules beside it, name, by fact. */
export function namedValues(flow: Flow, compared: readonly Compared[] = []): ReadonlyMap<string, ReadonlySet<string>> {
  const named = new Map<string, Set<string>>()
  for (const { on, values } of compared) {
    const known = named.get(on) ?? new Set()
    for (const value of values) known.add(value)
    named.set(on, known)
  }
  for (const step of flow.steps.values()) {
    for (const row of step.rows) {
      for (const [fact, values] of Object.entries(row.if)) {
        const known = named.get(fact) ?? new Set()
        for (const value of values) known.add(value)
        named.set(fact, known)
      }
    }
  }
  return named
}

/** The sets of values that single conditions of a flow, and rules beside it, compare a fact with. */
function conditionsOn(flow: Flow, fact: string, compared: readonly Compared[]): readonly (readonly string[])[] {
  const rows = [...flow.steps.values()].flatMap(step => step.rows)
  const own = rows.flatMap(row => (row.if[fact] === undefined ? [] : [row.if[fact]]))
  return [...own, ...compared.flatMap(({ on, values }) => (on === fact ? [values] : []))]
}

/**
 * Domains of all facts that a flow's steps ask or set.
 *
 * @param merge  whether answers that nothing can tell apart become one class; unmerged, each value stays its own
 * @param compared  what rules compare beside the flow's conditions
 */
export function domainsOf(flow: Flow, set: FlowSet, merge: boolean, compared: readonly Compared[] = []): FactDomain[] {
  const facts = new Set<string>()
  for (const step of flow.steps.values()) {
    if (step.ask !== undefined) facts.add(step.ask)
    for (const fact of Object.keys(step.set ?? {})) facts.add(fact)
  }
  const named = namedValues(flow, compared)
  const derivedRead = new Set([...named.keys()].flatMap(id => READ_BY_DERIVED[id] ?? []))
  return [...facts].map(fact => {
    const document = set.facts[fact]
    if (document === undefined) throw new Error(`no fact "${fact}"`)
    const all = answersOf(fact, document, named.get(fact) ?? new Set())
    const tests = conditionsOn(flow, fact, compared)
    return { fact, document, classes: merge ? merged(all, tests, derivedRead.has(fact)) : all }
  })
}

function answersOf(fact: string, document: FactDocument, named: ReadonlySet<string>): AnswerClass[] {
  const one = (id: string, literals: Iterable<string>, band = id): AnswerClass => ({
    id,
    members: [id],
    literals: new Set(literals),
    band,
  })
  const unsure = one('unsure', ['unsure', document['unsure-acts-as'] ?? 'unsure'])
  if (document.settable === true) return (document.values ?? []).map(value => one(value, [value]))
  if (document['act-at-once'] === true) {
    const apart = (document.apart ?? []).map(value => one(value, [value]))
    return [...apart, one('a-sign', ['a-sign']), unsure]
  }
  switch (document.kind) {
    case 'choice':
      return [...(document.values ?? []).map(value => one(value, [value])), unsure]
    case 'many':
      return [...manyOf(document, named).map(values => one(values.join('+'), literalsOfMany(values))), unsure]
    default: {
      const bands = BANDS[fact]
      const answered = bands?.map(band =>
        one(band, [document.values?.includes(band) === true ? band : 'answered']),
      ) ?? [one('answered', ['answered'])]
      return document.kind === 'phone' ? [...answered, one('write-only', ['answered']), unsure] : [...answered, unsure]
    }
  }
}

/** Lists a family can tick: each value that stands apart alone, and every set of the others that conditions name. */
function manyOf(document: FactDocument, named: ReadonlySet<string>): string[][] {
  const apart = document.apart ?? []
  const rest = (document.values ?? []).filter(value => !apart.includes(value))
  const told = rest.filter(value => named.has(value))
  const other = rest.find(value => !named.has(value))
  const sets: string[][] = []
  for (let bits = 0; bits < 1 << told.length; bits++) {
    const values = told.filter((_, index) => (bits >> index) % 2 === 1)
    if (values.length > 0) sets.push(values)
  }
  if (other !== undefined) sets.push([other])
  return [...apart.map(value => [value]), ...sets]
}

const literalsOfMany = (values: readonly string[]): string[] =>
  values.length === 1 ? [...values] : ['several', ...values]

function merged(
  all: readonly AnswerClass[],
  tests: readonly (readonly string[])[],
  isReadByDerived: boolean,
): AnswerClass[] {
  const bySignature = new Map<string, AnswerClass>()
  for (const answer of all) {
    const holds = tests.map(values => (values.some(value => answer.literals.has(value)) ? '1' : '0')).join('')
    const signature = isReadByDerived ? `${holds} ${answer.band}` : holds
    const same = bySignature.get(signature)
    bySignature.set(signature, same === undefined ? answer : { ...same, members: [...same.members, ...answer.members] })
  }
  return [...bySignature.values()]
}
