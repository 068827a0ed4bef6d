import { seededRandom } from '../support/world.ts'
import type { KillPlan } from './kill-run.ts'

/** Every named point, at a pass in the middle of the night; a point of the start is reached in the second life. */
const AT_POINTS: readonly (readonly string[])[] = [
  ['worker.received#3'],
  ['worker.loaded#3'],
  ['worker.stepped#4'],
  ['worker.committed#4'],
  ['store.begun#20'],
  ['store.step-written#12'],
  ['store.before-commit#17'],
  ['store.after-commit#23'],
  ['store.before-answer#9'],
  ['outbox.family.claimed#4'],
  ['outbox.family.rendered#4'],
  ['outbox.family.kept#2'],
  ['outbox.family.sent#4'],
  ['outbox.family.settled#1'],
  ['outbox.page.claimed#1'],
  ['outbox.page.rendered#2'],
  ['outbox.page.kept#3'],
  ['outbox.page.sent#2'],
  ['outbox.page.settled#3'],
  ['pager.smtp.connecting#1'],
  ['pager.smtp.handing-over#1'],
  ['pager.smtp.answered#2'],
  ['pager.webhook.posting#2'],
  ['pager.webhook.connected#1'],
  ['pager.webhook.answered#1'],
  ['alarms.found#1'],
  ['alarms.firing#2'],
  ['alarms.fired#3'],
  ['worker.stepped#4', 'recover.begun#1'],
  ['outbox.page.settled#1', 'recover.case-told#1'],
  ['outbox.page.sent#3', 'recover.done#1'],
  // The last rung: everyone is paged, and the process ends with all of it on its way.
  ['outbox.page.sent#12'],
  ['alarms.fired#2', 'alarms.firing#1'],
]

/** Receivers that take a page and never say so, alone and together with a kill. */
const CUT_OFF: readonly (readonly string[])[] = [[], ['outbox.page.sent#1'], ['pager.webhook.answered#1']]

/** Ten drawn from a seed: five at any pass of any point, five at any instant. */
function atRandom(seed: number): (readonly string[])[] {
  const random = seededRandom(seed)
  const passes = Array.from({ length: 5 }, () => [`any#${40 + random.int(360)}`])
  const instants = Array.from({ length: 5 }, () => [`after#${200 + random.int(6_500)}`])
  return [...passes, ...instants]
}

/** All runs of the long suite. */
export function allPlans(seed: number): KillPlan[] {
  return [
    ...AT_POINTS.map(kills => ({ name: kills.join(' then '), kills })),
    ...atRandom(seed).map(kills => ({ name: `drawn ${kills.join()}`, kills })),
    ...CUT_OFF.map(kills => ({ name: `answers lost ${kills.join()}`.trim(), kills, cutFirst: true })),
  ]
}

/** So many of them, drawn from the seed; each seed draws others. */
export function somePlans(seed: number, count: number): KillPlan[] {
  const random = seededRandom(seed)
  const left = allPlans(seed)
  return Array.from({ length: count }, () => left.splice(random.int(left.length), 1)).flat()
}
