import { expect, it } from 'vitest'
import { edgesWithin } from '../../src/oncall/edges.ts'
import { type Instant, instant } from '../../src/time/instant.ts'

const at = (minutes: number): Instant => instant(Date.parse('2026-11-30T12:00:00Z') + minutes * 60_000)

it('edges come in order, each once, from the beginning on and before the end', () => {
  const edges = edgesWithin([at(5), at(-1), at(0), at(30), at(5), at(10), at(9)], at(0), at(30))
  expect(edges).toEqual([at(0), at(5), at(9), at(10)])
  expect(edgesWithin([], at(0), at(30))).toEqual([])
})
