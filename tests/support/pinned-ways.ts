/**
 * What every way of every vignette comes to, as it was last looked at and kept: `tests/vignettes/ways.txt`, a line a way with the
 * first 40 bits of the SHA-256 of all that is told on it. `npm run long -- --only ways` writes it anew.
 */
import { createHash } from 'node:crypto'
import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { ROOT } from './clone.ts'
import type { Way } from './situation-ways.ts'

export const PINNED_WAYS = join(ROOT, 'tests/vignettes/ways.txt')

/** By situation, by way: what it comes to. */
export type PinnedWays = ReadonlyMap<string, ReadonlyMap<string, string>>

export const printOf = ({ told }: Pick<Way, 'told'>): string =>
  createHash('sha256').update(told.join('\n')).digest('hex').slice(0, 10)

export function readPinnedWays(): PinnedWays {
  const pinned = new Map<string, Map<string, string>>()
  const text = existsSync(PINNED_WAYS) ? readFileSync(PINNED_WAYS, 'utf8') : ''
  for (const line of text.split('\n').filter(Boolean)) {
    const [situation = '', way = '', print = ''] = line.split('\t')
    pinned.set(situation, (pinned.get(situation) ?? new Map()).set(way, print))
  }
  return pinned
}

export const pinnedText = (pinned: PinnedWays): string =>
  [...pinned]
    .flatMap(([situation, ways]) => [...ways].map(([way, print]) => `${situation}\t${way}\t${print}\n`))
    .join('')
