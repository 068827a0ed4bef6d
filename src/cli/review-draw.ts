import type { AccountStore } from '../accounts/account-store.ts'
import type { DrawMade, ReviewStore } from '../review/review-store.ts'
import { samplingPlan } from '../review/sampling.ts'
import type { Random } from '../runtime/clock.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'

export interface Drawing {
  readonly reviews: ReviewStore
  readonly trail: Pick<AccountStore, 'change'>
  readonly random: Random
  readonly now: Instant
  /** Id of a person, or `machine`. */
  readonly by: string
}

/** A draw, or why there is none: `drawn` already, `none` where the month has no case, `running` while it has not ended. */
export type DrawResult =
  | { readonly kind: 'done'; readonly draw: DrawMade }
  | { readonly kind: 'drawn' | 'none' | 'running' }

/**
 * Draws a month, once, when it has ended: a month that is drawn early would leave its last cases out. The seed stands in the audit
 * trail before the draw is kept, so that nobody draws until they like what they see.
 *
 * @param thisMonth  the month it is now, by the clinic's clock
 */
export async function drawMonth(
  month: string,
  seed: string | undefined,
  thisMonth: string,
  drawing: Drawing,
): Promise<DrawResult> {
  const { reviews, trail, random, now, by } = drawing
  if (reviews.draw(month) !== undefined) return { kind: 'drawn' }
  if (month >= thisMonth) return { kind: 'running' }
  const cases = reviews.summaries(month)
  if (cases.length === 0) return { kind: 'none' }
  const { draw, picks } = samplingPlan(month, seed ?? random.hex(8), cases, sha256, reviews.flagged())
  const after = `seed ${draw.seed}: ${draw.size} of ${draw.from} at random, ${picks.length} in all`
  await trail.change({ at: now, who: by, did: 'review-drawn', on: month, after }, [])
  const made = { ...draw, at: now, by }
  return reviews.keepDraw(made, picks) ? { kind: 'done', draw: made } : { kind: 'drawn' }
}
