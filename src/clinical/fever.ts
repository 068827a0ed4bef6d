import type { AgeBand } from './age.ts'
import type { Celsius } from './quantities.ts'
import type { Thresholds } from './thresholds.ts'

/** Where the temperature was taken. Ear and forehead have no row of their own and count as the armpit. */
export type TemperaturePlace = 'rectal' | 'oral' | 'armpit' | 'ear' | 'forehead' | 'not-known'

export type Temperature =
  | { readonly kind: 'measured'; readonly celsius: Celsius; readonly place: TemperaturePlace }
  | { readonly kind: 'feels-hot' }
  | { readonly kind: 'feels-normal' }
  | { readonly kind: 'unsure' }

export interface FeverContext {
  readonly age: AgeBand
  /** The tract is in its first days, or its age is not known. */
  readonly firstDays: boolean
  /** A central line or weak immunity. */
  readonly atRisk: boolean
  /** Any sign of infection at the opening. */
  readonly siteSign: boolean
  /** A temperature below 36 is usual for this child, on record. */
  readonly lowIsUsual: boolean
}

export interface Fever {
  readonly fever: 'present' | 'absent' | 'low' | 'unknown'
  /** The least that must follow. `speak-within-the-hour`: a clinician within the hour. */
  readonly least: 'set-out' | 'speak-within-the-hour' | 'speak' | 'none'
}

/**
 * Fever counts from 38.0 °C rectal and from 37.5 oral or armpit: Complex care at home for children, enteral nutrition FAQ;
 * Quebec university children's hospital group; 2020s. A reading not taken rectally is therefore compared half a degree higher.
 */
const BELOW_RECTAL = 0.5
/** Fever from 6 months on, rectal; the same source. */
const FEVER_RECTAL = 38.0
/** Suspected sepsis in under 16s, NG254 (formerly NG51); NICE; 2016, restructured 2024-25: any age below 36 °C is high risk. */
const LOW_BELOW = 36.0

/**
 * What a temperature means and the least that must follow.
 *
 * - under 3 months from 38.0: Fever in under 5s, NG143; NICE; 2019, updated 2021 (red column); an age not known acts so.
 * - 3 to 6 months from 39.0: amber there, red in Feverish illness, CG47; NICE; 2007; the more cautious is shipped.
 * - first days, any fever: fever in 89 % of peritonitis within 7 days; Dookhoo et al., Pediatr Radiol 46; 2016.
 * - a central line: common practice, no source. Weak immunity: NG254, 1.6.1.
 * - later, `speak`; with any sign at the opening within the hour.
 * - "feels hot" is fever (a carer's report counts: NG143, 1.1.6), of unknown height: the height that is worse counts.
 * - not sure never reassures: `speak`.
 */
export function feverOf(
  temperature: Temperature,
  context: FeverContext,
  thresholds: Pick<Thresholds, 'fever-under-3-months' | 'fever-3-to-6-months'>,
): Fever {
  if (temperature.kind === 'unsure') return { fever: 'unknown', least: 'speak' }
  if (temperature.kind === 'feels-normal') return { fever: 'absent', least: 'none' }
  if (temperature.kind === 'measured' && temperature.celsius < LOW_BELOW) {
    return { fever: 'low', least: context.lowIsUsual ? 'none' : 'set-out' }
  }
  const height = temperature.kind === 'feels-hot' ? Number.POSITIVE_INFINITY : asRectal(temperature)
  return hasFever(height, context.age, thresholds)
    ? feverPresent(height, context, thresholds)
    : { fever: 'absent', least: 'none' }
}

/**
 * What a temperature is by the child's age alone: `young` where it is so high at that age that it cannot wait. Days since
 * placement, a central line and signs at the opening are for whoever asks about them.
 */
export function feverBandOf(
  temperature: Temperature,
  age: AgeBand,
  thresholds: Pick<Thresholds, 'fever-under-3-months' | 'fever-3-to-6-months'>,
): Fever['fever'] | 'young' {
  const context = { age, firstDays: false, atRisk: false, siteSign: false, lowIsUsual: false }
  const { fever, least } = feverOf(temperature, context, thresholds)
  return fever === 'present' && least === 'set-out' ? 'young' : fever
}

function asRectal({ celsius, place }: { celsius: Celsius; place: TemperaturePlace }): number {
  const height = place === 'rectal' ? celsius : celsius + BELOW_RECTAL
  return Math.round(height * 100) / 100
}

function isYoungest(age: AgeBand): boolean {
  return age === 'under-3-months' || age === 'unknown'
}

/** A clinic that sets the youngest children's figure below 38.0 has fever count from there, for them. */
function hasFever(height: number, age: AgeBand, thresholds: Pick<Thresholds, 'fever-under-3-months'>): boolean {
  return height >= FEVER_RECTAL || (isYoungest(age) && height >= thresholds['fever-under-3-months'])
}

function feverPresent(
  height: number,
  { age, firstDays, atRisk, siteSign }: FeverContext,
  thresholds: Pick<Thresholds, 'fever-under-3-months' | 'fever-3-to-6-months'>,
): Fever {
  const tooYoung =
    (isYoungest(age) && height >= thresholds['fever-under-3-months']) ||
    (age === '3-to-6-months' && height >= thresholds['fever-3-to-6-months'])
  if (tooYoung || firstDays || atRisk) return { fever: 'present', least: 'set-out' }
  return { fever: 'present', least: siteSign ? 'speak-within-the-hour' : 'speak' }
}
