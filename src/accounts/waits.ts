import { hours, type Instant, type Milliseconds, minutes } from '../time/instant.ts'
import type { Attempts } from './account-store.ts'

/**
 * How long nobody may try again after failed tries. Free tries first, then half a minute, doubling to a quarter of an hour;
 * figures of our own (OWASP ASVS 5.0.0, V6.3.1 asks for throttling and names none). Failures are forgotten after a day.
 */
const FREE_TRIES = { account: 5, address: 30 } as const
const FIRST_WAIT_MS = 30_000
const LONGEST_WAIT_MS = minutes(15)
export const FAILURES_LIVE: Milliseconds = hours(24)

export type Tried = keyof typeof FREE_TRIES

/** The instant from which another try is let through; undefined where one is now. */
export function waitUntil(tried: Tried, attempts: Attempts | undefined, now: Instant): Instant | undefined {
  if (attempts === undefined || attempts.lastAt + FAILURES_LIVE <= now) return undefined
  const over = attempts.failures - FREE_TRIES[tried]
  if (over < 0) return undefined
  const until = attempts.lastAt + Math.min(FIRST_WAIT_MS * 2 ** Math.min(over, 10), LONGEST_WAIT_MS)
  return until > now ? (until as Instant) : undefined
}
