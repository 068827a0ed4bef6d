import { type Definition, type SettingId, settingDefinitions } from './setting-definitions.ts'
import { spanishSettings } from './setting-words-es.ts'

/** How a setting is called on a page, and what it decides. */
export interface SettingWords {
  readonly name: string
  readonly means: string
}

const NAMES: Readonly<Record<SettingId, string>> = {
  'tract-settled-after': 'Channel counts as settled after',
  'tract-settled-needs-change': 'Settled only after a first change',
  'first-days': 'Strict rules of the first days',
  'closure-soonest': 'Opening may begin to close after',
  'closure-latest': 'Tube should be back within',
  'closure-overdue': 'Clinician is told it is overdue after',
  'home-replacement': 'Taught families may put a tube in',
  'hold-open-settled': 'Taught families may hold a settled channel open',
  'hold-open-new': 'Taught families may hold a new channel open',
  'family-ph': 'Taught families may confirm by pH',
  'ph-at-most': 'Highest pH that confirms',
  'balloon-loss-ml': 'Loss of balloon water that counts',
  'device-change-due': 'Balloon device is due for a change after',
  'flush-ml': 'Warm water for a flush',
  'flush-wait': 'Wait before the second flush',
  'fever-under-3-months': 'Fever under 3 months',
  'fever-3-to-6-months': 'Fever from 3 to 6 months',
  'no-urine-page': 'No urine: page',
  'no-urine-hospital': 'No urine: hospital',
  'ladder-urgent': 'Paging steps when it is urgent',
  'ladder-speak': 'Paging steps when somebody should speak today',
  'asked-again-after': 'Ask again after an outage of',
  'left-check': 'Ask whether they have left',
  'left-silent': 'Page again when a family is silent',
  'arrival-grace': 'Silence after the expected arrival',
  'promise-grace': 'Time after a promised call',
  'reading-grade': 'Hardest wording allowed',
}

/** @param language  of the clinic's people; one without words of its own gets English */
export function settingWords(id: SettingId, language: string): SettingWords {
  if (language.startsWith('es')) return spanishSettings[id]
  const { means }: Definition = settingDefinitions[id]
  return { name: NAMES[id], means }
}
