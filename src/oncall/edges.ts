import type { Instant } from '../time/instant.ts'

/** Instants of [from, until), rising, each once. A year of a full rota has ten thousand, so they are sorted as plain numbers. */
export function edgesWithin(instants: readonly Instant[], from: Instant, until: Instant): readonly Instant[] {
  const sorted = Float64Array.from(instants).sort()
  const edges: Instant[] = []
  let last = Number.NaN
  for (const at of sorted) {
    if (at < from || at >= until || at === last) continue
    edges.push(at as Instant)
    last = at
  }
  return edges
}
