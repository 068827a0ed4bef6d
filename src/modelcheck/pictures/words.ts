/** Words of a picture that no wording file has: what is decided, what conditions on worked-out facts mean, and blanks. */
import type { FlowSet } from '../../flow/flow-set.ts'
import type { Step } from '../../flow/flow-step.ts'
import { type Catalogue, VARIABLES } from '../../flow/wording.ts'

/** What each disposition means, in words. */
export const DECIDED: Readonly<Record<string, string>> = {
  ambulance: 'Emergency: ring now',
  'set-out': 'Go to hospital',
  speak: 'A clinician speaks with the family',
  'tell-clinic': 'A note for the clinic’s day',
  'at-home': 'Can stay at home',
}

/** Values of derived facts, of facts that steps set, and of what stands for every fact. */
const VALUES: Readonly<Record<string, string>> = {
  'danger/present': 'a danger sign',
  'danger/absent': 'no danger sign',
  'danger/unknown': 'danger signs not known',
  'danger/not-asked': 'danger signs not asked yet',
  'tract/first-days': 'first days after the first tube',
  'tract/new': 'opening not settled yet',
  'tract/settled': 'settled opening',
  'tract/unknown': 'age of the opening not known',
  'closure/time-left': 'there is time',
  'closure/leave-now': 'time to leave',
  'closure/past-latest': 'past the latest time',
  'closure/overdue': 'long overdue',
  'closure/unknown': 'time out not known',
  'closure/not-asked': 'time out not asked',
  'reach/in-time': 'hospital can be reached in time',
  'reach/not-in-time': 'hospital cannot be reached in time',
  'reach/unknown': 'not known whether hospital can be reached in time',
  'ph-result/confirms': 'the paper test confirms',
  'ph-result/not-confirmed': 'the paper test does not confirm',
  'age-band/under-3-months': 'under 3 months old',
  'age-band/3-to-6-months': '3 to 6 months old',
  'age-band/6-months-to-5-years': '6 months to 5 years old',
  'age-band/5-years-and-over': '5 years or older',
  'age-band/unknown': 'age not known',
  'fever/young': 'so hot at this age that it cannot wait',
  'fever/present': 'fever',
  'fever/low': 'too cold',
  'fever/absent': 'no fever',
  'fever/unknown': 'temperature not known',
  'urine/recent': 'urine not long ago',
  'urine/page': 'no urine for hours',
  'urine/hospital': 'no urine for very long',
  'balloon-loss/holds': 'the balloon holds its water',
  'balloon-loss/small-loss': 'a little water is missing',
  'balloon-loss/loss': 'water is missing',
  'balloon-loss/none-came-out': 'no water came out',
  'balloon-loss/gain': 'more came out than was put in',
  'balloon-loss/unknown': 'water of the balloon not known',
  'callout/idle': 'nobody was paged',
  'callout/paging': 'the page is out',
  'callout/taken': 'a clinician has taken it',
  'callout/unanswered': 'nobody has answered the page',
  'attempt/made': 'the one try was made',
  'held-as/settled': 'held open as a settled opening',
  'held-as/new': 'held open as a new opening',
  'placement-confirmed/by-ph': 'confirmed by the paper test',
  'placement-confirmed/by-clinician': 'confirmed by a clinician',
  'placement-confirmed/no': 'not confirmed',
  'danger-seen/yes': 'danger was seen',
  'feed-told-off/yes': 'the family was told to stop the feed',
  'feed-told-off/if-worse': 'the family was told to stop the feed if it gets worse',
}

const MOMENTS: Readonly<Record<string, string>> = {
  'leave-by': 'At the time to leave by',
  'closure-soonest': 'When the opening may begin to close',
  'closure-latest': 'At the latest time for the tube to be back',
  'closure-overdue': 'When it is overdue',
  arrival: 'When they should have arrived, and a while more',
}

const SETTINGS: Readonly<Record<string, string>> = {
  'left-check': 'After the first wait',
  'left-silent': 'After the long wait',
  'flush-wait': 'When the water had its time',
}

/** What blanks of a text stand for. */
const BLANKS: Readonly<Record<string, string>> = {
  emergency: 'emergency number',
  clinicNumber: 'clinic number',
  clinicWords: 'what to say there',
  clinicName: 'clinic',
  hospitalDoor: 'door',
  hospitalNumber: 'hospital number',
  transport: 'transport number',
  leaveBy: 'time to leave by',
  code: 'case code',
}

const SWITCHES = new Set(['hasTravel', 'hasLeaveBy', 'hasPhone'])

/** Values with which any text can be filled for a picture: each blank says what stands in it. */
const FILLING: Readonly<Record<string, string | number>> = Object.fromEntries(
  VARIABLES.map(name => [
    name,
    SWITCHES.has(name) ? 'yes' : name === 'pagesSent' ? 3 : name.endsWith('Past') ? 'no' : `‹${BLANKS[name] ?? name}›`,
  ]),
)

/** A text with its blanks named, or the id where there is none. */
export function filled(wording: Catalogue | undefined, id: string): string {
  if (wording === undefined || !wording.has(id)) return id.split('/').at(-1) ?? id
  return wording.text(id, FILLING as never)
}

/** What an alarm of a step waits for. */
export function alarmWords({ at, after }: Step['alarms'][number]): string {
  return at === undefined ? (SETTINGS[after ?? ''] ?? `After ${after}`) : (MOMENTS[at] ?? `At ${at}`)
}

/** One row's condition in words; empty for a row without one. `asked` is the fact its step asks. */
export function conditionWords(
  condition: Readonly<Record<string, readonly string[]>>,
  asked: string | undefined,
  set: FlowSet,
  wording: Catalogue | undefined,
): string {
  return Object.entries(condition)
    .map(([fact, values]) => {
      if (fact in set.policies) return `“${fact}” is ${values.join(' or ')}`
      const words = values.map(value => valueWords(fact, value, wording))
      const isOwn = fact === asked || values.every(value => `${fact}/${value}` in VALUES)
      return isOwn ? words.join(' / ') : `${filled(wording, `label/${fact}`)}: ${words.join(' / ')}`
    })
    .join('; ')
}

function valueWords(fact: string, value: string, wording: Catalogue | undefined): string {
  const own = VALUES[`${fact}/${value}`]
  if (own !== undefined) return own
  if (value === 'unsure') return filled(wording, 'option/not-sure')
  if (value === 'not-asked') return 'not asked'
  if (value === 'several') return 'several of them'
  if (value === 'answered') return 'answered'
  return wording?.has(`option/${fact}/${value}`) === true ? filled(wording, `option/${fact}/${value}`) : value
}
