import type { CaseSummary } from './case-summary.ts'
import { type FigureCell, HIDDEN, NONE, told } from './figure-table.ts'
import { shareOf } from './proportion.ts'
import { type Told, toldAlone, toldPart } from './suppression.ts'

export const wasPaged = ({ waits }: CaseSummary): boolean => waits.page !== undefined
export const gaveUp = ({ abandonedAt }: CaseSummary): boolean => abandonedAt !== undefined
export const gaveUpEarly = (one: CaseSummary): boolean => gaveUp(one) && one.abandonedLate !== true

export const SHARE_HEAD = ['share %', 'from %', 'to %'] as const

/**
 * A share with its interval. Hidden where it is small, where the rest is, and where `shown` says that another count would give
 * it away.
 *
 * @param within  what `of` is itself a part of: where that part is hidden elsewhere, it is not told here either
 */
export function shareRow(
  name: string,
  some: number,
  of: number,
  shown: Told = some,
  within: number = of,
): readonly FigureCell[] {
  if (within !== of && toldPart(of, within) === 'hidden') return [name, HIDDEN, HIDDEN, HIDDEN, HIDDEN, HIDDEN]
  const isHidden = shown === 'hidden' || toldPart(some, of) === 'hidden'
  if (isHidden) return [name, HIDDEN, told(toldAlone(of)), HIDDEN, HIDDEN, HIDDEN]
  if (of === 0) return [name, 0, 0, NONE, NONE, NONE]
  const { share, low, high } = shareOf(some, of)
  return [name, some, of, percent(share), percent(low), percent(high)]
}

const percent = (share: number): number => Math.round(share * 1000) / 10
