import { describe, expect, it } from 'vitest'
import { agreementOf, tableOf } from '../../src/review/agreement.ts'
import { pChart, uChart, xmrChart } from '../../src/review/control-chart.ts'
import { shareOf } from '../../src/review/proportion.ts'
import { runsOf } from '../../src/review/run-chart.ts'
import { timeWithin, waitingCurve, waitingFigures } from '../../src/review/survival.ts'
import { triageFigures } from '../../src/review/triage.ts'

const round = (value: number, digits: number) => Number(value.toFixed(digits))

describe('a share with its interval', () => {
  /** Reference outputs for "ci_prop_wilson" of the R package cicalc, snapshot of its own tests (cran, cicalc). */
  it('is Wilson’s, where everything or nothing counts too', () => {
    expect(shareOf(32, 32)).toMatchObject({ high: 1 })
    expect(round(shareOf(32, 32).low, 4)).toBe(0.8928)
    expect(shareOf(0, 32)).toMatchObject({ share: 0, low: 0 })
    expect(round(shareOf(0, 32).high, 4)).toBe(0.1072)
    // The same snapshot, 90 of 100: z 1.6449.
    const half = shareOf(5, 10, 1.6448536269514722)
    expect([round(half.low, 4), round(half.high, 4)]).toEqual([0.2693, 0.7307])
  })

  /** R. G. Newcombe 1998, Stat Med 17:857-872, table I, method 3 (values from memory). */
  it('is what Newcombe prints for his four examples', () => {
    const rows = [
      [81, 263, 0.2553, 0.3662],
      [15, 148, 0.0624, 0.1605],
      [0, 20, 0, 0.1611],
      [1, 29, 0.0061, 0.1718],
    ] as const
    for (const [count, of, low, high] of rows) {
      const share = shareOf(count, of)
      expect([round(share.low, 4), round(share.high, 4)], `${count} of ${of}`).toEqual([low, high])
    }
  })

  it('says that nothing is known where there is nothing, and refuses what cannot be counts', () => {
    expect(shareOf(0, 0)).toMatchObject({ low: 0, high: 1, share: Number.NaN })
    for (const [count, of] of [
      [2, 1],
      [-1, 4],
      [0.5, 4],
    ] as const)
      expect(() => shareOf(count, of)).toThrow('whole numbers')
  })
})

describe('agreement of two reviewers', () => {
  /** Documentation of the R package statpsych, ci.kappa(.05, 31, 12, 4, 58), after Fleiss and Paik 2003. */
  it('has kappa with its interval as the reference prints them', () => {
    const { kappa } = agreementOf({ bothNo: 31, secondYesOnly: 12, firstYesOnly: 4, bothYes: 58 })
    expect([kappa.value, kappa.standardError, kappa.low, kappa.high].map(each => round(each, 7))).toEqual([
      0.6756757, 0.0734476, 0.531721, 0.8196303,
    ])
  })

  /**
   * The prevalence paradox: A. R. Feinstein, D. V. Cicchetti 1990, J Clin Epidemiol 43:543-549, two tables with the same raw
   * agreement of 0.85 and kappas of 0.70 and 0.32 (values from memory). PABAK is 0.70 in both, by Byrt's formula.
   */
  it('shows that kappa falls with prevalence where raw agreement stays', () => {
    const even = agreementOf({ bothYes: 40, firstYesOnly: 9, secondYesOnly: 6, bothNo: 45 })
    const rare = agreementOf({ bothYes: 80, firstYesOnly: 10, secondYesOnly: 5, bothNo: 5 })
    expect([even.raw, rare.raw]).toEqual([0.85, 0.85])
    expect([round(even.kappa.value, 2), round(rare.kappa.value, 2)]).toEqual([0.7, 0.32])
    expect([round(even.pabak, 2), round(rare.pabak, 2)]).toEqual([0.7, 0.7])
    expect(rare.ac1.value).toBeGreaterThan(0.8)
    expect(rare.prevalence).toBe(0.75)
    expect(rare.bias).toBe(0.05)
  })

  /** K. L. Gwet 2002, "Kappa statistic is not satisfactory", table of 118, 5, 2 and 0 of 125: −0.0234 and 0.9408 (from memory). */
  it('has AC1 where kappa calls near-perfect agreement chance', () => {
    const { raw, kappa, ac1 } = agreementOf({ bothYes: 118, firstYesOnly: 5, secondYesOnly: 2, bothNo: 0 })
    expect(raw).toBe(0.944)
    expect([round(kappa.value, 4), round(ac1.value, 4)]).toEqual([-0.0234, 0.9408])
    expect(ac1.low).toBeLessThan(ac1.value)
    expect(ac1.standardError).toBeGreaterThan(0)
  })

  it('has an interval for AC1 as wide as drawing the cases anew makes it', () => {
    // The jackknife stands in for a published figure: another way to the same standard error.
    const table = { bothYes: 80, firstYesOnly: 10, secondYesOnly: 5, bothNo: 5 }
    const cells = Object.entries(table) as [keyof typeof table, number][]
    const whole = agreementOf(table).ac1
    const without = cells.map(([cell, count]) => ({
      count,
      value: agreementOf({ ...table, [cell]: count - 1 }).ac1.value,
    }))
    const mean = without.reduce((sum, { count, value }) => sum + count * value, 0) / 100
    const spread = without.reduce((sum, { count, value }) => sum + count * (value - mean) ** 2, 0)
    expect(whole.standardError / Math.sqrt((99 / 100) * spread)).toBeCloseTo(1, 1)
  })

  it('is not defined where both say the same of every case, and says so', () => {
    const all = agreementOf({ bothYes: 20, firstYesOnly: 0, secondYesOnly: 0, bothNo: 0 })
    expect(all.raw).toBe(1)
    expect(all.kappa.value).toBeNaN()
    expect(all.ac1.value).toBe(1)
    expect(agreementOf({ bothYes: 0, firstYesOnly: 0, secondYesOnly: 0, bothNo: 0 }).kappa.value).toBeNaN()
  })

  it('counts pairs in the order of the reviewers', () => {
    expect(
      tableOf([
        [true, true],
        [true, false],
        [true, false],
        [false, true],
        [false, false],
      ]),
    ).toEqual({ bothYes: 1, firstYesOnly: 2, secondYesOnly: 1, bothNo: 1 })
  })
})

