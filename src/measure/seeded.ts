import type { Random } from '../runtime/clock.ts'

/**
 * Chance that repeats with its seed, so that every run measures the same walk: a linear congruential generator with the
 * constants of Numerical Recipes (from memory). No secret hangs on it.
 */
export function seeded(seed: number): Random {
  let state = seed >>> 0
  const next = () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return state
  }
  const bytes = (length: number) => Uint8Array.from({ length }, () => next() >>> 24)
  return {
    bytes,
    hex: length => Buffer.from(bytes(length)).toString('hex'),
    int: below => Math.floor((next() / 2 ** 32) * below),
  }
}
