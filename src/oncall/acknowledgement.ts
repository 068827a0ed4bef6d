import { after, type Instant, type Milliseconds } from '../time/instant.ts'

/** The clinic setting read here. */
export interface PromiseSettings {
  /** How long after a promised time the call may still come before the clinician is paged again. */
  readonly 'promise-grace': Milliseconds
}

/**
 * When a promised call counts as missed: `promisedBy` plus the grace. At this instant (inclusive) the same person and the
 * next rung are paged and the family is told, unless the call was recorded before.
 */
export function promiseDueAt(promisedBy: Instant, settings: PromiseSettings): Instant {
  return after(promisedBy, settings['promise-grace'])
}