describe('triage against the reviewers', () => {
  /** D. G. Altman, J. M. Bland 1994, BMJ 308:1552: 231 of 258 and 54 of 86, so 0.90 and 0.63 (from memory). */
  it('has the sensitivity and specificity of the worked example', () => {
    const times = (count: number, decided: 'speak' | 'at-home', should: 'speak' | 'at-home') =>
      Array.from({ length: count }, () => ({ decided, should }))
    const figures = triageFigures([
      ...times(231, 'speak', 'speak'),
      ...times(27, 'at-home', 'speak'),
      ...times(32, 'speak', 'at-home'),
      ...times(54, 'at-home', 'at-home'),
    ])
    expect([round(figures.sensitivity.share, 2), round(figures.specificity.share, 2)]).toEqual([0.9, 0.63])
    expect(figures.under).toMatchObject({ count: 27, of: 344 })
    expect(figures.over).toMatchObject({ count: 32, of: 344 })
  })

  it('tells a step too mild from two, and never lets one side make good the other', () => {
    const { under, farUnder, over, exact } = triageFigures([
      { decided: 'set-out', should: 'ambulance' },
      { decided: 'at-home', should: 'set-out' },
      { decided: 'ambulance', should: 'at-home' },
      { decided: 'speak', should: 'speak' },
    ])
    expect([under.count, farUnder.count, over.count, exact.count]).toEqual([2, 1, 1, 1])
  })
})

describe('how long was waited, where some still wait', () => {
  /**
   * Weeks of remission under 6-MP, E. J. Freireich and others 1963, Blood 21:699-716; survival and standard deviations as the
   * NAG library prints them for routine g12aac on these data.
   */
  const times = [6, 6, 6, 7, 10, 13, 16, 22, 23].map(time => ({ time, happened: true }))
  const open = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35].map(time => ({ time, happened: false }))
  const curve = waitingCurve([...open, ...times])

  it('is the published curve with Greenwood’s standard errors', () => {
    expect(curve.map(({ time, waiting, standardError }) => [time, round(waiting, 3), round(standardError, 3)])).toEqual(
      [
        [6, 0.857, 0.076],
        [7, 0.807, 0.087],
        [10, 0.753, 0.096],
        [13, 0.69, 0.107],
        [16, 0.627, 0.114],
        [22, 0.538, 0.128],
        [23, 0.448, 0.135],
      ],
    )
    expect(curve[0]?.atRisk).toBe(21)
  })

  it('has the published median of 23 weeks, and no 90th percentile while too many wait', () => {
    expect(waitingFigures([...open, ...times])).toEqual({
      cases: 21,
      open: 12,
      median: 23,
      p90: undefined,
      longest: 23,
    })
  })

  it('is the plain median and percentile where nobody waits any more', () => {
    const all = Array.from({ length: 10 }, (_, index) => ({ time: index + 1, happened: true }))
    expect(waitingFigures(all)).toEqual({ cases: 10, open: 0, median: 5, p90: 9, longest: 10 })
    expect(timeWithin(waitingCurve(all), 1)).toBe(10)
    expect(waitingFigures([])).toMatchObject({ cases: 0, median: undefined })
  })
})

