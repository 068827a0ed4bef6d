/**
 * Names and conditions in Promela, the language of SPIN (G. J. Holzmann, "The SPIN Model Checker", 2003; its grammar from
 * memory). Every id gets a prefix, so none of them can be a word of the language or begin with a digit.
 */
import { cellFor, type FlatFlow, STATUS, statusIn, type Test } from '../model/tables.ts'

/** A fact is one byte: 0 for nothing, otherwise status × 64 + the place of its class, counted from 1. */
const STATUS_WEIGHT = 64
const REACHED = STATUS.reached * STATUS_WEIGHT

/** Gives each id its own name; two that would be written alike are told apart by a number. */
export function namer(prefix: string): (id: string) => string {
  const given = new Map<string, string>()
  const taken = new Set<string>()
  return id => {
    const known = given.get(id)
    if (known !== undefined) return known
    const plain = `${prefix}_${id.replace(/[^A-Za-z0-9]+/g, '_')}`
    let name = plain
    for (let number = 2; taken.has(name); number++) name = `${plain}__${number}`
    taken.add(name)
    given.set(id, name)
    return name
  }
}

/** The byte for a class (from 0) at a status. A fact set by steps is reached or nothing. */
export const byteOf = (status: number, classIndex: number): number => status * STATUS_WEIGHT + classIndex + 1

/** @throws when a fact has more classes than one byte can tell apart */
export function assertFits(flat: FlatFlow): void {
  for (const { fact, domain } of flat.cells) {
    if (domain.classes.length < STATUS_WEIGHT) continue
    throw new Error(
      `fact "${fact}" has ${domain.classes.length} classes of answers; a byte tells ${STATUS_WEIGHT - 1} apart: merge answers`,
    )
  }
}

/** Whether the byte of a fact has a status at least, or exactly. */
export const isReached = (name: string): string => `${name} >= ${REACHED}`
export const isStatus = (name: string, status: number): string => `${name} / ${STATUS_WEIGHT} == ${status}`
export const isClass = (name: string, classIndex: number): string => `${name} % ${STATUS_WEIGHT} == ${classIndex + 1}`
export const hasClass = (name: string, classes: readonly number[]): string =>
  anyOf(classes.map(index => isClass(name, index)))

export const anyOf = (parts: readonly string[]): string => (parts.length === 0 ? 'false' : `(${parts.join(' || ')})`)
export const allOf = (parts: readonly string[]): string => (parts.length === 0 ? 'true' : `(${parts.join(' && ')})`)

/** A test as a condition on the variables of its fields: nested cases, one field after the other. */
export function conditionOf(test: Test, flat: FlatFlow, nameOf: (field: number) => string): string {
  const at = (position: number, index: number): string => {
    const field = test.fields[position]
    if (field === undefined) return test.table[index] === 1 ? 'true' : 'false'
    const stride = test.strides[position] as number
    const groups = new Map<string, number[]>()
    for (const { value, index: place } of valuesOf(field, flat)) {
      const rest = at(position + 1, index + place * stride)
      groups.set(rest, [...(groups.get(rest) ?? []), value])
    }
    if (groups.size === 1) return [...groups.keys()][0] as string
    const parts = [...groups].flatMap(([rest, values]) => {
      if (rest === 'false') return []
      const here = isOneOf(field, values, flat, nameOf(field))
      return [rest === 'true' ? here : `(${here} && ${rest})`]
    })
    return anyOf(parts)
  }
  return at(0, 0)
}

/** Values of a field as conditions see them: for a fact −1 while talk has not reached it, else its class. */
function valuesOf(field: number, flat: FlatFlow): { readonly value: number; readonly index: number }[] {
  const cell = flat.cells[field]
  if (cell === undefined) {
    const most = field === flat.fields.elapsed ? 3 : 2
    return Array.from({ length: most }, (_, value) => ({ value, index: value }))
  }
  const classes = cell.domain.classes.map((_, value) => ({ value, index: cellFor(cell, STATUS.reached, value) }))
  return [{ value: -1, index: 0 }, ...classes]
}

function isOneOf(field: number, values: readonly number[], flat: FlatFlow, name: string): string {
  if (flat.cells[field] === undefined) return anyOf(values.map(value => `${name} == ${value}`))
  const classes = values.filter(value => value >= 0)
  const reached = classes.length === 0 ? 'false' : `(${isReached(name)} && ${hasClass(name, classes)})`
  if (!values.includes(-1)) return reached
  return classes.length === 0 ? `(!(${isReached(name)}))` : `(!(${isReached(name)}) || ${reached})`
}

/**
 * Whether every condition sees a fact that is told or reached alike, and one on record like nothing: what `conditionOf`
 * takes for granted of a table. @throws where a table says otherwise
 */
export function assertSeenAlike(test: Test, flat: FlatFlow): void {
  test.fields.forEach((field, position) => {
    const cell = flat.cells[field]
    if (cell === undefined) return
    const stride = test.strides[position] as number
    for (let index = 0; index < test.table.length; index++) {
      const value = Math.floor(index / stride) % cell.size
      const classIndex = (value - 1) % cell.domain.classes.length
      const seen = statusIn(cell, value) >= STATUS.reached ? cellFor(cell, STATUS.reached, classIndex) : 0
      if (test.table[index] !== test.table[index + (seen - value) * stride])
        throw new Error(`the table of "${test.on}" tells apart what a family cannot`)
    }
  })
}
