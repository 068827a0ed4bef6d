/**
 * Parts of the shipped flows that two walkers can each walk whole with every answer on record: the smaller flow as it is,
 * the larger one with most answers given and a few left open. Together the parts come to every lock and every follow-up.
 */
import type { Part } from './referee.ts'

/** One answer to each question, none that turns talk aside. */
const PLAIN: Readonly<Record<string, readonly string[]>> = {
  'danger-signs': ['none'],
  wakes: ['yes'],
  breathes: ['yes'],
  'colour-ok': ['yes'],
  'in-opening': ['nothing'],
  device: ['no-balloon'],
  'ring-back': ['answered'],
  'first-placed': ['over-settled'],
  'fasting-risk': ['none'],
  'critical-medicine-due': ['no'],
  replaced: ['went-in-easily'],
  'tube-found': ['yes'],
  'pain-or-bleeding': ['no'],
  'changed-before': ['yes'],
  'feed-running': ['no'],
  'last-feed': ['answered'],
  'unwell-too': ['no'],
  'injection-ready': ['yes'],
  'own-plan': ['none'],
  'with-child': ['yes'],
  taught: ['replace'],
  spare: ['same-size'],
  'came-out-with': ['balloon-empty'],
  'skin-signs': ['none'],
  'difficult-before': ['no'],
  'tried-already': ['no'],
  'acid-medicine': ['no'],
  ph: ['at-most-limit'],
  travel: ['answered'],
  'out-since': ['answered'],
  'can-travel': ['no'],
  'have-you-left': ['yes'],
  'have-you-arrived': ['no'],
}

/** @param open  answers that stand in place of the plain ones; `any`: every answer */
function tubeOut(
  name: string,
  happens: Part['happens'],
  open: Readonly<Record<string, readonly string[] | 'any'>>,
  policies: Readonly<Record<string, string>> = {},
): Part {
  const only = Object.fromEntries(
    Object.entries({ ...PLAIN, ...open }).flatMap(([fact, answers]) => (answers === 'any' ? [] : [[fact, answers]])),
  )
  return { name, flow: 'tube-out', happens, flatten: { only, givable: new Map(), policies } }
}

export const SMALL_PARTS: readonly Part[] = [
  { name: 'someone, merged', flow: 'someone', happens: 'all', flatten: { givable: new Map() } },
  { name: 'someone, every answer its own', flow: 'someone', happens: 'all', flatten: { merge: false } },
  tubeOut('a catheter is in, nobody knows since when', 'all', {
    'in-opening': ['smaller-or-catheter'],
    'out-since': ['unsure'],
  }),
]

export const PARTS: readonly Part[] = [
  ...SMALL_PARTS,
  tubeOut('the way to hospital', 'answers', { 'can-travel': 'any', 'have-you-left': 'any', 'have-you-arrived': 'any' }),
  tubeOut('the way to hospital, with words', 'words', { 'out-since': ['unsure'], 'can-travel': ['yes', 'no'] }),
  tubeOut('a tube through the nose', 'all', { device: ['nasal'] }),
  tubeOut('what is in the opening, and danger', 'answers', {
    'in-opening': 'any',
    device: 'any',
    'danger-signs': 'any',
    wakes: 'any',
    'out-since': ['unsure'],
  }),
  tubeOut('a child who must not be long without feed', 'answers', {
    'in-opening': ['same-tube'],
    device: ['balloon-button'],
    'fasting-risk': 'any',
    'unwell-too': 'any',
    'injection-ready': 'any',
    'own-plan': 'any',
    'critical-medicine-due': 'any',
    'out-since': ['unsure'],
  }),
  tubeOut('put back before the message', 'answers', {
    'in-opening': ['same-tube', 'new-tube'],
    device: ['balloon-button'],
    replaced: 'any',
    'pain-or-bleeding': 'any',
    'tube-found': 'any',
    'changed-before': 'any',
    'first-placed': 'any',
  }),
  tubeOut('put back, with words and corrections', 'all', { 'in-opening': ['same-tube'], device: ['balloon-button'] }),
  tubeOut(
    'one attempt at home',
    'answers',
    { device: ['balloon-button'], replaced: 'any', taught: 'any', spare: 'any', 'can-travel': ['yes'] },
    { 'home-replacement': 'on', 'family-ph': 'on' },
  ),
  tubeOut(
    'a holding tube in a settled opening',
    'answers',
    { device: ['balloon-long'], replaced: 'any', taught: ['hold-open'], spare: ['smaller'], 'first-placed': 'any' },
    { 'hold-open-settled': 'on' },
  ),
  tubeOut(
    'a holding tube in a new opening',
    'answers',
    { device: ['balloon-long'], replaced: 'any', taught: ['hold-open'], spare: ['smaller'], 'first-placed': 'any' },
    { 'hold-open-new': 'on' },
  ),
]