describe('control charts', () => {
  /** NIST/SEMATECH e-Handbook 6.3.3.2: 30 wafers of 50 chips, mean share 0.2313, limits 0.0524 and 0.4102 (limits from memory). */
  it('a p chart has the limits of the handbook’s wafers', () => {
    // 347 of 1500 chips: the same mean from any split over the wafers.
    const wafers = Array.from({ length: 30 }, (_, index) => ({ count: index < 17 ? 12 : 11, of: 50 }))
    const [first] = pChart(wafers)
    expect(round(first?.centre ?? 0, 4)).toBe(0.2313)
    expect([round(first?.low ?? 0, 4), round(first?.high ?? 0, 4)]).toEqual([0.0524, 0.4102])
  })

  /** D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, 15-6, exercise 41, published solution. */
  it('a p chart widens with fewer cases, as the textbook’s solution does', () => {
    const limits = (of: number) => {
      const [one] = pChart([{ count: 0.0645 * of, of }])
      return [round(one?.low ?? 0, 4), round(one?.high ?? 0, 4)]
    }
    expect(limits(1500)).toEqual([0.0455, 0.0835])
    // The published solution has 0.1382 for 100, cut where it would be rounded up.
    expect(limits(100)).toEqual([0, 0.1382])
  })

  /** The same book, chapter 15: 25 samples of five cases, centre 0.528, limits 0 and 1.503 (limits from memory). */
  it('a u chart has the textbook’s limits and the two samples that fall outside', () => {
    const defects = [3, 2, 0, 1, 4, 3, 2, 4, 1, 0, 2, 3, 2, 8, 0, 2, 4, 3, 5, 0, 2, 1, 9, 3, 2]
    const chart = uChart(defects.map(count => ({ count, of: 5 })))
    expect([chart[0]?.centre, chart[0]?.low, round(chart[0]?.high ?? 0, 3)]).toEqual([0.528, 0, 1.503])
    expect(chart.flatMap(({ isSignal }, index) => (isSignal ? [index + 1] : []))).toEqual([14, 23])
  })

  /** NIST/SEMATECH e-Handbook 6.3.2.2: ten flow rates, mean 50.81, limits 45.8159 and 55.8041 (from memory). */
  it('single values have the handbook’s limits', () => {
    const [first] = xmrChart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    expect([first?.centre, first?.low, first?.high].map(each => round(each ?? 0, 4))).toEqual([50.81, 45.8159, 55.8041])
  })

  it('one value has no limits, and is no signal', () => {
    expect(xmrChart([7])).toEqual([{ value: 7, centre: 7, low: -Infinity, high: Infinity, isSignal: false }])
  })
})

describe('run charts', () => {
  /** J. Anhøj, A. V. Olesen 2014, PLoS ONE 9(11):e113825: 24 useful points, longest run at most 8, crossings at least 8. */
  it('have the published limits for 24 points', () => {
    const zigzag = Array.from({ length: 24 }, (_, index) => (index % 2 === 0 ? 1 : 3))
    expect(runsOf(zigzag)).toEqual({
      ...{ median: 2, useful: 24, longestRun: 1, longestRunMost: 8, crossings: 23, crossingsLeast: 8 },
      isSignal: false,
    })
  })

  /** The formulas as the documentation of qicharts2 prints them: round(log2(n) + 3), qbinom(0.05, n − 1, 0.5). */
  it('have limits that grow as the published formulas do', () => {
    const limits = [10, 20, 60].map(length => {
      const { longestRunMost, crossingsLeast } = runsOf(Array.from({ length }, (_, index) => index % 2))
      return [longestRunMost, crossingsLeast]
    })
    expect(limits).toEqual([
      [6, 2],
      [7, 6],
      [9, 23],
    ])
  })

  it('tell a shift by its long run, and leave out points on the median', () => {
    const shifted = [...Array.from({ length: 10 }, (_, index) => index % 3), ...Array.from({ length: 10 }, () => 9)]
    expect(runsOf(shifted).isSignal).toBe(true)
    expect(runsOf([1, 5, 5, 9]).useful).toBe(2)
  })

  it('say nothing of fewer than ten points', () => {
    expect(runsOf([1, 1, 1, 1, 9, 9, 9, 9]).isSignal).toBe(false)
  })
})
