import { type Instant, instant } from '../time/instant.ts'
import type { Clinic } from './clinic.ts'
import { type Duty, startOf } from './duty.ts'
import { dutiesBetween } from './timeline.ts'

/** What is wrong with a swap of the file. */
export interface SwapTrouble {
  /** Position in the list of swaps. */
  readonly swap: number
  /**
   * `unmatched`: nobody of that name has a shift that starts then, so that nothing is swapped. `back`: swaps of one shift
   * lead back to who had it first.
   */
  readonly kind: 'unmatched' | 'back'
  /** Whether it is about the shift given in return. */
  readonly inReturn: boolean
  /** Who is named as having the shift. */
  readonly of: string
  /** Shifts of that person in that role within two days, which may have been meant. */
  readonly near: readonly Duty[]
}

const NEAR_MS = 172_800_000

/** Troubles of swaps whose shift is not past. Past ones are history: what they named may have changed since. */
export function swapTroubles(clinic: Clinic, at: Instant): readonly SwapTrouble[] {
  const { rota, zone } = clinic
  const found: SwapTrouble[] = []
  /** Who has had each shift that starts at one instant, the latest last. */
  const holders = new Map<string, readonly string[][]>()
  const unswapped: Clinic = { ...clinic, rota: { ...rota, swaps: [] } }
  rota.swaps?.forEach(({ shift, of, to, inReturn }, swap) => {
    const moves = [{ shift, of, to, inReturn: false }]
    if (inReturn !== undefined) moves.push({ shift: inReturn, of: to, to: of, inReturn: true })
    for (const move of moves) {
      const startsAt = startOf(zone, move.shift)
      if (startsAt < at) continue
      const key = `${startsAt} ${move.shift.role}`
      const starting = dutiesBetween(unswapped, move.shift.role, startsAt, startsAt).filter(
        duty => duty.startsAt === startsAt,
      )
      const chains = holders.get(key) ?? starting.map(({ who }) => [who])
      holders.set(key, chains)
      const chain = chains.find(had => had.at(-1) === move.of)
      const told = { swap, inReturn: move.inReturn, of: move.of }
      if (chain === undefined) {
        const from = instant(startsAt - NEAR_MS)
        const until = instant(startsAt + NEAR_MS)
        const near = dutiesBetween(unswapped, move.shift.role, from, until).filter(({ who }) => who === move.of)
        found.push({ ...told, kind: 'unmatched', near })
        continue
      }
      if (chain.includes(move.to)) found.push({ ...told, kind: 'back', near: [] })
      chain.push(move.to)
    }
  })
  return found
}
