import { describe, expect, it } from 'vitest'
import {
  type Bound,
  exitCodeOf,
  figureOf,
  type Measured,
  median,
  percentile,
  publicFigure,
  ratios,
  shareOfTarget,
  verdictOf,
} from '../../src/measure/figure.ts'
import { lineProgress } from '../../src/measure/progress.ts'
import { interleaved } from '../../src/measure/rounds.ts'
import { missedText, tableOf } from '../../src/measure/table.ts'

const figure = (bound: Bound, target: number, values: readonly number[]): Measured =>
  figureOf({ area: 'commit', name: 'a figure', unit: 'times', target, bound, against: 'a peer 1.0' }, values)

describe('the middle of some values', () => {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1, "Measures of Location": the middle value, or the mean of the
  // two middle ones (from memory). Nearest rank for percentiles: the same handbook, 7.2.6.2, names it among others (from memory).
  it.each([
    [[3], 3],
    [[5, 1, 3], 3],
    [[4, 1, 3, 2], 2.5],
    [[10, 9, 1, 1, 1], 1],
  ])('of %j is %d', (values, middle) => expect(median(values)).toBe(middle))

  it('leaves the values as they were', () => {
    const values = [3, 1, 2]
    median(values)
    expect(values).toEqual([3, 1, 2])
  })

  it('of none is refused', () => {
    expect(() => median([])).toThrow('at least one value')
    expect(() => percentile([], 0.99)).toThrow('at least one value')
  })

  it.each([
    [0.99, 99],
    [0.5, 50],
    [1, 100],
    [0.001, 1],
  ])('at %d of 1 to 100 is %d', (share, value) => {
    expect(
      percentile(
        Array.from({ length: 100 }, (_, place) => 100 - place),
        share,
      ),
    ).toBe(value)
  })
})

describe('a ratio', () => {
  it('is worked out round by round, so that a slow moment falls on both sides', () => {
    // Three rounds, the second on a machine half as fast: the ratio of the medians would be 2 / 1.
    expect(ratios([20, 10, 22], [10, 5, 11])).toEqual([2, 2, 2])
  })

  it('of sides with unequal rounds is refused', () => {
    expect(() => ratios([1, 2], [1])).toThrow('as many rounds')
  })
})

describe('a target', () => {
  it.each<[Bound, number, readonly number[], boolean]>([
    ['least', 3, [3, 3, 3], true],
    ['least', 3, [2.9, 2.9, 9], false],
    ['least', 3, [1, 3.1, 9], true],
    ['most', 15, [15, 15, 15], true],
    ['most', 15, [1, 15.1, 16], false],
    ['most', 0, [0, 0, 0], true],
    ['most', 0, [0, 1, 1], false],
    ['most', 5, [-3, -2, -1], true],
  ])('of at %s %d is held against the median of %j: %s', (bound, target, values, reached) => {
    expect(figure(bound, target, values).reached).toBe(reached)
  })

  it.each<[Bound, number, number, number]>([
    ['least', 3, 2.1, 0.7],
    ['least', 0.6, 1.2, 2],
    ['most', 7, 10, 0.7],
    ['most', 10, 5, 2],
    ['most', 0, 0, 1],
    ['most', 0, 1, 0],
    ['most', 5, -2, Number.POSITIVE_INFINITY],
  ])('of at %s %d is kept by %d to a share of %d', (bound, target, value, share) => {
    expect(shareOfTarget({ bound, target, value })).toBeCloseTo(share, 12)
  })
})

describe('the end of a run', () => {
  const reached = figure('least', 3, [3])
  const between = figure('least', 3, [2.1])
  const fell = figure('least', 3, [2.09])

  it('tells apart what is reached, what noise may explain, and what has fallen', () => {
    expect([reached, between, fell].map(verdictOf)).toEqual(['reached', 'between', 'fell'])
    expect(verdictOf(figure('most', 0, [1]))).toBe('fell')
  })

  it('is 1 only when a figure falls below seven tenths of its target', () => {
    expect(exitCodeOf([])).toBe(0)
    expect(exitCodeOf([reached, between])).toBe(0)
    expect(exitCodeOf([reached, fell, between])).toBe(1)
  })

  it('says which figures were missed, and which of them noise may explain', () => {
    expect(missedText([reached])).toBeUndefined()
    const [first = '', second = '', ...more] = (missedText([reached, between, fell]) ?? '').split('\n')
    expect(first).toBe(
      'commit: a figure is 2.1 times, at least 3 was wanted (short of it by less than the noise of a machine may explain)',
    )
    expect(second).toBe('commit: a figure is 2.09 times, at least 3 was wanted')
    expect(more).toEqual([])
  })

  it('shows the range beside the median, and what it was measured beside', () => {
    const lines = tableOf([figure('most', 15, [4, 9, 2])]).split('\n')
    expect(lines).toHaveLength(3)
    expect(lines[1]).toMatch(/^commit +a figure +4 \(2 to 9\) +times +at most 15 +reached$/)
    expect(lines[2]).toBe('    beside: a peer 1.0')
  })

  it('prints seven fields and no more, in four digits', () => {
    expect(publicFigure(figure('least', 2, [2.345678]))).toEqual({
      area: 'commit',
      name: 'a figure',
      value: 2.346,
      unit: 'times',
      target: 2,
      reached: true,
      against: 'a peer 1.0',
    })
  })
})

describe('rounds', () => {
  const silent = { round: () => {}, says: () => {} }

  it('run everyone in each, in turn and in the opposite order, after one that does not count', async () => {
    const order: string[] = []
    let tick = 0
    const contender = (name: string) => () => {
      order.push(name)
      tick += 1
      return tick
    }
    const values = await interleaved(
      { ours: contender('o'), peer: contender('p') },
      { what: 'x', progress: silent, rounds: 3 },
    )
    expect(order.join('')).toBe('op' + 'op' + 'po' + 'op')
    expect(values).toEqual({ ours: [3, 6, 7], peer: [4, 5, 8] })
  })

  it('are five when nothing else is said', async () => {
    const values = await interleaved({ one: async () => 1 }, { what: 'x', progress: silent })
    expect(values.one).toEqual([1, 1, 1, 1, 1])
  })

  it('say what, which of how many, and how long the rest takes', () => {
    const lines: string[] = []
    let now = 0
    const progress = lineProgress(
      line => lines.push(line),
      () => now,
    )
    for (let round = 0; round <= 5; round += 1) {
      progress.round('commit', round, 5)
      now += 2_000
    }
    expect(lines).toEqual([
      'commit: warming up',
      'commit: round 1 of 5, about 10 s left',
      'commit: round 2 of 5, about 8 s left',
      'commit: round 3 of 5, about 6 s left',
      'commit: round 4 of 5, about 4 s left',
      'commit: round 5 of 5, about 2 s left',
    ])
  })
})
