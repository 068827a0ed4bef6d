/** Whether a worse answer ever leads to less: two families that answer alike but for one question, side by side. */
import type { FactDocument } from '../../flow/document.ts'
import type { Move } from '../model/flat-step.ts'
import type { FlatFlow } from '../model/tables.ts'
import type { AnswerEdge, AnswerGraph, Bounds } from './builtin-answers.ts'

/** Two answers to one question that are in order, and talk in which the worse leads to less. */
export interface Milder {
  readonly fact: string
  readonly mild: string
  readonly worse: string
  readonly mildTo: number
  readonly worseTo: number
  /** Moves of the talk with the worse answer. */
  readonly way: readonly Move[]
}

/** Classes of one fact in order: `[milder, worse]`, by index. */
export function ordersOf(
  flat: FlatFlow,
  worse: Readonly<Record<string, readonly (readonly string[])[]>>,
): ReadonlyMap<number, readonly (readonly [number, number])[]> {
  return new Map(
    flat.cells.map((cell, field) => {
      const { document, classes } = cell.domain
      const ranks = classes.map(each => rankOf(each.members, worse[cell.fact] ?? []))
      const pairs: (readonly [number, number])[] = []
      for (const [a, mild] of ranks.entries())
        for (const [b, grave] of ranks.entries()) if (mild >= 0 && grave > mild) pairs.push([a, b])
      return [field, [...pairs, ...unsurePairs(document, classes, ranks)]] as const
    }),
  )
}

/** Group of the mildest member; -1 where a member is in none. Several values joined are as bad as their worst. */
function rankOf(members: readonly string[], groups: readonly (readonly string[])[]): number {
  const ranks = members.map(member =>
    Math.max(...member.split('+').map(value => groups.findIndex(group => group.includes(value)))),
  )
  const isListed = members.every(member =>
    member.split('+').every(value => groups.some(group => group.includes(value))),
  )
  return isListed ? Math.min(...ranks) : -1
}

/** "Not sure" against the value it acts as, or, where it acts as itself, against the mildest. */
function unsurePairs(
  document: FactDocument,
  classes: readonly { readonly members: readonly string[] }[],
  ranks: readonly number[],
): (readonly [number, number])[] {
  const unsure = classes.findIndex(each => each.members.includes('unsure'))
  if (unsure === -1) return []
  const acts = document['unsure-acts-as']
  const mild =
    acts === undefined
      ? ranks.indexOf(0)
      : classes.findIndex(each => each.members.some(one => one.split('+').includes(acts)))
  return mild === -1 || mild === unsure ? [] : [[mild, unsure]]
}

/** Answers that both families have given since they differed, by field; every such record is made once. */
interface Alike {
  readonly number: number
  readonly fields: readonly number[]
  readonly answers: readonly number[]
  readonly further: Map<number, Alike>
}

/** Answers like one that was given: that very one, or, where time stands otherwise by now, every one of its class. */
function likeOf(edges: readonly AnswerEdge[], given: number | undefined): readonly AnswerEdge[] {
  if (given === undefined) return edges
  const same = edges.filter(edge => codeOf(edge) === given)
  return same.length > 0 ? same : edges.filter(edge => edge.answer === given >> 8)
}

const codeOf = ({ answer, branch }: AnswerEdge): number => (answer << 8) | branch
/** Fields, and codes of answers, are below this. */
const CODES = 2 ** 20

