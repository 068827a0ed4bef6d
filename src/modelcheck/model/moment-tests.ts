/** What alarms at a moment of the closure clock read, as tests. */
import { type Cell, type FlatFlow, seenIn, type Test } from './tables.ts'

/** What an alarm at a moment reads: whether the moment is unknown (0), ahead (1) or past (2). */
export function momentTests(flat: FlatFlow): ReadonlyMap<number, readonly Test[]> {
  const { cells, fields: F, fieldOf } = flat
  const found = new Map<number, readonly Test[]>()
  const out = fieldOf.get('out-since') ?? -1
  const way = fieldOf.get('travel') ?? -1
  const isKnown = (field: number, value: number) => seenIn(cells[field] as Cell, value)?.band === 'answered'
  for (const node of flat.nodes)
    for (const { alarm, moment } of node.alarms) {
      if (moment === undefined || moment === 'arrival' || out < 0) continue
      const isLeaveBy = moment === 'leave-by'
      const fields = [out, F.elapsed, ...(isLeaveBy ? [F.timeLeft, ...(way < 0 ? [] : [way])] : [])]
      const sizes = fields.map(field =>
        field === F.elapsed ? 3 : field === F.timeLeft ? 2 : (cells[field] as Cell).size,
      )
      const standsAt = (values: readonly number[]): number => {
        const [outSince = 0, elapsed = 0, timeLeft = 0, travel = 0] = values
        if (!isKnown(out, outSince)) return 0
        if (isLeaveBy) return elapsed === 0 && timeLeft === 1 && way >= 0 && isKnown(way, travel) ? 1 : 2
        return elapsed < (moment === 'closure-overdue' ? 2 : 1) ? 1 : 2
      }
      found.set(alarm, [tabled(`moment ${moment}`, fields, sizes, standsAt)])
    }
  return found
}

function tabled(
  on: string,
  fields: readonly number[],
  sizes: readonly number[],
  value: (values: readonly number[]) => number,
): Test {
  const strides: number[] = []
  let length = 1
  for (const size of sizes) {
    strides.push(length)
    length *= size
  }
  const valuesAt = (index: number) => sizes.map((size, at) => Math.floor(index / (strides[at] as number)) % size)
  return { on, values: [], fields, strides, table: Uint8Array.from({ length }, (_, index) => value(valuesAt(index))) }
}
