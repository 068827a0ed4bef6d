/** Age in the bands that fever and urine rules use. */
export type AgeBand = 'under-3-months' | '3-to-6-months' | '6-months-to-5-years' | '5-years-and-over' | 'unknown'

const DAY_MS = 86_400_000
/** A month of age is counted as 30 days and a year as 365, as ISO lengths are elsewhere in the program. */
const MONTH_MS = 30 * DAY_MS
const YEAR_MS = 365 * DAY_MS

/**
 * The band of an age given as a length in milliseconds. The youngest the child can be counts; a band begins at its lower
 * end (3 months exactly is `3-to-6-months`). No usable age: `unknown`, which acts as under 3 months for fever and urine.
 */
export function ageBandOf(age: { readonly atLeastMs: number } | 'unsure' | undefined): AgeBand {
  if (age === undefined || age === 'unsure') return 'unknown'
  if (age.atLeastMs < 3 * MONTH_MS) return 'under-3-months'
  if (age.atLeastMs < 6 * MONTH_MS) return '3-to-6-months'
  return age.atLeastMs < 5 * YEAR_MS ? '6-months-to-5-years' : '5-years-and-over'
}
