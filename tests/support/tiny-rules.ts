/**
 * Rules about concerns of which a flow may not be written yet, each with two tiny flows: one that keeps it, and one that
 * breaks it. What is expected is the clinic's table of least dispositions and the sources named beside each rule.
 */
import type { Tiny, TinyAct } from './rule-flow.ts'

export type Row = readonly [rule: string, keeps: Tiny, breaks: Tiny]

/** At the least this is decided and said, whatever is answered; it breaks with one thing less. */
function least(rule: string, concern: string, asks: readonly string[], needs: TinyAct, less: TinyAct): Row {
  return [rule, { concern, asks, act: needs }, { concern, asks, act: less }]
}
/** Said only where every condition holds; it breaks when it is said whatever is answered. */
function only(
  rule: string,
  concern: string,
  asks: readonly string[],
  says: readonly string[],
  where: Readonly<Record<string, readonly string[]>>,
): Row {
  return [rule, { concern, asks, act: { says }, only: where }, { concern, asks, act: { says } }]
}

const SET_OUT = { decide: 'set-out' } as const
const SPEAK = { decide: 'speak' } as const
const CLINIC = { decide: 'tell-clinic' } as const
const HOME = { decide: 'at-home' } as const
const STOPS = ['stop-feed', 'stop-medicines'] as const
const KNOWN = { tract: ['new', 'settled'] } as const

