/**
 * What the answers alone decide: a family that answers each question as it comes, with no interruption, no change of mind
 * and no waiting. How many questions that takes, whether anything is asked that can change nothing, and whether a worse
 * answer ever leads to less.
 */
import { explore } from '../model/explore.ts'
import type { Move, Mover } from '../model/flat-step.ts'
import { numbers } from '../model/silent.ts'
import type { FlatFlow } from '../model/tables.ts'
import type { QuestionFigure } from './findings.ts'

/** One answered question: the state it leads to, its class and how time stands after it. */
export interface AnswerEdge {
  readonly to: number
  readonly answer: number
  readonly branch: number
}

export interface AnswerGraph {
  readonly states: number
  readonly starts: readonly number[]
  /** Field of the fact asked in a state, -1 where talk rests. */
  asked(state: number): number
  /** Urgency decided so far, 0 to 5. */
  urgency(state: number): number
  /** Whether any advice has been said by then. */
  isAdvised(state: number): boolean
  edges(state: number): readonly AnswerEdge[]
  wayTo(state: number): readonly Move[]
  /** Node at which talk stands. */
  node(state: number): number
}

export function answerGraph(flat: FlatFlow, statesMost?: number): AnswerGraph {
  const { fields: F, nodes } = flat
  const memory = new Int32Array(1)
  const starts = new Set<number>()
  const from = numbers()
  const to = numbers()
  const answers = numbers()
  const isAct = nodes.map(node => node.says.some(id => (flat.flow.advice.get(id)?.tags ?? []).length > 0))
  const walked = explore(flat, {
    resume: 'return',
    corrections: 'none',
    interruptions: false,
    isFollowed: move => move.kind === 'answered' || move.kind === 'opened',
    ...(statesMost === undefined ? {} : { statesMost }),
    watch: {
      sizes: [2],
      begin: earlier => {
        memory[0] = earlier[0] as number
      },
      end: () => memory,
    },
    onMover: (made: Mover) => {
      made.onEntered = node => {
        if (isAct[node] === true) memory[0] = 1
      }
    },
    onEdge: edge => {
      if (edge.from < 0) return void starts.add(edge.to)
      from.push(edge.from)
      to.push(edge.to)
      answers.push((edge.move.arg << 8) | edge.move.branch)
    },
  })
  const firstEdge = new Int32Array(walked.states + 1)
  for (let edge = 0; edge < from.length(); edge++) firstEdge[from.at(edge) + 1] = edge + 1
  for (let at = 1; at <= walked.states; at++)
    firstEdge[at] = Math.max(firstEdge[at] as number, firstEdge[at - 1] as number)
  const node = new Int32Array(walked.states)
  const urgency = new Uint8Array(walked.states)
  const advised = new Uint8Array(walked.states)
  const state = new Int32Array(walked.width)
  for (let at = 0; at < walked.states; at++) {
    walked.state(at, state)
    node[at] = state[F.talk] as number
    urgency[at] = Math.max(state[F.decided] as number, state[F.floor] as number)
    advised[at] = state[F.count] as number
  }
  const edges = Array.from({ length: walked.states }, (_, state) => {
    const first = firstEdge[state] as number
    return Array.from({ length: (firstEdge[state + 1] as number) - first }, (_, place): AnswerEdge => {
      const code = answers.at(first + place)
      return { to: to.at(first + place), answer: code >> 8, branch: code & 255 }
    })
  })
  return {
    states: walked.states,
    starts: [...starts],
    asked: state => nodes[node[state] as number]?.ask ?? -1,
    urgency: state => urgency[state] as number,
    isAdvised: state => advised[state] === 1,
    node: state => node[state] as number,
    edges: state => edges[state] ?? [],
    wayTo: walked.wayTo,
  }
}

/** The mildest and the gravest urgency that answers can still lead to; undefined: some answers lead round in a circle. */
export interface Bounds {
  readonly least: Uint8Array
  readonly most: Uint8Array
  /** Questions still to be answered, at most. */
  readonly longest: Uint16Array
}

/** A state on a circle of questions, or the bounds of all. */
export function boundsOf(graph: AnswerGraph): Bounds | { readonly circleAt: number } {
  const least = new Uint8Array(graph.states)
  const most = new Uint8Array(graph.states)
  const longest = new Uint16Array(graph.states)
  const mark = new Uint8Array(graph.states)
  for (const start of graph.starts) {
    const stack = [start]
    while (stack.length > 0) {
      const at = stack.at(-1) as number
      if (mark[at] === 2) {
        stack.pop()
        continue
      }
      const next = graph.edges(at)
      if (mark[at] === 0) {
        mark[at] = 1
        for (const { to } of next) {
          if (mark[to] === 1) return { circleAt: to }
          if (mark[to] === 0) stack.push(to)
        }
        continue
      }
      stack.pop()
      mark[at] = 2
      const own = graph.urgency(at)
      least[at] = next.length === 0 ? own : Math.min(...next.map(({ to }) => least[to] as number))
      most[at] = next.length === 0 ? own : Math.max(...next.map(({ to }) => most[to] as number))
      longest[at] = next.length === 0 ? 0 : 1 + Math.max(...next.map(({ to }) => longest[to] as number))
    }
  }
  return { least, most, longest }
}

/** Questions answered until something is so, over all ways of answering, each class of answers counted once. */
export function questionsUntil(graph: AnswerGraph, isSo: (state: number) => boolean): QuestionFigure {
  const known = new Map<number, Float64Array>()
  const longest = 64
  const ways = (at: number): Float64Array => {
    const found = known.get(at)
    if (found !== undefined) return found
    const own = new Float64Array(longest + 1)
    known.set(at, own)
    if (isSo(at)) own[0] = 1
    else {
      for (const { to } of graph.edges(at)) {
        const further = ways(to)
        for (let count = 0; count < longest; count++)
          own[count + 1] = (own[count + 1] as number) + (further[count] as number)
      }
    }
    return own
  }
  const all = new Float64Array(longest + 1)
  for (const start of graph.starts)
    ways(start).forEach((count, questions) => {
      all[questions] = (all[questions] as number) + count
    })
  const total = all.reduce((sum, count) => sum + count, 0)
  if (total === 0) return { best: -1, median: -1, worst: -1 }
  let passed = 0
  let median = -1
  all.forEach((count, questions) => {
    passed += count
    if (median === -1 && passed * 2 >= total) median = questions
  })
  return { best: all.findIndex(count => count > 0), median, worst: all.findLastIndex(count => count > 0) }
}

/** A state in which a question is put though what will be decided is certain already. */
export function decidedLate(graph: AnswerGraph, { least, most }: Bounds): number | undefined {
  for (let at = 0; at < graph.states; at++) {
    if (graph.asked(at) >= 0 && graph.urgency(at) < (least[at] as number) && least[at] === most[at]) return at
  }
  return undefined
}
