import type { Progress } from './progress.ts'

/** Rounds of every figure, at least. */
export const ROUNDS = 5

/** One thing that is measured; a number a round. */
export type Contender = () => number | Promise<number>

/**
 * Runs every contender once a round, in turn within the round and in the opposite order in every second one, after a
 * round that does not count. What is compared is so always measured within the same seconds.
 *
 * @returns for each contender, the number of each round
 */
export async function interleaved<K extends string>(
  contenders: Readonly<Record<K, Contender>>,
  given: { readonly what: string; readonly progress: Progress; readonly rounds?: number },
): Promise<Readonly<Record<K, readonly number[]>>> {
  const rounds = given.rounds ?? ROUNDS
  const names = Object.keys(contenders) as K[]
  const values = Object.fromEntries(names.map(name => [name, []])) as unknown as Record<K, number[]>
  given.progress.round(given.what, 0, rounds)
  for (const name of names) await contenders[name]()
  for (let round = 1; round <= rounds; round += 1) {
    given.progress.round(given.what, round, rounds)
    for (const name of round % 2 === 1 ? names : names.toReversed()) values[name].push(await contenders[name]())
  }
  return values
}
