/** Small flows in which everything the flow language has occurs, for comparisons over all their states. */
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { flowsOf, shippedFiles } from './a-line.ts'

/** Asking again and again until somebody has left; alarms counted from a step, set anew and cancelled. */
const FOLLOW_UPS = `concern: follow-ups
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
left: gone
steps:
  begin: { decide: speak, page: person, go: signs }
  signs:
    ask: danger-signs
    route:
      - { if: { danger: [present, unknown] }, go: shared/emergency }
      - { go: left-now }
  left-now:
    ask: have-you-left
    route:
      - { if: { have-you-left: [yes] }, go: gone }
      - { go: not-yet }
  not-yet:
    alarms:
      - { name: ask-again, after: left-check, go: ask-again }
    wait: true
  ask-again:
    ask: have-you-left
    again: true
    route:
      - { if: { have-you-left: [yes] }, go: gone }
      - { go: not-yet }
  gone:
    decide: set-out
    cancel: [ask-again]
    alarms:
      - { name: there, at: arrival, go: there }
    ask: have-you-arrived
    quiet: true
    route:
      - { if: { have-you-arrived: [yes] }, go: done }
      - { go: on-the-way }
  on-the-way: { wait: true }
  there:
    ask: have-you-arrived
    again: true
    route:
      - { if: { have-you-arrived: [yes] }, go: done }
      - { go: on-the-way }
  done: { cancel: [there], end: true }
  nobody: { page: lost-contact, go: resume }
`

/** Every moment of the closure clock: some alarms come back to the question, one moves talk on. */
const MOMENTS = `concern: moments
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
steps:
  begin:
    start-clock: closure
    decide: speak
    page: person
    alarms:
      - { name: soonest, at: closure-soonest, go: told }
      - { name: latest, at: closure-latest, go: too-late }
    go: out
  out:
    ask: out-since
    route:
      - { if: { closure: [overdue, unknown] }, go: go-now }
      - { go: way }
  way:
    ask: travel
    alarms:
      - { name: leave-by, at: leave-by, go: told }
    route:
      - { if: { reach: [not-in-time] }, go: go-now }
      - { if: { closure: [time-left] }, go: number }
      - { go: go-now }
  number:
    ask: feed-running
    route:
      - { if: { closure: [time-left] }, go: waiting }
      - { go: go-now }
  waiting: { wait: true }
  told: { decide: set-out, page: far, go: resume }
  too-late: { decide: set-out, page: overdue, go: go-now }
  go-now:
    decide: set-out
    cancel: [leave-by, soonest]
    alarms:
      - { name: overdue, at: closure-overdue, go: shared/overdue }
    wait: true
`

/** A step at home behind two locks, made once and remembered, and what a doubtful answer does to it. */
const LOCKS = `concern: locks
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
steps:
  begin:
    route:
      - { if: { in-opening: [nothing] }, go: hold }
      - { go: opening }
  hold: { go: placed }
  opening:
    ask: in-opening
    route:
      - { if: { in-opening: [nothing] }, go: placed }
      - { go: in-and-wait }
  placed:
    ask: first-placed
    route:
      - { if: { tract: [settled, new], hold-open-new: [on] }, go: changed }
      - { if: { attempt: [made] }, go: result }
      - { go: to-hospital }
  changed:
    ask: changed-before
    route:
      - { if: { attempt: [made] }, go: result }
      - { if: { tract: [settled], home-replacement: [on] }, go: put-back }
      - { go: to-hospital }
  put-back: { set: { attempt: made }, go: result }
  result:
    ask: replaced
    route:
      - { if: { replaced: [went-in-easily] }, go: in-and-wait }
      - { if: { replaced: [pain-blood-or-force] }, go: shared/emergency }
      - { go: to-hospital }
  in-and-wait:
    decide: speak
    page: person
    ask: ph
    route:
      - { if: { ph-result: [confirms] }, go: proved }
      - { go: acid }
  acid: { ask: acid-medicine, go: proved }
  proved:
    set: { placement-confirmed: by-ph }
    go: waiting
  waiting: { wait: true }
  to-hospital: { decide: set-out, page: far, wait: true }
  nobody:
    route:
      - { if: { placement-confirmed: [by-ph] }, go: ring }
      - { go: to-hospital }
  ring: { page: lost-contact, go: resume }
`

/** Lists, "not sure" that counts as a value, an end at home, and a detour that is come to twice. */
const LISTS = `concern: lists
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
steps:
  begin: { decide: tell-clinic, go: signs }
  signs:
    ask: danger-signs
    route:
      - { if: { danger: [present] }, go: shared/emergency }
      - { if: { danger: [unknown] }, go: wakes }
      - { go: plan }
  wakes:
    ask: wakes
    route:
      - { if: { wakes: [no] }, go: shared/emergency }
      - { go: plan }
  plan:
    ask: own-plan
    route:
      - { if: { own-plan: [fasting, steroid] }, go: unwell }
      - { if: { own-plan: [unsure] }, go: speak }
      - { go: at-home }
  unwell:
    ask: unwell-too
    route:
      - { if: { unwell-too: [yes] }, go: speak }
      - { go: at-home }
  speak:
    decide: speak
    page: person
    alarms:
      - { name: look, after: left-check, go: look }
    wait: true
  look:
    ask: unwell-too
    again: true
    route:
      - { if: { unwell-too: [yes] }, go: speak }
      - { go: at-home }
  at-home: { cancel: [look], end: true }
`

