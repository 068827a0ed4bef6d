/** What can still become of a fact without an answer being corrected, and so which way a step on the path may route later. */

import { laterFields } from './later-facts.ts'
import { type Cell, cellFor, type FlatFlow, fieldSizes, STATUS, statusIn, type Test } from './tables.ts'

/** A fact that is history, and the cell that some steps set it to. */
interface Setting {
  readonly field: number
  readonly cell: number
}

export interface Outlook {
  /**
   * Everything asked from here on is about this state.
   *
   * @param asked  by field: whether it may be asked anew
   * @param settings  settings of history that lie ahead, one bit each (`settingsIn`)
   */
  from(state: Int32Array, asked: readonly boolean[], settings: number): void
  /** Rows by which a step may route in a replay, one bit each; `turning` is that step, or the one it is passed after. */
  rows(at: number, turning: number): number
  /**
   * Values that a field may take, told by the way or with time; asked anew (`isAsked`) it may take every one. The same array
   * for the same values of a field.
   */
  become(field: number, isAsked: boolean): readonly number[]
  /** The value by which a step on the trail sees a field in a replay: nothing where talk has not reached it there. */
  seenAt(turning: number, field: number, value: number): number
  /** Facts of history that are unset and stay so, one bit each in the order of `historyOf`. */
  staysUnset(): number
}

const HOLDS = 1
const FAILS = 2
const NOTHING = [0]
/** Time goes one way: values of `elapsed` and `timeLeft` that may follow each. */
const UP_FROM = [[0, 1, 2], [1, 2], [2]]
const DOWN_FROM = [[0], [0, 1]]

/** @param leavesAgain  what follows "can't travel" is walked */
export function outlookIn(flat: FlatFlow, leavesAgain: boolean): Outlook {
  const { fields: F, nodes, cells } = flat
  const canTravel = flat.fieldOf.get('can-travel') ?? -1
  const haveLeft = flat.fieldOf.get('have-you-left') ?? -1
  /** What no longer holds once somebody cannot travel. */
  const undone = leavesAgain ? [haveLeft, flat.fieldOf.get('have-you-arrived') ?? -1] : []
  /** What a family may say by the way: that nobody can bring the child, and that they have left. */
  const toldOf = new Map(
    [[canTravel, 'no'] as const, [haveLeft, 'yes'] as const].flatMap(([field, said]) => {
      const cell = cells[field]
      const answer = cell?.domain.classes.findIndex(({ members }) => members.includes(said)) ?? -1
      return cell === undefined || answer < 0 ? [] : [[field, [cellFor(cell, STATUS.given, answer)]] as const]
    }),
  )
  const single = Array.from({ length: Math.max(...fieldSizes(flat)) }, (_, value) => [value])
  const history = historyValues(flat)
  const historyAt = new Map(history.map(each => [each.field, each]))
  const laterAt = laterFields(flat)
  let state = new Int32Array(F.count)
  let asked: readonly boolean[] = []
  let settings = 0
  /** What the step that is looked at does not see: asked only after it. */
  let later: readonly number[] = []

  function changesOf(field: number): readonly number[] {
    const value = state[field] as number
    if (field === F.elapsed) return UP_FROM[value] ?? []
    if (field === F.timeLeft) return DOWN_FROM[value] ?? []
    // Facts a family may tell, or take back, by the way, whatever is asked.
    const isTold = field === canTravel || undone.includes(field) || (field === haveLeft && state[F.left] === 0)
    if (isTold || asked[field] === true) return flat.every[field] ?? []
    return historyAt.get(field)?.from(value, settings) ?? single[value] ?? []
  }

  function mayBe(field: number): readonly number[] {
    const values = changesOf(field)
    if (values.length > 1 || !later.includes(field)) return values
    return statusIn(cells[field] as Cell, values[0] ?? 0) === STATUS.given ? values : NOTHING
  }

  const becomeOf = new Map<number, readonly number[]>()

  /** A value, and those a family may tell, or take back, by the way. */
  function becomes(field: number, value: number, isGone: boolean): readonly number[] {
    const told = [...(isGone ? [] : (toldOf.get(field) ?? [])), ...(undone.includes(field) ? [0] : [])]
    if (told.length === 0) return changesOf(field)
    const key = (field * single.length + value) * 2 + Number(isGone)
    const made = becomeOf.get(key) ?? [...new Set([value, ...told])]
    becomeOf.set(key, made)
    return made
  }

  /** Whether a test may hold and may fail. */
  function outcomes(test: Test, position = 0, index = 0): number {
    if (position === test.fields.length) return test.table[index] === 1 ? HOLDS : FAILS
    const stride = test.strides[position] as number
    let seen = 0
    for (const each of mayBe(test.fields[position] as number)) {
      seen |= outcomes(test, position + 1, index + each * stride)
      if (seen === (HOLDS | FAILS)) break
    }
    return seen
  }

  return {
    from(now, askedNow, settingsNow) {
      state = now as Int32Array<ArrayBuffer>
      asked = askedNow
      settings = settingsNow
    },
    rows(at, turning) {
      const rows = nodes[at]?.rows ?? []
      later = laterAt(turning, at)
      let found = 0
      for (let row = 0; row < rows.length; row++) {
        let all = HOLDS
        for (const test of rows[row]?.tests ?? []) {
          const seen = outcomes(test)
          if ((seen & HOLDS) === 0) {
            all = FAILS
            break
          }
          all |= seen
        }
        if (all === FAILS) continue
        found |= 1 << row
        // The first row that fits is taken: what stands below one that surely fits is not.
        if (all === HOLDS) break
      }
      return found
    },
    become(field, isAsked) {
      if (isAsked || asked[field] === true) return flat.every[field] ?? changesOf(field)
      const value = state[field] as number
      const isGone = field === haveLeft && !leavesAgain && state[F.left] === 1
      if (!toldOf.has(field) && !undone.includes(field)) return changesOf(field)
      return becomes(field, value, isGone)
    },
    seenAt: (turning, field, value) =>
      field < cells.length &&
      statusIn(cells[field] as Cell, value) === STATUS.reached &&
      laterAt(turning, turning).includes(field)
        ? 0
        : value,
    staysUnset() {
      let bits = 0
      for (let bit = 0; bit < history.length; bit++) {
        const { field, own } = history[bit] as HistoryValues
        if (state[field] === 0 && (settings & own) === 0) bits |= 1 << bit
      }
      return bits
    },
  }
}

