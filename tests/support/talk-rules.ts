/** For each rule about pages, alarms and what a reply holds together: a shipped flow broken so that it no longer holds. */
import { BACK, type Broken, REPLACE, tube, unsaid, without } from './broken-flows.ts'

const DANGER = { 'danger-signs': ['a-sign'] }
const BUMPER = { device: ['no-balloon'] }
const STEROIDS = { 'fasting-risk': ['steroid-dependent'], 'unwell-too': ['yes'] }
const LATE = { 'out-since': ['unsure'] }
const ON_THE_WAY = { ...BUMPER, ...LATE }
const uncancelled = (id: string) => ({ [id]: { cancel: [] } })
const not = (id: string, ...keys: string[]) => ({
  [id]: Object.fromEntries(keys.map(key => [key, undefined])) as never,
})

/** A page for something that is not so. */
const REASONS = [
  ['paged-as-danger-only-in-danger', 'danger'],
  ['paged-as-unsure-of-danger-only-so', 'danger-unsure'],
  ['paged-as-silent-only-in-silence', 'lost-contact'],
  ['paged-as-wanting-a-person-only-so', 'person'],
  ['paged-as-stuck-only-so', 'cannot-travel'],
  ['paged-as-not-arrived-only-so', 'not-arrived'],
  ['paged-as-overdue-only-by-the-clock', 'overdue'],
  ['paged-as-at-risk-only-so', 'fasting-risk'],
  ['paged-as-steroid-dependent-only-so', 'steroid-risk'],
  ['paged-as-a-dose-due-only-so', 'critical-medicine'],
  ['paged-as-a-nose-tube-only-so', 'nasal'],
  ['paged-as-not-proved-only-with-a-tube-in', 'tube-not-proved'],
  ['paged-as-replaced-only-so', 'replaced'],
  ['paged-as-first-days-only-so', 'first-days'],
  ['paged-as-tried-only-so', 'tried'],
  ['paged-as-a-part-missing-only-so', 'part-missing'],
  ['paged-as-pain-only-so', 'pain'],
  ['paged-as-far-away-only-so', 'far-away'],
] as const