/** What was given in the first message, and hurry: a step that decides more without a page. */
const GIVEN = `concern: given
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
steps:
  begin:
    route:
      - { if: { device: [nasal] }, go: nasal }
      - { if: { in-opening: [nothing, unsure] }, go: empty }
      - { go: device }
  nasal: { decide: speak, page: person, go: number }
  empty:
    alarms:
      - { name: hurry, after: left-check, go: hurry }
    go: device
  device:
    ask: device
    route:
      - { if: { device: [nasal] }, go: nasal }
      - { if: { in-opening: [not-asked] }, go: opening }
      - { go: number }
  opening: { ask: in-opening, go: number }
  number:
    ask: feed-running
    go: rest
  rest: { wait: true }
  hurry: { decide: set-out, go: resume }
  nobody: { decide: set-out, page: lost-contact, wait: true }
`

/** Told in the first message, read at the end, asked on another way only: after a turn at the start it is told still. */
const TOLD = `concern: told
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
steps:
  begin:
    route:
      - { if: { flush-told: [yes] }, go: again }
      - { go: first }
  first:
    set: { flush-told: yes }
    ask: pain-on-feed
    go: kind
  again:
    ask: pain-on-feed
    go: kind
  kind:
    route:
      - { if: { device: [into-bowel] }, go: bowel }
      - { if: { device: [not-asked] }, go: which }
      - { go: number }
  bowel: { decide: speak, set: { held-as: new }, page: person, go: number }
  which:
    ask: device
    route:
      - { if: { held-as: [new] }, go: forgotten }
      - { go: number }
  # Come to only where talk began anew, and what was told at first was not told.
  forgotten: { page: person, go: number }
  number:
    ask: feed-running
    go: rest
  rest: { wait: true }
  nobody: { decide: set-out, page: lost-contact, wait: true }
`

/**
 * Time turns steps that lie behind, and the other way joins the path again: past a step that only says something, past
 * questions that are left out then, and at once. Beyond the joins: what was asked between, asked again, follow-ups.
 */
const JOINS = `concern: joins
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
steps:
  begin: { decide: speak, page: person, go: out }
  out:
    ask: out-since
    route:
      - { if: { attempt: [made] }, go: changed }
      - { if: { closure: [time-left] }, go: changed }
      - { if: { closure: [leave-now] }, go: hurry }
      - { go: shut }
  hurry: { page: far, go: changed }
  changed:
    alarms:
      - { name: too-late, at: closure-latest, go: shut }
    ask: changed-before
    route:
      - { if: { changed-before: [yes], home-replacement: [on] }, go: with }
      - { go: shut }
  with:
    ask: with-child
    route:
      - { if: { with-child: [yes], closure: [time-left, leave-now] }, go: put-back }
      - { go: shut }
  put-back:
    set: { attempt: made }
    ask: replaced
    route:
      - { if: { replaced: [went-in-easily] }, go: rest }
      - { go: to-hospital }
  rest: { cancel: [too-late], wait: true }
  shut:
    route:
      - { if: { attempt: [made] }, go: made }
      - { go: to-hospital }
  made: { page: lost-contact, go: to-hospital }
  to-hospital: { decide: set-out, page: far, cancel: [too-late], go: way }
  way:
    ask: travel
    route:
      - { if: { closure: [time-left] }, go: left }
      - { go: now }
  left: { say: [ring-clinic], go: more }
  now: { page: overdue, go: more }
  more:
    ask: changed-before
    route:
      - { if: { closure: [time-left] }, go: have-you }
      - { go: to-leave }
  to-leave: { go: have-you }
  have-you:
    ask: have-you-left
    route:
      - { if: { have-you-left: [yes] }, go: gone }
      - { go: not-yet }
  not-yet:
    alarms:
      - { name: again, after: left-check, go: again }
    wait: true
  again:
    ask: have-you-left
    again: true
    route:
      - { if: { have-you-left: [yes] }, go: gone }
      - { go: not-yet }
  gone: { cancel: [again], end: true }
  nobody: { page: lost-contact, go: resume }
`

/** What a step set for good is read by nothing after it, and only by a talk that begins anew. */
const HISTORY = `concern: history
start: begin
silence: { ask: shared/silence-ask, page: shared/silence-page }
unanswered: nobody
steps:
  begin: { go: pain }
  pain:
    ask: pain-on-feed
    route:
      - { if: { pain-on-feed: [yes] }, go: stop }
      - { go: number }
  stop: { decide: speak, set: { feed-told-off: yes }, page: person, go: far-is-it }
  far-is-it: { ask: travel, go: rest }
  rest: { wait: true }
  number:
    ask: ring-back
    route:
      - { if: { feed-told-off: [yes] }, go: still-off }
      - { go: home }
  still-off: { decide: set-out, page: far, wait: true }
  home: { decide: at-home, end: true }
  nobody: { page: lost-contact, go: resume }
`

const SMALL_FLOWS: Readonly<Record<string, string>> = {
  'follow-ups': FOLLOW_UPS,
  moments: MOMENTS,
  locks: LOCKS,
  lists: LISTS,
  given: GIVEN,
  told: TOLD,
  joins: JOINS,
  history: HISTORY,
}

const shared = new Map([...shippedFiles].filter(([path]) => path.startsWith('shared/')))

/** All of them in one set, with the shipped shared steps, facts and words. */
export const smallFlows: FlowSet = flowsOf(
  new Map([
    ...shared,
    ...Object.entries(SMALL_FLOWS).flatMap(([name, flow]): [string, string][] => [
      [`${name}/flow.yaml`, flow],
      [`${name}/sources.yaml`, 'sources: {}\nadvice: {}\n'],
      [`${name}/wording.en.yaml`, 'reason/far: It is far.\n'],
    ]),
  ]),
)

export const smallFlow = (name: string): Flow => {
  const flow = smallFlows.flows.get(name)
  if (flow === undefined) throw new Error(`no small flow "${name}"`)
  return flow
}

export const SMALL_NAMES = Object.keys(SMALL_FLOWS)