interface HistoryValues {
  readonly field: number
  /** Its settings, one bit each. */
  readonly own: number
  /** Its value now, and those that settings ahead may give it. Nothing else changes it. */
  readonly from: (value: number, settings: number) => readonly number[]
}

function historyValues(flat: FlatFlow): readonly HistoryValues[] {
  const all = settingsOf(flat)
  return [...flat.sticky]
    .toSorted((a, b) => a - b)
    .map(field => {
      const known = new Map<number, readonly number[]>()
      const own = all.reduce((bits, one, bit) => (one.field === field ? bits | (1 << bit) : bits), 0)
      const size = flat.cells[field]?.size ?? 0
      const from = (value: number, settings: number): readonly number[] => {
        const key = (settings & own) * size + value
        const found = known.get(key)
        if (found !== undefined) return found
        const set = all.flatMap((one, bit) => (one.field === field && (settings >> bit) % 2 !== 0 ? [one.cell] : []))
        const made = [...new Set([value, ...set])]
        known.set(key, made)
        return made
      }
      return { field, own, from }
    })
}

/** Every setting of a fact that is history, in the order of its bits. @throws above 30 */
function settingsOf({ nodes, sticky }: FlatFlow): readonly Setting[] {
  const known = new Map<string, Setting>()
  for (const { sets } of nodes)
    for (const each of sets) if (sticky.has(each.field)) known.set(`${each.field} ${each.cell}`, each)
  if (known.size > SETTINGS_MOST)
    throw new Error(
      `${known.size} settings of facts that are sticky, at most ${SETTINGS_MOST} can be walked: set fewer`,
    )
  return [...known.values()]
}
const SETTINGS_MOST = 30

/** The settings of history that some steps make, one bit each. */
export function settingsIn(flat: FlatFlow): (nodes: Iterable<number>) => number {
  const all = settingsOf(flat)
  const bitsAt = flat.nodes.map(({ sets }) =>
    all.reduce(
      (bits, one, bit) =>
        sets.some(({ field, cell }) => field === one.field && cell === one.cell) ? bits | (1 << bit) : bits,
      0,
    ),
  )
  return nodes => {
    let bits = 0
    for (const at of nodes) bits |= bitsAt[at] as number
    return bits
  }
}
