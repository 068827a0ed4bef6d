import { existsSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import type { Flow } from '../../src/flow/flow-set.ts'
import { shippedFlows } from '../support/a-line.ts'
import {
  BACK,
  type Broken,
  HOLD,
  HOLDING,
  PLAIN,
  REPLACE,
  row,
  SOMEONE,
  someone,
  stepOf,
  TUBE_OUT,
  tube,
  unsaid,
  without,
} from '../support/broken-flows.ts'
import { leadsTo, shippedRules, walkFor, withTags } from '../support/rule-bench.ts'
import { TALK_RULES } from '../support/talk-rules.ts'
import { TINY_RULES } from '../support/tiny-rules.ts'

/** For each rule a shipped flow broken so that it no longer holds. */
const BROKEN: readonly Broken[] = [
  // Putting in
  [
    'nothing-into-a-new-tract',
    tube({
      ...row('lock-placed', 1, { drop: ['tract'] }),
      ...row('lock-taught', 1, { drop: ['tract'] }),
      ...row('lock-spare', 1, { drop: ['tract'] }),
    }),
    { policies: REPLACE, answers: { 'first-placed': ['under-settled'] } },
  ],
  [
    'no-holding-tube-in-a-new-tract',
    tube({
      ...row('lock-placed', 2, { drop: ['tract'] }),
      ...row('lock-taught', 2, { drop: ['tract'] }),
      ...row('lock-spare', 2, { drop: ['tract'] }),
    }),
    { policies: HOLD, answers: { ...HOLDING, 'first-placed': ['under-settled'] } },
  ],
  [
    'only-a-balloon-tube-goes-back',
    tube(row('device', 7, { drop: ['device'] })),
    { policies: REPLACE, answers: { device: ['no-balloon'] } },
  ],
  [
    'only-who-was-taught-puts-it-back',
    tube({ 'lock-taught': leadsTo('lock-spare'), ...row('lock-spare', 1, { drop: ['taught'] }) }),
    { policies: REPLACE, answers: { taught: ['none'] } },
  ],
  [
    'only-who-was-taught-holds-it-open',
    tube({ ...row('lock-spare', 2, { drop: ['spare'] }) }),
    { policies: HOLD, answers: { ...HOLDING, spare: ['none'] } },
  ],
  [
    'nothing-in-with-pain-or-blood',
    tube({ 'lock-pain': leadsTo('lock-tried') }),
    { policies: REPLACE, answers: { 'pain-or-bleeding': ['unsure'] } },
  ],
  [
    'nothing-in-after-a-try',
    tube({ 'lock-tried': leadsTo('lock-taught') }),
    { policies: REPLACE, answers: { 'tried-already': ['yes'] } },
  ],
  [
    'one-attempt-is-advised',
    tube(row('replace', 2, { go: 'hold-settled' })),
    { policies: REPLACE, answers: { replaced: ['would-not-go'] } },
  ],
  [
    'a-part-may-be-inside',
    tube({ 'lock-found': leadsTo('lock-pain') }),
    { policies: REPLACE, answers: { 'tube-found': ['piece-missing'] } },
  ],
  [
    'full-balloon-is-not-forced-back',
    tube({ 'lock-balloon': leadsTo('lock-skin') }),
    { policies: REPLACE, answers: { 'came-out-with': ['balloon-full'] } },
  ],
  [
    'nothing-in-once-it-is-late',
    tube({ 'lock-out-since': leadsTo('lock-changed'), ...row('lock-with', 2, { drop: ['closure'] }) }),
    { policies: REPLACE, answers: { 'out-since': ['unsure'] } },
  ],
  ['the-locks-are-the-clinics', withTags(TUBE_OUT, { 'get-ready': ['take-kit', 'replace-tube'] }), {}],
  // Feed
  [
    'no-feed-before-its-place-is-proved',
    withTags(TUBE_OUT, { 'waiting-for-call': ['wait', 'restarts-feed'] }),
    { answers: BACK },
  ],
  [
    'nothing-through-a-tube-that-came-out',
    withTags(TUBE_OUT, { 'waiting-for-call': ['wait', 'flush-water'] }),
    { answers: BACK },
  ],
  ['no-feed-while-the-tube-is-out', withTags(TUBE_OUT, { 'get-ready': ['take-kit', 'give-medicine'] }), {}],
  ['stop-feed-is-said-first', tube(unsaid('hold-empty', 'stop-feed')), {}],
  [
    'ph-is-for-the-taught',
    tube({ 'confirm-taught': leadsTo('confirm-acid') }),
    { policies: { 'family-ph': 'on' }, answers: { ...BACK, taught: ['none'] } },
  ],
  ['nothing-by-mouth-instead', withTags(TUBE_OUT, { 'get-ready': ['by-mouth'] }), {}],
  [
    'first-days-stop-medicines-too',
    tube(unsaid('first-days', 'stop-medicines')),
    { answers: { 'first-placed': ['under-first-days'] } },
  ],
  // Danger
  ['danger-in-words-is-answered-first', tube({ 'shared/emergency': without('page') }), { interruptions: true }],
  [
    'a-danger-sign-tapped-is-answered-first',
    tube({ 'shared/emergency': { say: ['stop-feed-now'] }, 'shared/emergency-plan': { say: ['written-plan'] } }),
    { answers: { 'danger-signs': ['a-sign'] } },
  ],
  [
    'danger-not-known-pages',
    tube({ 'shared/check-wakes': without('page') }),
    { answers: { 'danger-signs': ['unsure'] } },
  ],
  [
    'a-check-that-fails-is-danger',
    tube({ 'shared/check-breathes': leadsTo('shared/check-colour') }),
    { answers: { 'danger-signs': ['unsure'] } },
  ],
  [
    'danger-once-seen-stays',
    tube({ 'shared/emergency': { decide: 'speak' } }),
    { answers: { 'danger-signs': ['unsure'] } },
  ],
  ['danger-is-asked-early', tube({ 'hold-empty': leadsTo('device') }), {}],
  // Hospital
  ['hospital-is-said-when-it-is-decided', tube(unsaid('out-and-go', 'will-go', 'go-when-ready')), {}],
  [
    'an-emergency-is-said-when-it-is-decided',
    tube({
      'shared/steroid-emergency': { say: ['steroid-plan'] },
      'shared/steroid-number': { say: [] },
      'shared/steroid-wait': { say: [] },
    }),
    { answers: { 'fasting-risk': ['steroid-dependent'], 'unwell-too': ['yes'] } },
  ],
  ['hospital-is-paged-when-it-is-decided', tube({ 'out-and-go': without('page') }), {}],
  ['an-empty-opening-is-covered-before-hospital', tube(unsaid('hold-empty', 'cover-opening')), {}],
  [
    'nothing-goes-in-is-said-before-hospital',
    withTags(tube(unsaid('hold-empty', 'nothing-into-opening')), { 'no-tries': ['no-force'] }),
    {},
  ],
  ['the-kit-is-taken-along', tube({ ...unsaid('out-and-go', 'get-ready') }), { answers: { travel: ['answered'] } }],
  [
    'a-tube-that-is-in-stays-in',
    tube({ ...unsaid('hold-tube-in', 'leave-in-place'), ...unsaid('in-and-go', 'leave-in-place') }),
    { answers: { ...BACK, replaced: ['would-not-go'] } },
  ],
  ['an-empty-opening-is-not-left-in-place', tube({ 'tube-in': { say: ['cover-opening'] } }), { answers: BACK }],
  ['an-empty-opening-needs-hospital', tube({ 'lock-shut': leadsTo('shared/await-call') }), {}],
  [
    'a-tube-of-unknown-place-needs-hospital',
    tube({ 'back-placed': leadsTo('back-easy') }),
    { answers: { ...BACK, 'first-placed': ['under-settled'] } },
  ],
  [
    'another-kind-of-tube-put-back-needs-hospital',
    tube(row('device', 5, { go: 'back-easy' })),
    { answers: { ...BACK, device: ['no-balloon'] } },
  ],
  [
    'a-holding-tube-is-a-bridge',
    tube(row('device', 4, { go: 'back-easy' })),
    { answers: { 'in-opening': ['smaller-or-catheter'] } },
  ],
  ['holding-open-goes-with-hospital', tube({ 'hold-which': without('decide') }), { policies: HOLD, answers: HOLDING }],
  [
    'a-hard-return-needs-hospital',
    tube({ 'back-how': leadsTo('back-pain') }),
    { answers: { ...BACK, replaced: ['pain-blood-or-force'] } },
  ],
  [
    'pain-at-the-opening-needs-hospital',
    tube({ 'back-pain': leadsTo('back-changed') }),
    { answers: { ...BACK, 'pain-or-bleeding': ['yes'] } },
  ],
  [
    'a-missing-part-needs-hospital',
    tube({ 'back-found': leadsTo('back-changed') }),
    { answers: { 'in-opening': ['new-tube'], 'tube-found': ['no'] } },
  ],
  [
    'a-tube-through-the-nose-needs-a-person',
    tube({ nasal: without('decide') }),
    { answers: { device: ['nasal'] }, interruptions: false },
  ],
  [
    'a-child-at-risk-does-not-wait-unwell',
    tube({ 'wait-unwell': leadsTo('wait-medicine') }),
    { answers: { ...BACK, 'fasting-risk': ['metabolic'], 'unwell-too': ['yes'] } },
  ],
  [
    'a-child-at-risk-waits-only-with-a-plan',
    tube({ 'wait-own-plan': leadsTo('wait-medicine') }),
    { answers: { ...BACK, 'fasting-risk': ['metabolic'], 'unwell-too': ['no'], 'own-plan': ['none'] } },
  ],
  [
    'steroids-and-unwell-is-an-emergency',
    tube({ 'steroid-unwell': leadsTo('steroid-injection') }),
    { answers: { 'fasting-risk': ['steroid-dependent'], 'unwell-too': ['yes'] } },
  ],
  [
    'no-injection-is-an-emergency',
    tube({ 'steroid-injection': leadsTo('steroid-said') }),
    { answers: { 'fasting-risk': ['steroid-dependent'], 'unwell-too': ['no'] } },
  ],
  [
    'a-risk-of-fasting-is-paged',
    tube({ 'fasting-said': without('page') }),
    { answers: { 'fasting-risk': ['metabolic'] } },
  ],
  [
    'a-dose-that-is-due-is-paged',
    tube({ 'wait-medicine-due': without('page') }),
    { answers: { ...BACK, 'critical-medicine-due': ['yes'] } },
  ],
  ['late-is-said-at-once', tube({ 'clock-now': { say: ['worse-clock'] } }), {}],
  [
    'how-long-not-known-is-late',
    tube({ 'clock-now': { say: ['worse-clock'] } }),
    { answers: { 'out-since': ['unsure'] } },
  ],
  ['leave-by-is-said-when-it-comes', tube({ 'leave-by-passed': { say: ['worse-clock'] } }), { alarms: true }],
  [
    'a-step-under-way-is-stopped-at-the-latest',
    tube({ 'lock-over': leadsTo('resume') }),
    { policies: REPLACE, alarms: true },
  ],
  [
    'nobody-waits-with-an-empty-opening',
    tube({ 'out-and-go': { say: [...(stepOf('out-and-go').say ?? []), 'waiting-for-call'] } }),
    {},
  ],
  ['waiting-ends-at-leave-by', tube({ 'back-easy': { alarms: [] } }), { answers: BACK }],
  ['whoever-cannot-go-is-heard', tube({ 'shared/cannot-travel': without('page') }), { interruptions: true }],
  [
    'whoever-cannot-go-is-asked-again',
    tube({
      'shared/stuck-again': {
        ...without('decide'),
        ask: undefined,
        again: undefined,
        ...leadsTo('shared/stuck'),
      } as never,
    }),
    { answers: { 'have-you-left': ['no'], 'can-travel': ['no'] }, alarms: true },
  ],
  // Reaching
  ['a-person-who-is-wanted-is-paged', tube({ 'shared/person': without('page') }), { interruptions: true }],
  ['what-is-urgent-is-paged', someone({ start: without('page') }), {}],
  [
    'silence-ends-nothing',
    someone({ start: { ...without('decide') }, waiting: { wait: undefined, end: true } as never }),
    {},
  ],
  ['the-driver-is-not-asked', tube({ 'shared/driving': { quiet: undefined } as never }), {}],
  [
    'the-bot-does-not-reassure-in-doubt',
    withTags(SOMEONE, { 'waiting-for-call': ['reassure'] }),
    { answers: { 'danger-signs': ['unsure'], wakes: ['yes'], breathes: ['yes'], 'colour-ok': ['yes'] } },
  ],
  [
    'home-only-without-danger',
    someone({
      start: without('decide'),
      'shared/check-wakes': without('decide'),
      'shared/check-colour': leadsTo('waiting'),
      waiting: { wait: undefined, end: true } as never,
    }),
    { answers: { 'danger-signs': ['unsure'] } },
  ],
  ['the-first-reply-is-advice', tube(unsaid('hold-empty', 'cover-opening')), {}],
]

const ruleOf = (id: string) => {
  const rule = shippedRules.rules.find(each => each.id === id)
  if (rule === undefined) throw new Error(`no rule "${id}"`)
  return rule
}

describe('each shipped rule finds a flow that breaks it', () => {
  it.each(BROKEN)('%s', (id, flow, { policies = {}, answers = {}, interruptions = false, alarms = false }) => {
    const walk = { policies, answers: { ...PLAIN, ...answers }, interruptions, alarms }
    expect(walkFor(ruleOf(id), flow, shippedFlows, walk).breach?.way[0]).toBe('opened')
    const shipped = shippedFlows.flows.get(flow.concern) as Flow
    expect(walkFor(ruleOf(id), shipped, shippedFlows, walk).breach).toBeUndefined()
  })

  it('has a broken flow for every rule; silence has its own test', () => {
    const shown = new Set([
      ...BROKEN.map(([id]) => id),
      ...TINY_RULES.map(([id]) => id),
      ...TALK_RULES.map(([id]) => id),
      'silence-is-paged',
    ])
    expect(shippedRules.rules.map(rule => rule.id).filter(id => !shown.has(id))).toEqual([])
  })
})

describe('what the rules refer to', () => {
  it('names hazards that stand in the hazard log', () => {
    const log = readFileSync(new URL('../../docs/safety/hazards.md', import.meta.url), 'utf8')
    const known = new Set([...log.matchAll(/^\| (H\d+) \|/gm)].map(found => found[1]))
    const unknown = shippedRules.rules.flatMap(rule => rule.hazards.filter(hazard => !known.has(hazard)))
    expect(unknown).toEqual([])
  })

  it('names tests that exist for what the walk cannot express', () => {
    const page = readFileSync(new URL('../../docs/rules/elsewhere.md', import.meta.url), 'utf8')
    const named = [...page.matchAll(/`(tests\/[^`]+)`/g)].map(found => found[1] ?? '')
    expect(named.length).toBeGreaterThan(20)
    expect(named.filter(path => !existsSync(new URL(`../../${path}`, import.meta.url)))).toEqual([])
  })
})
