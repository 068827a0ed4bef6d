import { hours, minutes } from '../time/instant.ts'
import { type Thresholds, TRACT_SETTLED_SIGN_OFF_BELOW } from './thresholds.ts'

/** One figure that cannot stand, or two that contradict each other. */
export interface ThresholdProblem {
  readonly code: 'OUT_OF_RANGE' | 'WRONG_ORDER' | 'NEEDS_SECOND_SIGN_OFF'
  readonly setting: keyof Thresholds
  readonly found: string
  readonly expected: string
}

/** A length of time in milliseconds, or a plain number, with its inclusive bounds. */
type Bounds = readonly [setting: keyof Thresholds, least: number, most: number, unit: 'ms' | 'mL' | '°C' | 'pH']

/** Outside these a figure is a slip of the pen (wrong unit, lost digit), not a clinical choice. Bounds are our own. */
const BOUNDS: readonly Bounds[] = [
  ['tract-settled-after', hours(24 * 7), hours(24 * 7 * 52), 'ms'],
  ['first-days', hours(72), hours(24 * 30), 'ms'],
  ['closure-soonest', minutes(15), minutes(240), 'ms'],
  ['closure-latest', minutes(30), minutes(480), 'ms'],
  ['closure-overdue', minutes(60), minutes(720), 'ms'],
  ['ph-at-most', 1, 5.5, 'pH'],
  ['balloon-loss-ml', 0.1, 5, 'mL'],
  ['fever-under-3-months', 37, 40, '°C'],
  ['fever-3-to-6-months', 37, 41, '°C'],
  ['no-urine-page', hours(4), hours(24), 'ms'],
  ['no-urine-hospital', hours(4), hours(24), 'ms'],
]

/** Pairs whose first may not be above the second. */
const ORDERED: readonly (readonly [keyof Thresholds, keyof Thresholds, 'or-equal' | 'strictly'])[] = [
  ['closure-soonest', 'closure-latest', 'or-equal'],
  ['closure-latest', 'closure-overdue', 'strictly'],
  ['first-days', 'tract-settled-after', 'or-equal'],
  ['no-urine-page', 'no-urine-hospital', 'or-equal'],
  ['fever-under-3-months', 'fever-3-to-6-months', 'or-equal'],
  ['left-check', 'left-silent', 'strictly'],
]

/** Everything about the figures that must not be served; empty when all is well. */
export function thresholdProblems(thresholds: Thresholds): readonly ThresholdProblem[] {
  return [
    ...outOfRange(thresholds),
    ...wrongOrder(thresholds),
    ...ladderProblems(thresholds),
    ...flushProblems(thresholds),
    ...signOffs(thresholds),
  ]
}

function outOfRange(thresholds: Thresholds): ThresholdProblem[] {
  return BOUNDS.flatMap(([setting, least, most, unit]) => {
    const value = Number(thresholds[setting])
    if (value >= least && value <= most) return []
    const expected = `${setting} from ${inWords(least, unit)} to ${inWords(most, unit)}`
    return [{ code: 'OUT_OF_RANGE' as const, setting, found: inWords(value, unit), expected }]
  })
}

function wrongOrder(thresholds: Thresholds): ThresholdProblem[] {
  return ORDERED.flatMap(([lower, upper, strictness]) => {
    const low = Number(thresholds[lower])
    const high = Number(thresholds[upper])
    if (low < high || (low === high && strictness === 'or-equal')) return []
    const expected = `${lower} ${strictness === 'strictly' ? 'below' : 'not above'} ${upper}`
    return [{ code: 'WRONG_ORDER' as const, setting: upper, found: `${lower} ${low}, ${upper} ${high}`, expected }]
  })
}

function ladderProblems(thresholds: Thresholds): ThresholdProblem[] {
  return (['ladder-urgent', 'ladder-speak'] as const).flatMap(setting => {
    const [again, next, last] = thresholds[setting]
    if (again > 0 && again < next && next < last) return []
    const found = [again, next, last].map(length => inWords(length, 'ms')).join(', ')
    return [
      { code: 'WRONG_ORDER' as const, setting, found, expected: 'three lengths, each longer than the one before' },
    ]
  })
}

function flushProblems(thresholds: Thresholds): ThresholdProblem[] {
  const [least, most] = thresholds['flush-ml']
  if (least >= 1 && least <= most && most <= 60) return []
  const expected = 'two volumes from 1 to 60 mL, the smaller first'
  return [{ code: 'OUT_OF_RANGE', setting: 'flush-ml', found: `${least} to ${most} mL`, expected }]
}

/**
 * Choices that need the signatures of two clinicians.
 * Bodies put a settled tract anywhere from 1 to 12 weeks, children's hospitals at 4 to 12; below 8 weeks (What to do if
 * your gastrostomy feeding tube comes out, leaflet 01178; Kent Community Health NHS Foundation Trust; 2021) the clinic signs for it.
 */
function signOffs(thresholds: Thresholds): ThresholdProblem[] {
  const found: ThresholdProblem[] = []
  if (thresholds['tract-settled-after'] < TRACT_SETTLED_SIGN_OFF_BELOW) {
    const value = inWords(thresholds['tract-settled-after'], 'ms')
    found.push(signOff('tract-settled-after', value, '8 weeks or more, or two signatures'))
  }
  if (thresholds['hold-open-new'] === 'on') {
    found.push(signOff('hold-open-new', 'on', 'off, or two signatures: bodies disagree about a tube in a new tract'))
  }
  return found
}

function signOff(setting: keyof Thresholds, found: string, expected: string): ThresholdProblem {
  return { code: 'NEEDS_SECOND_SIGN_OFF', setting, found, expected }
}

function inWords(value: number, unit: Bounds[3]): string {
  if (unit !== 'ms') return `${value} ${unit}`
  const wholeDays = value / 86_400_000
  if (Number.isInteger(wholeDays) && wholeDays > 0) return `${wholeDays} days`
  return `${value / 60_000} minutes`
}
