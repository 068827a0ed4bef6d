import { createHash } from 'node:crypto'

/** Chance that repeats: the same seed draws the same values in the same order. */
export interface Draws {
  /** From 0 (inclusive) to 1 (exclusive). */
  unit(): number
  /** True with this probability. */
  chance(probability: number): boolean
  /** A whole number from `least` to `most`, both inclusive. */
  whole(least: number, most: number): number
  /** @throws RangeError when there is nothing to pick from */
  pick<T>(from: readonly T[]): T
  /** Log-normal with this median, cut to the bounds (inclusive); the unit is the caller's. */
  around(median: number, sigma: number, least: number, most: number): number
  /** Small letters. */
  letters(count: number): string
}

/** Mulberry32 over a digest of the seed: 32 bits of state are plenty for a script, and it is fast. */
export function draws(seed: string): Draws {
  let state = createHash('sha256').update(seed).digest().readUInt32BE(0)
  const unit = (): number => {
    state = (state + 0x6d2b79f5) | 0
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state)
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4_294_967_296
  }
  const whole = (least: number, most: number): number => least + Math.floor(unit() * (most - least + 1))
  /** Box and Muller's transform of two uniform draws. */
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - unit())) * Math.cos(2 * Math.PI * unit())
  return {
    unit,
    whole,
    chance: probability => unit() < probability,
    pick(from) {
      const index = whole(0, from.length - 1)
      if (from.length === 0) throw new RangeError('nothing to pick from')
      return from[index] as (typeof from)[number]
    },
    around: (median, sigma, least, most) => Math.min(most, Math.max(least, median * Math.exp(sigma * normal()))),
    letters: count => Array.from({ length: count }, () => String.fromCharCode(97 + whole(0, 25))).join(''),
  }
}
