import { type Kilograms, type Millilitres, millilitres } from './quantities.ts'

/**
 * Maintenance water of a child by weight. Planning figures of hospitals, shown to clinicians only: no source lets a
 * caregiver decide on feeding by them, and teams often give less.
 * Holliday & Segar, Pediatrics 1957, as quoted by Maintenance fluid requirements; University of Texas Medical Branch, paediatrics.
 * The daily rule and the hourly 4-2-1 rule differ by a few millilitres an hour; neither is derived from the other.
 */

/** Cap: Fluid replacement table; pediatricir.com (teaching site); 2020s. */
const DAILY_CAP_ML = 2400
const HOURLY_CAP_ML = 100

/** 100 mL/kg for the first 10 kg, 50 for the next 10, 20 for each after, a day; at most 2,400 mL. */
export function maintenancePerDay(weight: Kilograms): Millilitres {
  return millilitres(Math.min(DAILY_CAP_ML, bySteps(weight, [100, 50, 20])))
}

/** 4 mL/kg for the first 10 kg, 2 for the next 10, 1 for each after, an hour; at most 100 mL. */
export function maintenancePerHour(weight: Kilograms): Millilitres {
  return millilitres(Math.min(HOURLY_CAP_ML, bySteps(weight, [4, 2, 1])))
}

/** Water missed in `hoursWithout` hours by the hourly rule. */
export function maintenanceMissed(weight: Kilograms, hoursWithout: number): Millilitres {
  return millilitres(maintenancePerHour(weight) * hoursWithout)
}

function bySteps(weight: Kilograms, [first, second, rest]: readonly [number, number, number]): number {
  const inFirst = Math.min(weight, 10)
  const inSecond = Math.min(Math.max(weight - 10, 0), 10)
  const inRest = Math.max(weight - 20, 0)
  return inFirst * first + inSecond * second + inRest * rest
}
