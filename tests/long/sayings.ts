/** What simulated families write and tap. All of it is invented. */
import type { Draws } from './draws.ts'

/** Each says that the tube is out. */
export const OUT_WORDS = [
  'her tube has just come out',
  'the tube came out',
  'his g tube fell out in bed',
  'tube out!!',
  'hi, the button fell out of his tummy',
  'the feeding tube is out, what do i do',
  'peg tube has come out',
  'I am the school nurse. A pupil’s gastrostomy tube came out at gym',
  'respite carer here, the tube is lying in the bed',
  'This is grandma. Her feeding tube has come out and I do not know what to do',
  'the button popped out while bathing',
  'the low profile button is out',
  'he pulled his tube out',
  'she has pulled the g-tube out of her belly',
  'her button came out, balloon burst I think',
  'tube fell out, there is nothing in the hole',
  'the balloon burst and the tube came right out',
  'help the tube is out',
]

/** Anything else a family may begin with. */
export const OTHER_FIRST_WORDS = [
  'hello',
  'I need to talk to somebody',
  'the tube is blocked',
  'can someone call me please',
  'there is redness round the button',
  'how much milk can I give',
]

export const DANGER_WORDS = [
  'she is floppy and I can’t wake her up properly',
  'his lips are blue',
  'he is having a fit',
  'her belly is hard as a rock',
  'there is blood everywhere, it won’t stop',
  'she is throwing up green',
  'not breathing right',
]

/** Words that fit no question. */
export const ODD_WORDS = [
  'ok',
  'thank you',
  '?',
  '🙏',
  'wait what',
  'can my mother do it',
  'I am so tired',
  'sorry wrong one',
  'is this a real person',
  'she is crying a bit',
  'he has a <b>red</b> blanket & "nothing" helps',
  'the clinician rang me',
  'that was a wrong tap',
  'we have left',
  'we are here now',
]

const WORDS_BY_TAP: readonly (readonly [tap: string, words: readonly string[]])[] = [
  [
    'just-now',
    [
      'about 20 minutes ago',
      'just now',
      'half an hour ago',
      '10 min ago',
      'maybe 40 mins ago',
      'an hour ago',
      'not sure when',
    ],
  ],
  ['up-to-15-minutes', ['25 minutes', 'half an hour', 'about 40 min', 'an hour and a half', '10 min by car']],
  ['write-only', ['202 555 0142', '+1 202 555 0117', '2025550163', 'my number is 202-555-0188']],
  ['under-a-week', ['three weeks ago', 'two years ago', 'in March 2025', 'last month', 'about 6 months ago']],
  ['under-an-hour', ['half an hour ago', 'two hours ago', 'at 9 pm', 'around midnight']],
  ['none-came', ['4', '5.5', '3,5', '7']],
]

/** Words for a question that offers these taps: read from a list where times, numbers or dates are asked, else a label. */
export function wordsFor(options: readonly { readonly value: string; readonly label: string }[], draws: Draws): string {
  const listed = WORDS_BY_TAP.find(([tap]) => options.some(({ value }) => value === tap))
  if (listed !== undefined) return draws.pick(listed[1])
  const { label } = draws.pick(options)
  return draws.chance(0.5) ? label : label.toLowerCase()
}

export const CLINICIAN_WORDS = [
  'Keep it covered until I ring',
  'I am looking at the notes now',
  'Bring the tube that came out with you',
  'You are doing well, stay where you are',
]

/** Kinds of caregivers: how fast they answer (median seconds) and how they hold the phone. */
export const CAREGIVERS = [
  { name: 'parent at night', thinkSeconds: 9, hasScript: 0.8, types: 0.2 },
  { name: 'school nurse', thinkSeconds: 5, hasScript: 0.7, types: 0.15 },
  { name: 'respite carer', thinkSeconds: 12, hasScript: 0.6, types: 0.25 },
  { name: 'grandparent', thinkSeconds: 22, hasScript: 0.3, types: 0.4 },
] as const
