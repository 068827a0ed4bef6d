import type { Lane } from '../store/store.ts'
import { hours, type Instant, type Milliseconds, minutes, seconds } from '../time/instant.ts'
import type { Random } from './clock.ts'

/** How one lane of the outbox behaves. */
export interface LaneRules {
  readonly lane: Lane
  /** Sends under way at once. */
  readonly inFlightMax: number
  /** A send that has not ended after this counts as unknown. */
  readonly timeout: Milliseconds
  /** How long a claimed row is ours; longer than the timeout. */
  readonly lease: Milliseconds
  readonly backoffBase: Milliseconds
  readonly backoffCap: Milliseconds
  /** When a send whose outcome is unknown is sent again. */
  readonly unknownAfter: Milliseconds
  /** Most tries; the last failure gives up. */
  readonly triesMax: number
  /** No try begins later than this after the first. */
  readonly giveUpAfter: Milliseconds
}

/** Pages: quick, and given up soon, so that the ladder moves on. */
export const PAGE_LANE: LaneRules = {
  lane: 'page',
  inFlightMax: 64,
  timeout: seconds(10),
  lease: seconds(20),
  backoffBase: seconds(2),
  backoffCap: seconds(60),
  unknownAfter: seconds(10),
  triesMax: 4,
  giveUpAfter: seconds(60),
}

/** Words to families: patient, for a day. */
export const FAMILY_LANE: LaneRules = {
  lane: 'family',
  inFlightMax: 256,
  timeout: seconds(30),
  lease: seconds(45),
  backoffBase: seconds(2),
  backoffCap: minutes(5),
  unknownAfter: seconds(20),
  triesMax: Number.MAX_SAFE_INTEGER,
  giveUpAfter: hours(24),
}

/** What an adapter said of one try. */
export type Outcome =
  | { readonly kind: 'arrived' }
  | { readonly kind: 'failed'; readonly reason: string; readonly retryAfterMs?: number }
  | { readonly kind: 'unknown'; readonly reason: string }
  | { readonly kind: 'refused'; readonly reason: string }

export type NextTry =
  | { readonly kind: 'sent' }
  | { readonly kind: 'again'; readonly notBefore: Instant; readonly outcomeUnknown: boolean }
  | { readonly kind: 'given-up'; readonly reason: string }

/**
 * What follows a try. Pure but for the jitter.
 *
 * A failure waits base × 2^(tries − 1), at most the cap, of which the upper half is drawn; never less than the receiver
 * asked for. A row is given up when it was refused, has had its tries, or the next would begin past the limit.
 *
 * @param tries    tries so far, this one included
 * @param firstAt  when the first began
 */
export function nextTry(
  rules: LaneRules,
  outcome: Outcome,
  tries: number,
  firstAt: Instant,
  now: Instant,
  random: Random,
): NextTry {
  if (outcome.kind === 'arrived') return { kind: 'sent' }
  if (outcome.kind === 'refused') return { kind: 'given-up', reason: outcome.reason }
  const wait =
    outcome.kind === 'unknown' ? rules.unknownAfter : backoff(rules, tries, outcome.retryAfterMs ?? 0, random)
  const notBefore = (now + wait) as Instant
  if (tries >= rules.triesMax || notBefore - firstAt > rules.giveUpAfter)
    return { kind: 'given-up', reason: outcome.reason }
  return { kind: 'again', notBefore, outcomeUnknown: outcome.kind === 'unknown' }
}

function backoff(rules: LaneRules, tries: number, askedMs: number, random: Random): number {
  const whole = Math.min(rules.backoffCap, rules.backoffBase * 2 ** Math.min(30, tries - 1))
  const half = Math.ceil(whole / 2)
  const drawn = whole - half + random.int(half + 1)
  return Math.max(drawn, Math.ceil(askedMs))
}
