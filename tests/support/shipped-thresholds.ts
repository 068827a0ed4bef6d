import type { Thresholds } from '../../src/clinical/thresholds.ts'
import { days, hours, minutes, seconds } from '../../src/time/instant.ts'

/** The figures the clinical tables were worked with; a test holds the shipped settings to them. */
export const defaultThresholds: Thresholds = {
  'tract-settled-after': days(12 * 7),
  'tract-settled-needs-change': 'yes',
  'first-days': days(7),
  'closure-soonest': minutes(60),
  'closure-latest': minutes(120),
  'closure-overdue': minutes(240),
  'home-replacement': 'off',
  'hold-open-settled': 'off',
  'hold-open-new': 'off',
  'family-ph': 'off',
  'ph-at-most': 5.0,
  'balloon-loss-ml': 0.5,
  'device-change-due': { months: 3, days: 0 },
  'flush-ml': [5, 10],
  'flush-wait': minutes(30),
  'fever-under-3-months': 38.0,
  'fever-3-to-6-months': 39.0,
  'no-urine-page': hours(8),
  'no-urine-hospital': hours(12),
  'ladder-urgent': [minutes(3), minutes(5), minutes(10)],
  'ladder-speak': [minutes(10), minutes(20), minutes(30)],
  'asked-again-after': seconds(150),
  'left-check': minutes(10),
  'left-silent': minutes(20),
  'arrival-grace': minutes(15),
  'promise-grace': minutes(5),
}
