/**
 * Derived facts over classes of answers: the same computations as in the clinical folder, with every limit replaced by
 * the order of things before and after it. A test holds them to `factsAt` of a case on drawn answers and instants.
 */

/** What time adds to the answers: fields of the model beside the facts. */
export const CLOCK_FIELDS = ['elapsed', 'time-left', 'reachable'] as const
export type ClockField = (typeof CLOCK_FIELDS)[number]

/** Values of `elapsed`, from the earliest that the tube can have come out. */
export const ELAPSED = { beforeLatest: 0, pastLatest: 1, overdue: 2 } as const

/** What a derived fact is worked out from. A fact that talk has not reached has no band. */
export interface DerivedInputs {
  readonly band: (fact: string) => string | undefined
  readonly clock: (field: ClockField) => number
}

export interface DerivedModel {
  readonly facts: readonly string[]
  readonly clock: readonly ClockField[]
  readonly value: (inputs: DerivedInputs) => string
}

/** Whether the clinic holds a tract for settled only after a first change (setting `tract-settled-needs-change`). */
export interface DerivedSettings {
  readonly settledNeedsChange: boolean
}

/** The models by the id of the derived fact. A facts file that names another cannot be explored. */
export function derivedModels(settings: DerivedSettings): ReadonlyMap<string, DerivedModel> {
  return new Map<string, DerivedModel>([
    ['danger', { facts: ['danger-signs'], clock: [], value: dangerOf }],
    ['tract', { facts: ['first-placed', 'changed-before'], clock: [], value: inputs => tractOf(inputs, settings) }],
    ['closure', { facts: ['out-since', 'travel'], clock: ['elapsed', 'time-left'], value: closureOf }],
    ['reach', { facts: ['out-since', 'travel'], clock: ['reachable'], value: reachOf }],
    ['ph-result', { facts: ['ph', 'acid-medicine'], clock: [], value: phResultOf }],
    ['age-band', { facts: ['age'], clock: [], value: ({ band }) => ageOf(band('age')) ?? 'not-asked' }],
    ['fever', { facts: ['temperature', 'age'], clock: [], value: feverOf }],
    ['urine', { facts: ['last-wet'], clock: [], value: urineOf }],
    ['balloon-loss', { facts: ['balloon-put-in', 'balloon-came-out'], clock: [], value: balloonLossOf }],
  ])
}

function dangerOf({ band }: DerivedInputs): string {
  const signs = band('danger-signs')
  if (signs === undefined) return 'not-asked'
  if (signs === 'unsure') return 'unknown'
  return signs === 'none' ? 'absent' : 'present'
}

function tractOf({ band }: DerivedInputs, { settledNeedsChange }: DerivedSettings): string {
  const placed = band('first-placed')
  if (placed === undefined) return 'not-asked'
  if (placed === 'unsure') return 'unknown'
  if (placed === 'under-first-days') return 'first-days'
  const changed = band('changed-before') === 'yes' || !settledNeedsChange
  return changed && placed === 'over-settled' ? 'settled' : 'new'
}

/** Leave-by stands at the moment it came out until the way is known: before that there is no time left. */
function closureOf({ band, clock }: DerivedInputs): string {
  const out = band('out-since')
  if (out === undefined) return 'not-asked'
  if (out === 'unsure') return 'unknown'
  if (clock('elapsed') === ELAPSED.overdue) return 'overdue'
  if (clock('elapsed') === ELAPSED.pastLatest) return 'past-latest'
  return band('travel') === 'answered' && clock('time-left') === 1 ? 'time-left' : 'leave-now'
}

function reachOf({ band, clock }: DerivedInputs): string {
  const out = band('out-since')
  const travel = band('travel')
  if (out === undefined || travel === undefined) return 'not-asked'
  if (out === 'unsure' || travel === 'unsure') return 'unknown'
  return clock('reachable') === 1 ? 'in-time' : 'not-in-time'
}

function phResultOf({ band }: DerivedInputs): string {
  const ph = band('ph')
  if (ph === undefined) return 'not-asked'
  return ph === 'at-most-limit' && band('acid-medicine') === 'no' ? 'confirms' : 'not-confirmed'
}

const ageOf = (age: string | undefined): string | undefined => (age === 'unsure' ? 'unknown' : age)

/** Heights by name: from what each of the youngest ages has a fever that cannot wait. An age not asked is the youngest. */
function feverOf({ band }: DerivedInputs): string {
  const height = band('temperature')
  if (height === undefined) return 'not-asked'
  if (height === 'unsure') return 'unknown'
  if (height === 'low') return 'low'
  if (height === 'normal' || height === 'feels-normal') return 'absent'
  const age = ageOf(band('age')) ?? 'unknown'
  if (age === 'under-3-months' || age === 'unknown') return height === 'fever' ? 'present' : 'young'
  if (age === '3-to-6-months') return height === 'high' || height === 'feels-hot' ? 'young' : 'present'
  return 'present'
}

function urineOf({ band }: DerivedInputs): string {
  const wet = band('last-wet')
  if (wet === undefined) return 'not-asked'
  return wet === 'unsure' ? 'page' : wet
}

function balloonLossOf({ band }: DerivedInputs): string {
  const putIn = band('balloon-put-in')
  const cameOut = band('balloon-came-out')
  if (putIn === undefined || cameOut === undefined) return 'not-asked'
  return putIn === 'unsure' || cameOut === 'unsure' ? 'unknown' : cameOut
}