/** Records of what was answered alike. */
function alikes() {
  let count = 0
  const made = (fields: readonly number[], answers: readonly number[]): Alike => ({
    number: count++,
    fields,
    answers,
    further: new Map(),
  })
  const none = made([], [])
  const known = new Map<string, Alike>()
  /** The same answers given in another order are the same record. */
  const inOrder = (fields: readonly number[], answers: readonly number[]): Alike => {
    const places = fields.map((_, place) => place).toSorted((a, b) => (fields[a] ?? 0) - (fields[b] ?? 0))
    const key = places.map(place => `${fields[place]}:${answers[place]}`).join(' ')
    const found = known.get(key)
    if (found !== undefined) return found
    const one = made(
      places.map(place => fields[place] ?? -1),
      places.map(place => answers[place] ?? 0),
    )
    known.set(key, one)
    return one
  }
  const plus = (alike: Alike, field: number, answer: number): Alike => {
    const key = field * CODES + answer
    const found = alike.further.get(key)
    if (found !== undefined) return found
    const next = inOrder([...alike.fields, field], [...alike.answers, answer])
    alike.further.set(key, next)
    return next
  }
  /** Without the fields that are let go. */
  const keeping = (alike: Alike, isKept: (field: number) => boolean): Alike =>
    alike.fields.every(isKept)
      ? alike
      : alike.fields.reduce(
          (all, field, index) => (isKept(field) ? plus(all, field, alike.answers[index] ?? 0) : all),
          none,
        )
  const answerIn = (alike: Alike, field: number): number | undefined => {
    const place = alike.fields.indexOf(field)
    return place === -1 ? undefined : alike.answers[place]
  }
  return { none, plus, keeping, answerIn }
}

/** Whether a question may still be asked in one of two states. What was answered to others decides nothing any more. */
function askedAhead(
  graph: AnswerGraph,
  longest: Uint16Array,
  fields: number,
): (one: number, other: number, field: number) => boolean {
  const words = Math.ceil(fields / 32)
  const ahead = new Int32Array(graph.states * words)
  const order = Array.from({ length: graph.states }, (_, at) => at).sort(
    (a, b) => (longest[a] as number) - (longest[b] as number),
  )
  for (const at of order) {
    const own = graph.asked(at)
    const edges = graph.edges(at)
    if (own >= 0 && edges.length > 0) ahead[at * words + (own >> 5)] = 1 << (own & 31)
    for (const { to } of edges)
      for (let word = 0; word < words; word++)
        ahead[at * words + word] = (ahead[at * words + word] as number) | (ahead[to * words + word] as number)
  }
  const isAhead = (at: number, field: number) =>
    (((ahead[at * words + (field >> 5)] as number) >> (field & 31)) & 1) === 1
  return (one, other, field) => isAhead(one, field) || isAhead(other, field)
}

/** Pairs of talk looked at, at most, before the search says that it has not seen all. */
const PAIRS_MOST = 2_000_000

/**
 * The first answers by which a worse one leads to a milder end, everything else answered alike. `isWhole` is false where
 * the search was cut short.
 */
