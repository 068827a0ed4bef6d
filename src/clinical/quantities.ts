/** Quantities with their unit in the type: a bare number cannot be passed where millilitres are meant. */

export type Millilitres = number & { readonly millilitres: unique symbol }
export type Celsius = number & { readonly celsius: unique symbol }
export type Kilograms = number & { readonly kilograms: unique symbol }

/** A volume of 0 mL or more. Throws `RangeError` on a negative or non-finite number, as all of these do. */
export function millilitres(value: number): Millilitres {
  return within(value, 0, Number.MAX_VALUE, 'mL') as Millilitres
}

/** Coldest and hottest that a living child can be, in °C (inclusive, cautiously wide). Common practice, no source. */
export const BODY_CELSIUS = { least: 25, most: 45 } as const

/** A body temperature that a living child can have. Below and above it is a slip or another unit. */
export function celsius(value: number): Celsius {
  return within(value, BODY_CELSIUS.least, BODY_CELSIUS.most, '°C') as Celsius
}

/** From degrees Fahrenheit, to the hundredth: 100.4 °F is 38 °C. */
export function celsiusFromFahrenheit(value: number): Celsius {
  return celsius(Math.round((((value - 32) * 5) / 9) * 100) / 100)
}

/** A child's weight: above 0 and up to 200 kg. */
export function kilograms(value: number): Kilograms {
  if (value === 0) throw new RangeError('weight is 0 kg; expected more than 0 and at most 200 kg')
  return within(value, 0, 200, 'kg') as Kilograms
}

function within(value: number, least: number, most: number, unit: string): number {
  if (Number.isFinite(value) && value >= least && value <= most) return value
  const bounds = most === Number.MAX_VALUE ? `${least} ${unit} or more` : `${least} to ${most} ${unit}`
  throw new RangeError(`got ${value} ${unit}; expected ${bounds}`)
}
