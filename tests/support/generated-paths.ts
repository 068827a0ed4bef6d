/**
 * Conversations made by @xstate/test 1.0.0-beta.5, behind this one file. It refuses machines with actions of their own, so
 * it is given the pure step of the flow's model as logic, and the events that can happen in each state.
 */
import { TestModel } from '@xstate/test'
import { type Move, mover } from '../../src/modelcheck/model/flat-step.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'

export interface GeneratedPath {
  readonly moves: readonly Move[]
  /** Step at which talk stands at the end. */
  readonly talk: string
}

interface Snapshot {
  readonly status: 'active'
  readonly output: undefined
  readonly error: undefined
  /** Undefined before the first message. */
  readonly state: readonly number[] | undefined
}

interface Happening {
  readonly type: string
  readonly move: Move
}

/**
 * One shortest path for each edge of control: where talk stands, whether somebody is paged and the page ran out, the
 * closure clock, the floor, an attempt; the event; and the same before it.
 */
export function generatedPaths(flat: FlatFlow): GeneratedPath[] {
  const made = mover(flat, { resume: 'replay', corrections: 'none' })
  const { fields: F } = flat
  const attempt = flat.fieldOf.get('attempt')
  const control = [
    F.talk,
    F.paged,
    F.ranOut,
    F.elapsed,
    F.timeLeft,
    F.floor,
    F.interrupted,
    ...(attempt === undefined ? [] : [attempt]),
  ]
  const keyOf = ({ state }: Snapshot) => (state === undefined ? 'before' : control.map(field => state[field]).join())
  const snapshotOf = (state: readonly number[] | undefined): Snapshot => ({
    status: 'active',
    output: undefined,
    error: undefined,
    state,
  })
  const movesIn = ({ state }: Snapshot): Happening[] => {
    const moves: Happening[] = []
    const keep = (move: Move) => moves.push({ type: `${move.kind} ${move.arg} ${move.branch}`, move })
    if (state === undefined) made.starts(keep)
    else made.moves(Int32Array.from(state), keep)
    return moves
  }
  const logic = {
    config: {},
    transition: ({ state }: Snapshot, { move }: Happening) =>
      snapshotOf([...made.again(state === undefined ? undefined : Int32Array.from(state), move)]),
    getInitialSnapshot: () => snapshotOf(undefined),
    getPersistedSnapshot: (snapshot: Snapshot) => snapshot,
  }
  const model = new TestModel(logic as never, {
    events: movesIn as never,
    serializeState: ((snapshot: Snapshot, event: Happening | undefined, previous: Snapshot | undefined) =>
      `${keyOf(snapshot)} | ${event?.type ?? ''} | ${previous === undefined ? '' : keyOf(previous)}`) as never,
    serializeEvent: ((event: Happening) => event.type) as never,
  })
  return model.getShortestPaths().map(path => {
    const { state } = path.state as unknown as Snapshot
    return {
      moves: path.steps.flatMap(({ event }) => ('move' in event ? [(event as unknown as Happening).move] : [])),
      talk: flat.nodes[state?.[F.talk] ?? 0]?.id ?? '',
    }
  })
}
