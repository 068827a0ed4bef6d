import type { Instant } from '../time/instant.ts'
import { type Between, since } from '../time/span.ts'
import type { Thresholds } from './thresholds.ts'

/**
 * What hours without urine call for: nothing yet (`recent`), a page, or hospital. The longest it can have been counts; both limits
 * are inclusive. 8 h: same-day clinician (Diarrhoea and vomiting, parent advice sheet; North East & North Cumbria
 * Healthier Together, NHS; 2020s); 12 h: emergency (parent safety-netting sheet; South Yorkshire & Bassetlaw Healthier
 * Together, NHS; 2020s). "Not sure" is past the page limit, not the hospital limit.
 */
export function urineOf(
  lastWet: Between | 'unsure',
  at: Instant,
  thresholds: Pick<Thresholds, 'no-urine-page' | 'no-urine-hospital'>,
): 'recent' | 'page' | 'hospital' {
  if (lastWet === 'unsure') return 'page'
  const dry = since(lastWet, at).atMost
  if (dry >= thresholds['no-urine-hospital']) return 'hospital'
  return dry >= thresholds['no-urine-page'] ? 'page' : 'recent'
}
