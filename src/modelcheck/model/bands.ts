/** Bands of facts with a number or a time behind them: which one an answer lies in, and an answer that lies in one. */
import type { Answer } from '../../case/answer.ts'
import { ageBandOf } from '../../clinical/age.ts'
import { balloonLossOf } from '../../clinical/balloon.ts'
import { feverBandOf } from '../../clinical/fever.ts'
import { phOf } from '../../clinical/ph.ts'
import { celsius, millilitres } from '../../clinical/quantities.ts'
import type { Thresholds } from '../../clinical/thresholds.ts'
import { tractOf } from '../../clinical/tract.ts'
import { urineOf } from '../../clinical/urine.ts'
import type { Instant } from '../../time/instant.ts'

/** Water that is taken to have been put into the balloon, in mL, wherever only what came out is told. */
export const PUT_IN = 5

/**
 * The band an answer lies in, for facts whose bands a derived fact works from; `answered` for any other.
 * @param at  the instant it is told
 */
export function bandOf(settings: Thresholds, fact: string, answer: Answer, at: Instant): string {
  if (answer.kind === 'choice') return answer.value
  if (answer.kind === 'number') return numberBand(settings, fact, answer.value)
  if (answer.kind === 'length') return fact === 'age' ? ageBandOf(answer) : 'answered'
  if (answer.kind !== 'moment') return 'answered'
  if (fact === 'last-wet') return urineOf(answer, at, settings)
  if (fact !== 'first-placed') return 'answered'
  const tract = tractOf(answer, 'yes', at, settings)
  return tract === 'first-days' ? 'under-first-days' : tract === 'settled' ? 'over-settled' : 'under-settled'
}

function numberBand(settings: Thresholds, fact: string, value: number): string {
  switch (fact) {
    case 'ph':
      return phOf(value, 'no', settings) === 'confirms' ? 'at-most-limit' : 'over-limit'
    case 'temperature':
      return temperatureBand(settings, value)
    case 'balloon-came-out':
      return balloonLossOf({ putIn: millilitres(PUT_IN), cameOut: millilitres(value) }, settings)
    default:
      return 'answered'
  }
}

function temperatureBand(settings: Thresholds, value: number): string {
  const measured = { kind: 'measured', celsius: celsius(value), place: 'not-known' } as const
  const older = feverBandOf(measured, '5-years-and-over', settings)
  if (older === 'low') return 'low'
  if (feverBandOf(measured, '3-to-6-months', settings) === 'young') return 'high'
  if (feverBandOf(measured, 'under-3-months', settings) === 'young') return 'fever-youngest'
  return older === 'present' ? 'fever' : 'normal'
}

/** Numbers to try for a band: one of them lies in it, where a clinic's limits leave any. */
export function numbersToTry(settings: Thresholds, fact: string): readonly number[] {
  switch (fact) {
    case 'ph':
      return [settings['ph-at-most'], settings['ph-at-most'] + 1]
    case 'temperature':
      return [36.8, 35.5, 37.5, settings['fever-under-3-months'] - 0.4, settings['fever-3-to-6-months'], 37.9]
    case 'balloon-came-out':
      return [PUT_IN, PUT_IN - settings['balloon-loss-ml'] / 2, 1, 0, PUT_IN + 1]
    case 'balloon-put-in':
      return [PUT_IN]
    default:
      return [1]
  }
}
