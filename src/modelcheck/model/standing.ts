/** Where talk stands in a state, what lies ahead of it from there, and which answers that tells apart. */
import { DISPOSITIONS } from '../../flow/document.ts'
import { alarmsStillIn } from './alarms-ahead.ts'
import { certainIn, followingIn, rowTestsOf } from './certain.ts'
import { clockMap, factMaps, inertNodes } from './forgetting.ts'
import { momentTests } from './moment-tests.ts'
import { settingsIn } from './outlook.ts'
import { waysFrom } from './rejoin.ts'
import { nextOf } from './steps-ahead.ts'
import { type FlatFlow, type FlatNode, fieldSizes, type Observed, type Test } from './tables.ts'
import { type Group, tellingOf } from './told-apart.ts'

/** Steps on the trail that may turn, and where to; a tree, so that each set is made once. */
export interface Ways {
  readonly on: readonly Turns[]
  readonly further: Map<number, Ways>
  /** By what is decided for good and the marks that stand. */
  readonly maps: Map<number, Maps>
  /** 1 for every join that one of these steps may come to. */
  joins: Uint8Array | undefined
  /** Settings of history that lie ahead on these ways, one bit each. */
  settings: number | undefined
}

/** What each value of a field is put to: as far as the steps ahead tell apart, and further by what is certain. */
export interface Maps {
  readonly all: readonly Int32Array[]
  /** Of a state to which `all` has been put. */
  readonly further: (state: Int32Array) => readonly Int32Array[]
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
  maps: new Map(),
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

/** What frees rules: nothing but talk begun anew takes it back. */
export interface Settled {
  /** The urgency that is decided at the least, whatever turns. */
  readonly sure: number
  /** Bits of `FlatFlow.marks`. */
  readonly marks: number
  /** Both in one number. */
  readonly key: number
}

/** Where talk stands, and what that leaves open. */
export interface Standing {
  /** By field: whether it may be asked anew. */
  readonly changes: readonly boolean[]
  /** In an emergency that only a wrong tap ends: talk does not go on from where it stood before. */
  readonly isHeld: boolean
  /** Alarms that may still fire, one bit each. */
  readonly alarms: number
  /** Steps that lie ahead without a turn. */
  readonly next: ReadonlySet<number>
  /** Settings of history that lie ahead, one bit each. */
  readonly settings: number
  readonly settingsOf: (ways: Ways) => number
  readonly ways: Ways
  readonly mapsOf: (ways: Ways, settled: Settled) => Maps
}

/** Standings by where talk stands, where it returns to, and which alarms may still fire; `runsOut`: a page may run out. */
export function standings(flat: FlatFlow, leavesAgain: boolean): (state: Int32Array, runsOut: boolean) => Standing {
  const { nodes, fields: F, cells } = flat
  const sizes = fieldSizes(flat)
  const ahead = aheadIn(flat)
  const alarmsAhead = alarmsStillIn(flat, leavesAgain)
  const isHeldIn = heldIn(flat)
  const inert = inertNodes(flat)
  const moments = momentTests(flat)
  const turns = flat.turning.map(at => nodes[at]?.rows ?? [])
  const goesOf = (index: number, rows: number) =>
    (turns[index] ?? []).flatMap(({ go }, row) => ((rows >> row) % 2 === 0 ? [] : [go]))
  const endsOf = turns.map(rows => new Set(rows.flatMap(({ go }) => waysFrom(flat, go).ends)))
  const known = new Map<number, Standing>()
  const settingsAt = settingsIn(flat)
  const certainOn = certainIn(flat, leavesAgain)
  const startsOf = startsIn(flat)
  // A talk that begins anew keeps what is history, and may come to every step that reads it.
  const ofHistory = nodes
    .flatMap(({ observed, rows }) => [...observed.map(({ test }) => test), ...rows.flatMap(row => row.tests)])
    .filter(test => test.fields.some(field => flat.sticky.has(field)))
  const rowTests = rowTestsOf(flat)
  const following = followingIn(flat, rowTests)
  /** By field, 1 where one of these steps asks it. */
  const asksOf = (some: readonly number[]): Uint8Array => {
    const asked = new Uint8Array(cells.length)
    for (let place = 0; place < some.length; place++) {
      const ask = (nodes[some[place] as number] as FlatNode).ask
      if (ask >= 0) asked[ask] = 1
    }
    return asked
  }
  const readsOf = (some: readonly number[]) => new Set(some.flatMap(at => readBy[at] ?? []))
  const readBy = nodes.map(({ rows }) => [...new Set(rows.flatMap(row => row.tests.flatMap(test => test.fields)))])

  const telling = tellingOf(sizes)
  const factMap = factMaps(cells, telling)
  const wholeElapsed = Int32Array.from({ length: sizes[F.elapsed] as number }, (_, value) => value)
  const isGivable = (test: Test) => test.fields.some(field => flat.givable.some(each => each.field === field))
  const groupOf = rowTests.map(telling.group)
  const givableOf = rowTests.map(tests => telling.group(tests.filter(isGivable)))
  const momentsOf = nodes.map(node => telling.group(node.alarms.flatMap(({ alarm }) => moments.get(alarm) ?? [])))
  const historyGroup = telling.group(ofHistory)
  const observedStill = observedIn(flat, telling.group)

  /** What a step that lies ahead tells apart by its rows; `isPassed`: which row was taken shows in nothing later. */
  function addRows(at: number, tests: readonly Test[] | undefined, isPassed: boolean): void {
    if (tests === undefined) return
    if (tests === rowTests[at]) telling.addAll((isPassed ? givableOf : groupOf)[at] as Group)
    else telling.add(isPassed ? tests.filter(isGivable) : tests)
  }
  const narrowed = narrowedIn(flat)

  function addPassing(go: number, settled: Settled): void {
    for (const at of waysFrom(flat, go).passed) {
      telling.addAll(observedStill(at, settled))
      for (const row of nodes[at]?.rows ?? []) telling.add(row.tests)
    }
  }

  function make(state: Int32Array, alarms: number, isHeld: boolean): Standing {
    const talk = state[F.talk] as number
    const starts = isHeld ? [talk] : [talk, state[F.main] as number]
    const bits = isHeld ? 0 : alarms
    const next = ahead(starts, bits, true)
    const isAskedAgain = (field: number) => [...next].some(at => nodes[at]?.again === true && nodes[at]?.ask === field)
    const waiting = telling.group(
      flat.alarms.flatMap((_, alarm) => (isHeld || (alarms >> alarm) % 2 === 0 ? [] : (moments.get(alarm) ?? []))),
    )

    const goesAgain = (ways: Ways) => ways.on.flatMap(({ index, away }) => goesOf(index, away))
    const againOn = (ways: Ways) => ahead(goesAgain(ways), 0, false)
    const settingsOf = (ways: Ways): number => {
      ways.settings = settingsAt(againOn(ways))
      return ways.settings
    }

    function mapsOf(ways: Ways, settled: Settled): Maps {
      const again = againOn(ways)
      const passed = ways.on
        .flatMap(({ index, joining }) => goesOf(index, joining))
        .flatMap(go => waysFrom(flat, go).passed)
      const narrow = narrowed([...next, ...again, ...passed], settled)
      const maps = ways.maps.get(narrow.key) ?? makeMaps(ways, again, narrow)
      ways.maps.set(narrow.key, maps)
      ways.maps.set(settled.key, maps)
      return maps
    }

    function makeMaps(ways: Ways, again: ReadonlySet<number>, settled: Settled): Maps {
      const wayStarts = startsOf(starts, bits, true)
      const againStarts = goesAgain(ways)
      const made = (state: Int32Array | undefined, certain: ReadonlySet<number>): readonly Int32Array[] => {
        const onWay = following(wayStarts, certain, state ?? NOTHING)
        const onAgain = following(againStarts, certain, state ?? NOTHING)
        telling.begin()
        telling.addAll(waiting)
        for (const { index, joining } of ways.on) {
          telling.addAll(groupOf[flat.turning[index] as number] as Group)
          for (const go of goesOf(index, joining)) addPassing(go, settled)
        }
        const askedOnWay = asksOf(onWay.steps)
        const askedOnAgain = asksOf(onAgain.steps)
        const isAsked = (field: number) => askedOnWay[field] === 1 || askedOnAgain[field] === 1
        for (const at of [...onWay.steps, ...onAgain.steps]) {
          telling.addAll(observedStill(at, settled))
          telling.addAll(momentsOf[at] as Group)
          const isPassed = onWay.tests[at] === undefined && inert.has(at)
          addRows(at, onWay.tests[at], isPassed)
          addRows(at, onAgain.tests[at], isPassed)
        }
        const clocks = [F.elapsed, F.timeLeft, F.reachable].map(field =>
          clockMap(sizes[field] as number, telling.of(field)),
        )
        if (isAsked(flat.fieldOf.get('travel') ?? -1)) clocks[0] = wholeElapsed
        const readAgain = readsOf([
          ...onAgain.steps,
          ...ways.on.flatMap(({ index, joining }) => [
            flat.turning[index] as number,
            ...goesOf(index, joining).flatMap(go => waysFrom(flat, go).passed),
          ]),
        ])
        const factAhead = (field: number) => ({ isAsked: isAsked(field), isReadAgain: readAgain.has(field) })
        const own = cells.map((_, field) => (flat.sticky.has(field) ? NOTHING : factMap(field, factAhead(field))))
        telling.addAll(historyGroup)
        for (const field of flat.sticky) own[field] = factMap(field, factAhead(field))
        return [...own, ...clocks]
      }
      const all = made(undefined, NONE)
      const certain = certainOn(
        new Set([...next, ...again]),
        ways.on.map(({ index }) => flat.turning[index] as number),
      )
      ways.joins = Uint8Array.from(flat.joins, at =>
        Number(ways.on.some(({ index }) => endsOf[index]?.has(at) === true)),
      )
      const decisive = certainlyDecided(flat, [...next, ...again], certain)
      return { all, further: byCertain(all, decisive, made) }
    }
    return {
      changes: cells.map((_, field) => isAskedAgain(field)),
      isHeld,
      alarms: bits,
      next,
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

/** The least of what is settled that frees the same rules at some steps. */
function narrowedIn({ nodes }: FlatFlow): (some: readonly number[], settled: Settled) => Settled {
  const freedAt = nodes.map(({ observed }) => observed.flatMap(({ freed }) => freed))
  return (some, { sure, marks }) => {
    let least = 0
    let read = 0
    for (const at of some)
      for (const freed of freedAt[at] ?? []) {
        read |= freed.marks
        if (freed.urgency <= sure) least = Math.max(least, freed.urgency)
      }
    return { sure: least, marks: marks & read, key: settledKey(least, marks & read) }
  }
}

/** What is settled, in one number. */
export const settledKey = (sure: number, marks: number): number => marks * (DISPOSITIONS.length + 1) + sure

/** Certain answers that by themselves decide a condition of a step ahead: the others rule nothing out. */
function certainlyDecided({ nodes }: FlatFlow, some: readonly number[], certain: readonly number[]): readonly number[] {
  const decisive = new Set<number>()
  for (const at of some)
    for (const { tests } of nodes[at]?.rows ?? [])
      for (const { fields } of tests)
        if (fields.every(field => certain.includes(field))) for (const field of fields) decisive.add(field)
  return certain.filter(field => decisive.has(field))
}

/** Tests of rules at a step that may still show a breach; looked up where they were asked for before. */
function observedIn(
  { nodes }: FlatFlow,
  group: (tests: readonly Test[]) => Group,
): (at: number, settled: Settled) => Group {
  const known = nodes.map(() => new Map<number, Group>())
  const isFree = ({ freed }: Observed, { sure, marks }: Settled) =>
    freed.some(each => each.urgency <= sure && (each.marks & ~marks) === 0)
  return (at, settled) => {
    const found = known[at]?.get(settled.key)
    if (found !== undefined) return found
    const made = group(nodes[at]?.observed.flatMap(each => (isFree(each, settled) ? [] : [each.test])) ?? [])
    known[at]?.set(settled.key, made)
    return made
  }
}

/** Where what lies ahead begins: some steps, targets of alarms (one bit each), and the steps that can come at any moment. */
function startsIn(flat: FlatFlow): (starts: readonly number[], alarms: number, anyTime: boolean) => readonly number[] {
  const always = ['emergency', 'person', 'cannot-travel'].flatMap(id => flat.nodeOf.get(`shared/${id}`) ?? [])
  return (starts, alarms, anyTime) => {
    const targets = flat.alarms.flatMap(({ target }, alarm) => ((alarms >> alarm) % 2 === 0 ? [] : [target]))
    return [...starts, ...targets, ...(anyTime ? always : [])]
  }
}

/** Steps that can come after some: by their routes, by alarms, and those that can come at any moment. */
function aheadIn(flat: FlatFlow): (starts: readonly number[], alarms: number, anyTime: boolean) => Set<number> {
  const follow = flat.nodes.map((_, at) => nextOf(flat, at))
  const startsOf = startsIn(flat)
  return (starts, alarms, anyTime) => {
    const live = new Set<number>()
    const queue = [...startsOf(starts, alarms, anyTime)]
    for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
      if (live.has(at)) continue
      live.add(at)
      queue.push(...(follow[at] ?? []))
    }
    return live
  }
}

const NONE: ReadonlySet<number> = new Set()
const NOTHING = new Int32Array(0)
/** Above this many combinations of certain answers, further ones are not taken for granted. */
const COMBINATIONS_MOST = 2 ** 50

/** Maps made for each combination of certain answers, as far as `all` leaves them apart. */
function byCertain(
  all: readonly Int32Array[],
  certain: readonly number[],
  made: (state: Int32Array, certain: ReadonlySet<number>) => readonly Int32Array[],
): Maps['further'] {
  const fields: number[] = []
  const sizes: number[] = []
  let combinations = 1
  for (const field of certain) {
    const map = all[field] as Int32Array
    if (map.every(value => value === map[0]) || combinations * map.length > COMBINATIONS_MOST) continue
    fields.push(field)
    sizes.push(map.length)
    combinations *= map.length
  }
  if (fields.length === 0) return () => all
  const taken = new Set(fields)
  const known = new Map<number, readonly Int32Array[]>()
  return state => {
    let key = 0
    for (let at = 0; at < fields.length; at++)
      key = key * (sizes[at] as number) + (state[fields[at] as number] as number)
    const found = known.get(key)
    if (found !== undefined) return found
    const maps = made(state, taken)
    known.set(key, maps)
    return maps
  }
}
