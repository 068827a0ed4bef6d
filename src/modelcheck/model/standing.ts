/** Where talk stands in a state, what lies ahead of it from there, and which answers that tells apart. */
import { alarmsStillIn } from './alarms-ahead.ts'
import { clockMap, inertNodes, mapOf } from './forgetting.ts'
import { momentTests } from './moment-tests.ts'
import { settingsIn } from './outlook.ts'
import { waysFrom } from './rejoin.ts'
import { nextOf } from './steps-ahead.ts'
import { type FlatFlow, type FlatNode, fieldSizes, type Test } from './tables.ts'

/** Steps on the trail that may turn, and where to; a tree, so that each set is made once. */
export interface Ways {
  readonly on: readonly Turns[]
  readonly further: Map<number, Ways>
  maps: readonly Int32Array[] | undefined
  /** 1 for every join that one of these steps may come to. */
  joins: Uint8Array | undefined
  /** Settings of history that lie ahead on these ways, one bit each. */
  settings: number | undefined
}

/** A step on the trail with the rows it may turn to, one bit each: those that lead away, and those that join the path again. */
interface Turns {
  readonly index: number
  readonly away: number
  readonly joining: number
}

const waysWith = (on: readonly Turns[]): Ways => ({
  on,
  further: new Map(),
  maps: undefined,
  joins: undefined,
  settings: undefined,
})

export function wayOn(ways: Ways, index: number, away: number, joining: number): Ways {
  const key = (index * ROWS + away) * ROWS + joining
  const known = ways.further.get(key)
  if (known !== undefined) return known
  const made = waysWith([...ways.on, { index, away, joining }])
  ways.further.set(key, made)
  return made
}
/** Sets of rows of one step. */
const ROWS = 65_536

/** Where talk stands, and what that leaves open. */
export interface Standing {
  /** By field: whether it may be asked anew. */
  readonly changes: readonly boolean[]
  /** In an emergency that only a wrong tap ends: talk does not go on from where it stood before. */
  readonly isHeld: boolean
  /** Alarms that may still fire, one bit each. */
  readonly alarms: number
  /** Settings of history that lie ahead, one bit each. */
  readonly settings: number
  readonly settingsOf: (ways: Ways) => number
  readonly ways: Ways
  readonly mapsOf: (ways: Ways) => readonly Int32Array[]
}