export const TINY_RULES: readonly Row[] = [
  // The first days
  least('pain-in-the-first-days-needs-hospital', 'leaking', ['first-placed', 'pain-on-feed'], SET_OUT, SPEAK),
  least('bleeding-in-the-first-days-needs-hospital', 'bleeding', ['first-placed', 'bleed'], SET_OUT, SPEAK),
  least('a-leak-in-the-first-days-needs-hospital', 'leaking', ['first-placed', 'leak-from'], SET_OUT, SPEAK),
  least('fever-in-the-first-days-needs-hospital', 'skin', ['first-placed', 'temperature', 'age'], SET_OUT, SPEAK),
  least(
    'a-moved-tube-in-the-first-days-needs-hospital',
    'tube-moved',
    ['first-placed', 'length-outside'],
    SET_OUT,
    SPEAK,
  ),
  least(
    'in-the-first-days-medicines-stop-too',
    'leaking',
    ['first-placed', 'leak-from'],
    { ...SET_OUT, says: STOPS },
    { ...SET_OUT, says: ['stop-feed'] },
  ),
  only('in-the-first-days-nothing-goes-in', 'clogged', ['first-placed'], ['flush-water'], KNOWN),
  [
    'the-tube-is-not-turned-too-early',
    {
      concern: 'tube-moved',
      asks: ['device', 'first-placed'],
      act: SPEAK,
      only: { ...KNOWN, device: ['balloon-button', 'balloon-long', 'no-balloon'] },
      thenAsks: 'turns',
    },
    { concern: 'tube-moved', asks: ['device', 'first-placed'], act: SPEAK, thenAsks: 'turns' },
  ],
  // At the least
  least('pain-on-feeding-needs-a-person', 'leaking', ['pain-on-feed'], SPEAK, HOME),
  least('more-than-spots-of-blood-needs-a-person', 'bleeding', ['bleed'], SPEAK, CLINIC),
  [
    'soaking-blood-is-danger',
    { concern: 'bleeding', asks: ['bleed'], act: SPEAK, aside: { if: { bleed: ['soaking'] }, go: 'shared/emergency' } },
    { concern: 'bleeding', asks: ['bleed'], act: SET_OUT },
  ],
  [
    'green-or-blood-vomit-is-danger',
    {
      concern: 'feed-trouble',
      asks: ['vomit'],
      act: SPEAK,
      aside: { if: { vomit: ['green', 'blood'] }, go: 'shared/emergency' },
    },
    { concern: 'feed-trouble', asks: ['vomit'], act: SET_OUT },
  ],
  least('a-leak-of-bile-stool-or-blood-needs-a-person', 'leaking', ['leak-looks'], SPEAK, CLINIC),
  least('a-moved-tube-needs-a-person', 'tube-moved', ['length-outside'], SPEAK, CLINIC),
  least(
    'a-moved-tube-that-hurts-needs-hospital',
    'tube-moved',
    ['length-outside', 'pain-on-feed'],
    { ...SET_OUT, says: STOPS },
    { ...SET_OUT, says: ['stop-feed'] },
  ),
  least('a-bumper-that-does-not-turn-needs-a-person', 'tube-moved', ['device', 'turns'], SPEAK, CLINIC),
  least('a-tube-still-blocked-needs-a-person', 'clogged', ['flush'], SPEAK, CLINIC),
  least('a-broken-tube-needs-a-person', 'broken', ['broken-part'], SPEAK, CLINIC),
  least('a-split-side-needs-a-person', 'leaking', ['leak-from'], SPEAK, CLINIC),
  least('the-wrong-port-needs-a-person', 'medicine', ['wrong-port'], SPEAK, CLINIC),
  least('vomiting-with-a-bowel-tube-needs-a-person', 'feed-trouble', ['device', 'vomit'], SPEAK, CLINIC),
  least(
    'trouble-after-a-change-needs-hospital',
    'feed-trouble',
    ['replaced', 'vomit'],
    { ...SET_OUT, says: STOPS },
    { ...SPEAK, says: STOPS },
  ),
  least('a-child-who-cannot-vomit-needs-hospital', 'feed-trouble', ['child-has', 'vomit'], SET_OUT, SPEAK),
  least('sore-skin-that-spreads-needs-a-person', 'skin', ['skin-signs'], SPEAK, CLINIC),
  least('feed-in-doubt-is-stopped', 'leaking', ['leak-looks'], { ...SPEAK, says: ['stop-feed'] }, SPEAK),
  least(
    'a-bowel-tube-with-vomited-feed-stops-the-feed',
    'feed-trouble',
    ['device', 'vomit'],
    { ...SPEAK, says: ['stop-feed'] },
    SPEAK,
  ),
  least('dark-skin-stops-the-feed', 'skin', ['skin-signs'], { ...SPEAK, says: ['stop-feed'] }, SPEAK),
  only('nothing-goes-through-a-tube-in-doubt', 'medicine', ['pain-on-feed'], ['give-medicine'], {
    'pain-on-feed': ['no'],
  }),
  // Flushing
  only('a-flush-needs-a-known-tube', 'clogged', ['first-placed', 'length-outside', 'pain-on-feed'], ['flush-water'], {
    ...KNOWN,
    'length-outside': ['same'],
    'pain-on-feed': ['no'],
  }),
  least(
    'a-flush-is-gentle',
    'clogged',
    [],
    { says: ['flush-water', 'no-force', 'no-object', 'no-fizzy-or-acid'] },
    { says: ['flush-water', 'no-force', 'no-object'] },
  ),
  least(
    'the-extension-comes-off-first',
    'clogged',
    [],
    { says: ['remove-extension', 'flush-water'] },
    { says: ['flush-water'] },
  ),
  [
    'a-bowel-tube-is-flushed-once',
    {
      concern: 'clogged',
      asks: ['device'],
      act: { says: ['flush-water'] },
      twice: true,
      only: { device: ['balloon-long'] },
    },
    { concern: 'clogged', asks: ['device'], act: { says: ['flush-water'] }, twice: true },
  ],
  // The balloon
  only('doubts-come-before-the-balloon', 'balloon', ['balloon-doubts'], ['refill-balloon'], {
    'balloon-doubts': ['none'],
  }),
  least('a-doubtful-balloon-tube-needs-a-person', 'balloon', ['balloon-doubts'], SPEAK, CLINIC),
  least('doubts-about-feeds-need-a-person', 'feed-trouble', ['feed-doubts'], { ...SPEAK, says: ['stop-feed'] }, SPEAK),
  only('a-balloon-is-touched-only-after-its-first-change', 'balloon', ['device', 'changed-before'], ['check-balloon'], {
    device: ['balloon-button'],
    'changed-before': ['yes'],
  }),
  only('a-balloon-that-will-not-empty-is-left-alone', 'balloon', ['balloon-empties'], ['refill-balloon'], {
    'balloon-empties': ['yes'],
  }),
  only('a-balloon-gone-empty-is-left-alone', 'balloon', ['balloon-put-in', 'balloon-came-out'], ['refill-balloon'], {
    'balloon-loss': ['holds', 'small-loss', 'loss'],
  }),
  least(
    'a-balloon-that-will-not-empty-needs-a-person',
    'balloon',
    ['balloon-empties'],
    { ...SPEAK, says: ['secure-tube'] },
    { ...SPEAK, says: ['stop-feed'] },
  ),
  least(
    'a-balloon-that-lost-water-is-told',
    'balloon',
    ['balloon-put-in', 'balloon-came-out'],
    { ...CLINIC, says: ['secure-tube'] },
    { ...HOME, says: ['secure-tube'] },
  ),
  only('the-wrong-port-is-not-refilled', 'balloon', ['wrong-port'], ['refill-balloon'], { 'wrong-port': ['none'] }),
  only('nothing-through-a-tube-put-back', 'clogged', ['replaced'], ['flush-water'], { replaced: ['not-tried'] }),
  // How the child is
  least('a-fever-that-cannot-wait-needs-hospital', 'skin', ['temperature', 'age'], SET_OUT, SPEAK),
  least('a-fever-in-a-frail-child-needs-hospital', 'skin', ['child-has', 'temperature'], SET_OUT, SPEAK),
  least('a-fever-needs-a-person', 'skin', ['temperature', 'age'], SPEAK, CLINIC),
  least('no-urine-for-long-needs-a-person', 'feed-trouble', ['last-wet'], SPEAK, CLINIC),
  least('no-urine-for-very-long-needs-hospital', 'feed-trouble', ['last-wet'], SET_OUT, SPEAK),
  least('a-dose-that-is-due-needs-a-person', 'medicine', ['critical-medicine-due'], SPEAK, CLINIC),
  least(
    'a-tablet-that-must-stay-whole-is-not-crushed',
    'medicine',
    ['medicine-form'],
    { ...SPEAK, says: ['no-crush', 'ask-pharmacist'] },
    { ...SPEAK, says: ['no-crush'] },
  ),
  only('a-tablet-that-must-stay-whole-is-not-given', 'medicine', ['medicine-form'], ['give-medicine'], {
    'medicine-form': ['liquid', 'plain-tablet'],
  }),
  [
    'whoever-stays-home-knows-what-to-watch-for',
    { concern: 'skin', asks: [], act: { ...HOME, says: ['watch-for', 'call-emergency'] }, ends: true },
    { concern: 'skin', asks: [], act: { ...HOME, says: ['call-emergency'] }, ends: true },
  ],
  [
    'whoever-stops-feed-is-asked-about-it',
    {
      concern: 'leaking',
      asks: ['fasting-risk'],
      act: { ...SPEAK, says: ['stop-feed'], advice: ['waiting-for-call'] },
    },
    { concern: 'leaking', asks: ['leak-from'], act: { ...SPEAK, says: ['stop-feed'], advice: ['waiting-for-call'] } },
  ],
  [
    'nobody-is-left-before-danger-was-asked',
    { concern: 'skin', asks: ['skin-signs'], act: SPEAK },
    { concern: 'skin', asks: ['skin-signs'], act: SPEAK, skipsDanger: true },
  ],
]
