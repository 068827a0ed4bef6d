/** A share with its interval. `low` and `high` are inclusive and lie between 0 and 1. */
export interface Share {
  readonly count: number
  readonly of: number
  /** `count / of`; NaN where there is nothing to share. */
  readonly share: number
  readonly low: number
  readonly high: number
}

/** Of the normal distribution, for an interval that holds in 95 of 100 samples. */
export const Z_95 = 1.959963984540054

/**
 * A share with Wilson's score interval, which stays between 0 and 1 and is honest about few cases and about none at all.
 *
 * Source: E. B. Wilson 1927, J Am Stat Assoc 22:209-212; recommended among seven by R. G. Newcombe 1998, Stat Med 17:857-872,
 * method 3.
 *
 * @param count  how many of them; 0 to `of`
 * @throws RangeError where the two cannot be counts
 */
export function shareOf(count: number, of: number, z = Z_95): Share {
  if (!Number.isInteger(count) || !Number.isInteger(of) || count < 0 || of < count)
    throw new RangeError(`share: ${count} of ${of}: whole numbers were expected, the first at most the second`)
  if (of === 0) return { count, of, share: Number.NaN, low: 0, high: 1 }
  const share = count / of
  const centre = share + (z * z) / (2 * of)
  const reach = z * Math.sqrt((share * (1 - share)) / of + (z * z) / (4 * of * of))
  const scale = 1 + (z * z) / of
  return {
    count,
    of,
    share,
    low: count === 0 ? 0 : (centre - reach) / scale,
    high: count === of ? 1 : (centre + reach) / scale,
  }
}