export function milderEnds(
  flat: FlatFlow,
  graph: AnswerGraph,
  { least, most, longest }: Bounds,
  orders: ReadonlyMap<number, readonly (readonly [number, number])[]>,
): { readonly found: readonly Milder[]; readonly isWhole: boolean } {
  const { none, plus, keeping, answerIn } = alikes()
  const fine = new Map<number, Set<number>>()
  const asksAhead = askedAhead(graph, longest, flat.cells.length)
  let looked = 0
  const found = new Map<string, Milder>()

  /** Whether this pair is looked at for the first time. */
  function isNew(mild: number, worse: number, alike: Alike): boolean {
    const pair = mild * graph.states + worse
    const seen = fine.get(pair)
    if (seen === undefined) fine.set(pair, new Set([alike.number]))
    else if (seen.has(alike.number)) return false
    else seen.add(alike.number)
    return true
  }

  /** The way on which the worse answer ends milder, as states of both; undefined where there is none. */
  function differs(
    mild: number,
    worse: number,
    before: Alike,
    way: readonly Move[],
  ): { way: readonly Move[]; to: number; mildTo: number } | undefined {
    // From the same state on everything answered alike leads to the same.
    if (mild === worse || (least[worse] as number) >= (most[mild] as number)) return undefined
    const alike = keeping(before, field => asksAhead(mild, worse, field))
    if (looked > PAIRS_MOST || !isNew(mild, worse, alike)) return undefined
    looked++
    const mildAsks = graph.edges(mild)
    const worseAsks = graph.edges(worse)
    if (mildAsks.length === 0 && worseAsks.length === 0) {
      return graph.urgency(worse) < graph.urgency(mild) ? { way, to: worse, mildTo: mild } : undefined
    }
    const side = goesFirst(mild, worse, alike)
    if (side === 'both') return differsOnBoth(mildAsks, worseAsks, graph.asked(mild), alike, way)
    const isMild = side === 'mild'
    const field = graph.asked(isMild ? mild : worse)
    for (const edge of likeOf(isMild ? mildAsks : worseAsks, answerIn(alike, field))) {
      const next = recorded(alike, field, edge, isMild ? edge.to : mild, isMild ? worse : edge.to)
      const end = isMild
        ? differs(edge.to, worse, next, way)
        : differs(mild, edge.to, next, [...way, { kind: 'answered', arg: edge.answer, branch: edge.branch }])
      if (end !== undefined) return end
    }
    return undefined
  }

  /** The same question is put to both. */
  function differsOnBoth(
    mildAsks: readonly AnswerEdge[],
    worseAsks: readonly AnswerEdge[],
    field: number,
    alike: Alike,
    way: readonly Move[],
  ): ReturnType<typeof differs> {
    for (const mild of mildAsks)
      for (const worse of likeOf(worseAsks, codeOf(mild))) {
        const next = recorded(alike, field, mild, mild.to, worse.to)
        const move: Move = { kind: 'answered', arg: worse.answer, branch: worse.branch }
        const end = differs(mild.to, worse.to, next, [...way, move])
        if (end !== undefined) return end
      }
    return undefined
  }

  /** Who answers next: whoever is asked what the other is not asked any more, so that little has to be kept in mind. */
  function goesFirst(mild: number, worse: number, alike: Alike): 'mild' | 'worse' | 'both' {
    const isAsked = (at: number) => graph.edges(at).length > 0
    const isFree = (field: number, other: number) =>
      answerIn(alike, field) !== undefined || !asksAhead(other, other, field)
    if (!isAsked(worse)) return 'mild'
    if (!isAsked(mild)) return 'worse'
    if (isFree(graph.asked(mild), worse)) return 'mild'
    if (isFree(graph.asked(worse), mild)) return 'worse'
    return graph.asked(mild) === graph.asked(worse) ? 'both' : 'mild'
  }

  /** An answer is kept in mind while one of the two may still be asked the same. */
  function recorded(alike: Alike, field: number, edge: AnswerEdge, mildTo: number, worseTo: number): Alike {
    if (answerIn(alike, field) !== undefined || !asksAhead(mildTo, worseTo, field)) return alike
    return plus(alike, field, codeOf(edge))
  }

  for (let at = 0; at < graph.states; at++) {
    const field = graph.asked(at)
    const pairs = orders.get(field)
    if (pairs === undefined || pairs.length === 0) continue
    const edges = graph.edges(at)
    for (const [a, b] of pairs) {
      const name = `${field} ${a} ${b}`
      if (found.has(name)) continue
      for (const mild of edges.filter(edge => edge.answer === a)) {
        const worse = edges.find(edge => edge.answer === b && edge.branch === mild.branch)
        if (worse === undefined) continue
        const move: Move = { kind: 'answered', arg: b, branch: worse.branch }
        const end = differs(mild.to, worse.to, none, [move])
        if (end === undefined) continue
        const cell = flat.cells[field]
        found.set(name, {
          fact: cell?.fact ?? '',
          mild: cell?.domain.classes[a]?.id ?? '',
          worse: cell?.domain.classes[b]?.id ?? '',
          mildTo: graph.urgency(end.mildTo),
          worseTo: graph.urgency(end.to),
          way: [...graph.wayTo(at), ...end.way],
        })
      }
    }
  }
  return { found: [...found.values()], isWhole: looked <= PAIRS_MOST }
}
