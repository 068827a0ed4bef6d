/** Conditions as tests over the fields of a flow's tables. */
import type { FlowSet } from '../../flow/flow-set.ts'
import type { CLOCK_FIELDS, DerivedModel } from './abstract-derived.ts'
import { type Cell, type Fields, seenIn, type Test } from './tables.ts'

/** What a test is made over. */
export interface TestContext {
  readonly set: FlowSet
  readonly cells: readonly Cell[]
  readonly fieldOf: ReadonlyMap<string, number>
  readonly fields: Fields
  readonly derived: ReadonlyMap<string, DerivedModel>
}

/**
 * A test of one fact or derived fact against listed values; also what rules are compiled to.
 *
 * @throws for a derived fact that has no model here: what hangs on it cannot be walked
 */
export function testFor(on: string, values: readonly string[], context: TestContext): Test {
  const field = context.fieldOf.get(on)
  if (field !== undefined) {
    const cell = context.cells[field] as Cell
    const table = Uint8Array.from({ length: cell.size }, (_, value) => {
      const seen = seenIn(cell, value)
      return Number(seen === undefined ? values.includes('not-asked') : values.some(each => seen.literals.has(each)))
    })
    return { on, values, fields: [field], strides: [1], table }
  }
  const model = context.derived.get(on)
  if (model === undefined && context.set.derived[on] !== undefined)
    throw new Error(
      `"${on}" is worked out from what no model of the checker knows; conditions cannot be walked with it`,
    )
  // A fact that this flow never asks, sets or works out stays unknown.
  if (model === undefined)
    return { on, values, fields: [], strides: [], table: Uint8Array.of(Number(values.includes('not-asked'))) }
  return derivedTest(on, values, model, context)
}

function derivedTest(
  on: string,
  values: readonly string[],
  model: DerivedModel,
  { cells, fieldOf, fields }: TestContext,
): Test {
  const factFields = model.facts.flatMap(fact => fieldOf.get(fact) ?? [])
  const clockFields = model.clock.map(field => clockField(fields, field))
  const all = [...factFields, ...clockFields]
  const sizes = [...factFields.map(field => (cells[field] as Cell).size), ...model.clock.map(clockSize)]
  const strides: number[] = []
  let length = 1
  for (const size of sizes) {
    strides.push(length)
    length *= size
  }
  const table = Uint8Array.from({ length }, (_, index) => {
    const at = (field: number) => {
      const position = all.indexOf(field)
      return Math.floor(index / (strides[position] as number)) % (sizes[position] as number)
    }
    const value = model.value({
      band: fact => {
        const field = fieldOf.get(fact)
        return field === undefined ? undefined : seenIn(cells[field] as Cell, at(field))?.band
      },
      clock: field => at(clockField(fields, field)),
    })
    return Number(values.includes(value))
  })
  return { on, values, fields: all, strides, table }
}

const clockField = (fields: Fields, field: (typeof CLOCK_FIELDS)[number]): number =>
  field === 'elapsed' ? fields.elapsed : field === 'time-left' ? fields.timeLeft : fields.reachable

const clockSize = (field: (typeof CLOCK_FIELDS)[number]): number => (field === 'elapsed' ? 3 : 2)
