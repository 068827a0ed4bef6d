/** What any language makes of words about a length: the same lengths, ranges and bounds, whatever they were said in. */

export type Base = 'minute' | 'day' | 'month'

/** From `low` to `high` (inclusive) in the base unit; equal where one length was said. */
export interface LengthSaid {
  readonly base: Base
  readonly low: number
  readonly high: number
  /** The grain of the words, in the base unit: 1 for "20 minutes", 60 for "2 hours", 30 for "half an hour"; 0 for a range. */
  readonly grain: number
}

export interface Unit {
  readonly base: Base
  readonly size: number
  readonly isPlural: boolean
}

/** Units by each of their names; the names of a unit stand in one text, parted by spaces. */
export function unitsNamed(
  units: readonly (readonly [names: string, base: Base, size: number])[],
  isPlural: (name: string) => boolean,
): ReadonlyMap<string, Unit> {
  return new Map(
    units.flatMap(([names, base, size]) =>
      names.split(' ').map((name): [string, Unit] => [name, { base, size, isPlural: isPlural(name) }]),
    ),
  )
}

export interface Amount {
  readonly low: number
  readonly high: number
  /** Share of the unit that the words are exact to; 0 where they are a range already. */
  readonly grain: number
}

export const exactly = (value: number, grain = 1): Amount => ({ low: value, high: value, grain })

/** "1.5", and "1.30", which is either a decimal or hours and minutes: both, from the lower to the higher. */
export function decimal(text: string): Amount {
  const [ones = '', parts = ''] = text.split('.')
  const value = Number(text)
  if (parts.length === 1 || parts === '25' || parts === '75') return exactly(value, 0.5)
  const asMinutes = Number(ones) + Number(parts) / 60
  return { low: Math.min(value, asMinutes), high: Math.max(value, asMinutes), grain: 0 }
}

export const lengthOf = ({ base, size }: Unit, amount: Amount): LengthSaid => ({
  base,
  low: amount.low * size,
  high: amount.high * size,
  grain: amount.grain * size,
})

/** Vague small numbers. A few minutes may be fifteen: a count of minutes is the least well kept. */
export function vague(found: Unit, howMany: 'couple' | 'few'): LengthSaid {
  if (found.base === 'minute' && found.size <= 1)
    return { base: 'minute', low: 1, high: howMany === 'few' ? 15 : 5, grain: 0 }
  return lengthOf(found, howMany === 'few' ? { low: 2, high: 6, grain: 0 } : { low: 1.5, high: 3, grain: 0 })
}

export const isHour = (found: Unit): boolean => found.base === 'minute' && found.size === 60

export function sum(big: number, bigUnit: Unit, small: number, smallUnit: Unit): LengthSaid | undefined {
  if (bigUnit.base !== smallUnit.base || smallUnit.size >= bigUnit.size || small * smallUnit.size >= bigUnit.size)
    return undefined
  const value = big * bigUnit.size + small * smallUnit.size
  return { base: bigUnit.base, low: value, high: value, grain: smallUnit.size }
}

/** "twenty-five" is no range from twenty to five: the smaller number comes first. */
export function spanned(from: Amount, to: Amount, found: Unit): LengthSaid | undefined {
  return from.high <= to.low ? joined(lengthOf(found, from), lengthOf(found, to)) : undefined
}

/** From the shorter to the longer, in whichever order they were said. Lengths of different base units are no range. */
export function joined(from: LengthSaid, to: LengthSaid): LengthSaid | undefined {
  if (from.base !== to.base) return undefined
  return { base: from.base, low: Math.min(from.low, to.low), high: Math.max(from.high, to.high), grain: 0 }
}

/** "two or three hours" is a way to say a range; "20 minutes or 3 hours" is two answers. */
export function near(range: LengthSaid | undefined): LengthSaid | undefined {
  return range !== undefined && range.high <= 2 * range.low ? range : undefined
}

/** How a length bounds what is meant. */
export type Bound = 'exact' | 'below' | 'just-below' | 'just-above' | 'above'

export interface BoundedLength {
  readonly length: LengthSaid
  readonly bound: Bound
}