export const TALK_RULES: readonly Broken[] = [
  ...REASONS.map(([rule, page]): Broken => [rule, tube({ 'out-and-go': { page } }), {}]),
  ['paged-as-empty-only-so', tube({ 'in-and-go': { page: 'tube-out' } }), { answers: { ...BACK, ...BUMPER } }],
  ['hospital-is-paged-for-an-empty-opening', tube({ 'out-and-go': without('page') }), {}],
  [
    'hospital-is-paged-for-a-tube-not-proved',
    tube({ 'in-and-go': without('page') }),
    { answers: { ...BACK, ...BUMPER } },
  ],
  [
    'hospital-is-paged-for-a-nose-tube',
    tube({ 'nasal-go': without('page') }),
    { answers: { device: ['nasal'] }, alarms: true },
  ],
  [
    'the-first-days-are-paged',
    tube({ 'first-days': without('page') }),
    { answers: { 'first-placed': ['under-first-days'] } },
  ],
  [
    'a-part-missing-is-paged',
    tube({ 'rest-part-missing': without('page') }),
    { answers: { 'tube-found': ['piece-missing'] } },
  ],
  ['a-bad-try-is-paged', tube({ 'rest-tried-badly': without('page') }), { answers: { replaced: ['would-not-go'] } }],
  ['pain-is-paged', tube({ 'rest-pain-now': without('page') }), { answers: { 'pain-or-bleeding': ['yes'] } }],
  ['too-far-is-paged', tube({ far: without('page') }), {}],
  // Time
  ['nothing-chases-after-arrival', tube(uncancelled('shared/desk')), { answers: BUMPER, alarms: true }],
  [
    'hospital-ends-the-steps-at-home',
    tube(uncancelled('out-and-go')),
    { policies: REPLACE, answers: { 'tried-already': ['yes'] }, alarms: true },
  ],
  ['arrival-is-waited-for', tube({ 'shared/driving': { alarms: [] } }), { answers: ON_THE_WAY }],
  [
    'whoever-has-not-left-is-asked-again',
    tube(not('shared/left-again', 'again')),
    { answers: { ...ON_THE_WAY, 'have-you-left': ['no'] }, alarms: true },
  ],
  [
    'whoever-should-be-there-is-asked',
    tube(not('shared/arrived', 'again')),
    { answers: { ...ON_THE_WAY, 'have-you-arrived': ['no'] }, alarms: true },
  ],
  ['overdue-is-told-to-clinicians', tube({ 'shared/overdue': without('page') }), { answers: BUMPER, alarms: true }],
  [
    'whoever-is-stuck-is-paged-again',
    tube({ 'shared/stuck-again': without('page') }),
    { answers: { ...ON_THE_WAY, 'have-you-left': ['no'], 'can-travel': ['no'] }, alarms: true },
  ],
  // What a reply holds together
  ['an-emergency-names-the-plan', tube(unsaid('shared/emergency-plan', 'written-plan')), { answers: DANGER }],
  [
    'an-emergency-covers-an-empty-opening',
    tube(unsaid('shared/emergency-empty', 'cover-opening')),
    { answers: BUMPER, interruptions: true },
  ],
  [
    'an-emergency-leaves-a-tube-in',
    tube(unsaid('shared/emergency-tube-in', 'leave-in-place')),
    { answers: { ...BACK, ...BUMPER }, interruptions: true },
  ],
  [
    'an-emergency-asks-for-a-number',
    tube(not('shared/emergency-plan', 'ask')),
    { answers: BUMPER, interruptions: true },
  ],
  [
    'a-steroid-emergency-covers-an-empty-opening',
    tube(unsaid('shared/steroid-empty', 'cover-opening')),
    { answers: { ...BUMPER, ...STEROIDS } },
  ],
  [
    'a-steroid-emergency-leaves-a-tube-in',
    tube(unsaid('shared/steroid-tube-in', 'leave-in-place')),
    { answers: { ...BACK, ...BUMPER, ...STEROIDS } },
  ],
  [
    'a-steroid-emergency-names-the-plan',
    tube({
      ...unsaid('shared/steroid-emergency', 'steroid-plan'),
      ...unsaid('steroid-unwell', 'written-plan'),
    }),
    { answers: { ...BUMPER, ...STEROIDS } },
  ],
  ['whoever-leaves-is-told-to-go-now', tube(unsaid('shared/leave-gate', 'medicine-desk')), { answers: ON_THE_WAY }],
  ['whoever-leaves-keeps-it-covered', tube(unsaid('shared/leave-empty', 'keep-covered')), { answers: ON_THE_WAY }],
  [
    'whoever-leaves-keeps-it-in',
    tube(unsaid('shared/leave-tube-in', 'keep-taped')),
    { answers: { ...BACK, ...BUMPER } },
  ],
  [
    'whoever-has-not-left-is-told-to-go',
    tube(unsaid('shared/not-left', 'leave-still')),
    { answers: { ...ON_THE_WAY, 'have-you-left': ['no'] } },
  ],
  [
    'whoever-is-not-there-goes-on',
    tube(unsaid('shared/not-arrived', 'not-there-yet')),
    { answers: { ...ON_THE_WAY, 'have-you-arrived': ['no'] }, alarms: true },
  ],
  ['the-desk-hears-it-all', tube(unsaid('shared/desk-rest', 'home-watch')), { answers: ON_THE_WAY }],
  ['the-desk-hears-that-it-is-out', tube(unsaid('shared/desk-tube-out', 'desk-tube-out')), { answers: ON_THE_WAY }],
  [
    'whoever-waits-knows-what-to-watch-for',
    tube(unsaid('shared/await-call', 'watch-while-waiting')),
    { answers: BACK },
  ],
  ['whoever-waits-may-ring', tube(unsaid('shared/await-call', 'waiting-for-call')), { answers: BACK }],
  [
    'a-page-nobody-answers-gives-the-numbers',
    tube(unsaid('shared/unanswered-ring', 'ring-clinic')),
    { answers: { device: ['nasal'] }, alarms: true },
  ],
  ['whoever-wants-a-person-gets-a-number', tube(unsaid('shared/person', 'ring-clinic')), { interruptions: true }],
]