/** Standings by where talk stands, where it returns to, and which alarms may still fire; `runsOut`: a page may run out. */
export function standings(flat: FlatFlow): (state: Int32Array, runsOut: boolean) => Standing {
  const { nodes, fields: F, cells } = flat
  const sizes = fieldSizes(flat)
  const ahead = aheadIn(flat)
  const alarmsAhead = alarmsStillIn(flat)
  const isHeldIn = heldIn(flat)
  const inert = inertNodes(flat)
  const moments = momentTests(flat)
  const turns = flat.turning.map(at => nodes[at]?.rows ?? [])
  const goesOf = (index: number, rows: number) =>
    (turns[index] ?? []).flatMap(({ go }, row) => ((rows >> row) % 2 === 0 ? [] : [go]))
  const endsOf = turns.map(rows => new Set(rows.flatMap(({ go }) => waysFrom(flat, go).ends)))
  const known = new Map<number, Standing>()
  const settingsAt = settingsIn(flat)

  const testsPassing = (go: number): Test[] =>
    waysFrom(flat, go).passed.flatMap(at => {
      const node = nodes[at] as FlatNode
      return [...node.observed, ...node.rows.flatMap(row => row.tests)]
    })

  function make(state: Int32Array, alarms: number, isHeld: boolean): Standing {
    const talk = state[F.talk] as number
    const next = isHeld ? ahead([talk], 0, true) : ahead([talk, state[F.main] as number], alarms, true)
    const asked = new Set([...next].flatMap(at => nodes[at]?.ask ?? []))
    const isAskedAgain = (field: number) => [...next].some(at => nodes[at]?.again === true && nodes[at]?.ask === field)
    const waiting = flat.alarms.flatMap((_, alarm) =>
      isHeld || (alarms >> alarm) % 2 === 0 ? [] : (moments.get(alarm) ?? []),
    )

    const againOn = (ways: Ways) =>
      ahead(
        ways.on.flatMap(({ index, away }) => goesOf(index, away)),
        0,
        false,
      )
    const settingsOf = (ways: Ways): number => {
      ways.settings = settingsAt(againOn(ways))
      return ways.settings
    }

    function mapsOf(ways: Ways): readonly Int32Array[] {
      const again = againOn(ways)
      const tests: Test[] = [...waiting]
      for (const { index, joining } of ways.on) {
        for (const row of turns[index] ?? []) tests.push(...row.tests)
        for (const go of goesOf(index, joining)) tests.push(...testsPassing(go))
      }
      const askedToo = new Set(asked)
      for (const at of new Set([...next, ...again])) {
        const node = nodes[at] as FlatNode
        if (node.ask >= 0) askedToo.add(node.ask)
        tests.push(...node.observed)
        for (const { alarm } of node.alarms) tests.push(...(moments.get(alarm) ?? []))
        const isPassed = !next.has(at) && inert.has(at)
        for (const row of node.rows)
          for (const test of row.tests)
            if (!isPassed || test.fields.some(field => flat.givable.includes(field))) tests.push(test)
      }
      const own = cells.map((cell, field) =>
        mapOf({ cell, field, tests, isAsked: askedToo.has(field), isAskedOnWay: asked.has(field), sizes }),
      )
      const isWayAsked = askedToo.has(flat.fieldOf.get('travel') ?? -1)
      const clocks = [F.elapsed, F.timeLeft, F.reachable].map(field => clockMap(field, tests, sizes))
      if (isWayAsked) clocks[0] = Int32Array.from({ length: sizes[F.elapsed] as number }, (_, value) => value)
      ways.maps = [...own, ...clocks]
      ways.joins = Uint8Array.from(flat.joins, at =>
        Number(ways.on.some(({ index }) => endsOf[index]?.has(at) === true)),
      )
      return ways.maps
    }
    return {
      changes: cells.map((_, field) => isAskedAgain(field)),
      isHeld,
      alarms: isHeld ? 0 : alarms,
      settings: settingsAt(next),
      settingsOf,
      ways: waysWith([]),
      mapsOf,
    }
  }

  return (state, runsOut) => {
    const alarms = alarmsAhead(state, runsOut)
    const isHeld = isHeldIn(state)
    const key =
      ((alarms * 2 + Number(isHeld)) * nodes.length + (state[F.talk] as number)) * nodes.length +
      (isHeld ? 0 : (state[F.main] as number))
    const found = known.get(key)
    if (found !== undefined) return found
    const standing = make(state, alarms, isHeld)
    known.set(key, standing)
    return standing
  }
}

/**
 * Whether talk rests in the emergency steps and nothing that can come at any moment opens a question: what is said comes
 * back there, until a wrong tap clears the answers. Alarms are held, and no question of the path is answered.
 */
function heldIn(flat: FlatFlow): (state: Int32Array) => boolean {
  const { nodes, fields: F } = flat
  const anyTime = aheadIn(flat)([], 0, true)
  const asks = [...anyTime].filter(at => (nodes[at]?.ask ?? -1) >= 0)
  const isAgain = asks.some(at => nodes[at]?.again === true)
  return state => {
    const node = nodes[state[F.talk] as number] as FlatNode
    if (!node.isEmergency || !node.rests || isAgain || state[F.danger] !== 1 || state[F.interrupted] !== 1) return false
    return asks.every(at => state[nodes[at]?.ask ?? -1] !== 0)
  }
}

/** Steps that can come after some: by their routes, by alarms (one bit each), and those that can come at any moment. */
function aheadIn(flat: FlatFlow): (starts: readonly number[], alarms: number, anyTime: boolean) => Set<number> {
  const follow = flat.nodes.map((_, at) => nextOf(flat, at))
  const always = ['emergency', 'person', 'cannot-travel'].flatMap(id => flat.nodeOf.get(`shared/${id}`) ?? [])
  return (starts, alarms, anyTime) => {
    const targets = flat.alarms.flatMap(({ target }, alarm) => ((alarms >> alarm) % 2 === 0 ? [] : [target]))
    const live = new Set<number>()
    const queue = [...starts, ...targets, ...(anyTime ? always : [])]
    for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
      if (live.has(at)) continue
      live.add(at)
      queue.push(...(follow[at] ?? []))
    }
    return live
  }
}
