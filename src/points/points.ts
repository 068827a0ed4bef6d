import { channel } from 'node:diagnostics_channel'

/**
 * Places on the way of a message, page or alarm between which something has become durable, left the process, or not
 * yet. Each is passed by name. Nothing listens in a clinic; the kill test listens and ends the process there, the tests of
 * time and order count them. Passing a point that nobody listens to costs some nanoseconds.
 */
export const POINTS = [
  // A message, tap, clinician's act or alarm becomes a step.
  'worker.received',
  'worker.loaded',
  'worker.stepped',
  'worker.committed',
  // A group of steps becomes durable.
  'store.begun',
  'store.step-written',
  'store.before-commit',
  'store.after-commit',
  'store.before-answer',
  // A row leaves: claimed, worked out, its text kept, handed over, and the end written down.
  'outbox.family.claimed',
  'outbox.family.rendered',
  'outbox.family.kept',
  'outbox.family.sent',
  'outbox.family.settled',
  'outbox.page.claimed',
  'outbox.page.rendered',
  'outbox.page.kept',
  'outbox.page.sent',
  'outbox.page.settled',
  // The pagers' own talk with the other side.
  'pager.smtp.connecting',
  'pager.smtp.handing-over',
  'pager.smtp.answered',
  'pager.webhook.posting',
  'pager.webhook.connected',
  'pager.webhook.answered',
  // A due alarm.
  'alarms.found',
  'alarms.firing',
  'alarms.fired',
  // The first moments after a start.
  'recover.begun',
  'recover.case-told',
  'recover.done',
] as const

export type Point = (typeof POINTS)[number]

/** Name of the diagnostics channel on which every passed point is published, as its name. */
export const POINT_CHANNEL = 'smallhours:point'

const points = channel(POINT_CHANNEL)

/** Says that the process is at a point. Synchronous: a listener that ends the process ends it exactly here. */
export function passed(point: Point): void {
  if (points.hasSubscribers) points.publish(point)
}
