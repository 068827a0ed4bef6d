/**
 * Instants and lengths of time. Nothing here reads a real clock: the present always arrives as an argument.
 */

/** A moment, in whole milliseconds since 1970-01-01T00:00:00Z. */
export type Instant = number & { readonly instant: unique symbol }

/** A length of time in milliseconds; never negative. */
export type Milliseconds = number & { readonly milliseconds: unique symbol }

/** Brands a finite number of epoch milliseconds. Throws `RangeError` on NaN or infinity. */
export function instant(epochMilliseconds: number): Instant {
  if (!Number.isFinite(epochMilliseconds)) throw new RangeError(`not an instant: ${epochMilliseconds}`)
  return Math.trunc(epochMilliseconds) as Instant
}

/** Brands a length; a negative or non-finite one throws `RangeError`. */
export function milliseconds(length: number): Milliseconds {
  if (!Number.isFinite(length) || length < 0) throw new RangeError(`not a length of time: ${length}`)
  return Math.trunc(length) as Milliseconds
}

export const seconds = (n: number): Milliseconds => milliseconds(n * 1000)
export const minutes = (n: number): Milliseconds => milliseconds(n * 60_000)
export const hours = (n: number): Milliseconds => milliseconds(n * 3_600_000)
export const days = (n: number): Milliseconds => milliseconds(n * 86_400_000)

/** The instant `length` after `at`. */
export const after = (at: Instant, length: Milliseconds): Instant => instant(at + length)
/** The instant `length` before `at`. */
export const before = (at: Instant, length: Milliseconds): Instant => instant(at - length)
/** Time from `from` to `to`; zero when `to` is not later. */
export const elapsed = (from: Instant, to: Instant): Milliseconds => milliseconds(Math.max(0, to - from))
