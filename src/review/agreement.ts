import { Z_95 } from './proportion.ts'

/** How two reviewers answered the same yes-or-no item, case by case. */
export interface TwoByTwo {
  readonly bothYes: number
  readonly firstYesOnly: number
  readonly secondYesOnly: number
  readonly bothNo: number
}

/** A coefficient of agreement: 1 is perfect, 0 is what chance alone would bring. */
export interface Coefficient {
  /** NaN where it is not defined: nothing was answered twice, or both said the same of every case. */
  readonly value: number
  readonly standardError: number
  readonly low: number
  readonly high: number
}

export interface Agreement {
  /** Cases that both answered. */
  readonly cases: number
  /** Share of cases with the same answer from both. */
  readonly raw: number
  readonly kappa: Coefficient
  /** Stands the prevalence paradox: high agreement on something rare is not taken for chance. */
  readonly ac1: Coefficient
  /** Prevalence- and bias-adjusted kappa: twice the raw agreement, less one. */
  readonly pabak: number
  /** How far apart the shares of "both yes" and "both no" are, 0 to 1: near 1, kappa says little. */
  readonly prevalence: number
  /** How far apart the two reviewers' shares of "yes" are, 0 to 1. */
  readonly bias: number
}

/**
 * Agreement of two reviewers on a yes-or-no item, said in four ways, because each alone misleads.
 *
 * Kappa: J. Cohen 1960; its standard error: J. L. Fleiss, J. Cohen, B. S. Everitt 1969, Psychol Bull 72:323-327. AC1 and its
 * variance: K. L. Gwet 2008, Br J Math Stat Psychol 61:29-48. Prevalence, bias, PABAK: T. Byrt, J. Bishop, J. B. Carlin 1993,
 * J Clin Epidemiol 46:423-429.
 */
export function agreementOf(table: TwoByTwo): Agreement {
  const { bothYes, firstYesOnly, secondYesOnly, bothNo } = table
  const cases = bothYes + firstYesOnly + secondYesOnly + bothNo
  const raw = (bothYes + bothNo) / cases
  return {
    cases,
    raw,
    kappa: kappaOf(table, cases),
    ac1: ac1Of(table, cases),
    pabak: 2 * raw - 1,
    prevalence: Math.abs(bothYes - bothNo) / cases,
    bias: Math.abs(firstYesOnly - secondYesOnly) / cases,
  }
}

/** The table of answers given in pairs, first reviewer first. */
export function tableOf(pairs: readonly (readonly [first: boolean, second: boolean])[]): TwoByTwo {
  const count = (first: boolean, second: boolean) =>
    pairs.filter(pair => pair[0] === first && pair[1] === second).length
  return {
    bothYes: count(true, true),
    firstYesOnly: count(true, false),
    secondYesOnly: count(false, true),
    bothNo: count(false, false),
  }
}

function kappaOf({ bothYes, firstYesOnly, secondYesOnly, bothNo }: TwoByTwo, cases: number): Coefficient {
  const cell = [
    [bothYes / cases, firstYesOnly / cases],
    [secondYesOnly / cases, bothNo / cases],
  ] as const
  const row = [cell[0][0] + cell[0][1], cell[1][0] + cell[1][1]] as const
  const column = [cell[0][0] + cell[1][0], cell[0][1] + cell[1][1]] as const
  const observed = cell[0][0] + cell[1][1]
  const expected = row[0] * column[0] + row[1] * column[1]
  if (!(cases > 0) || expected === 1) return UNDEFINED
  const kappa = (observed - expected) / (1 - expected)
  const agreed =
    cell[0][0] * (1 - (row[0] + column[0]) * (1 - kappa)) ** 2 +
    cell[1][1] * (1 - (row[1] + column[1]) * (1 - kappa)) ** 2
  const differed = (1 - kappa) ** 2 * (cell[0][1] * (column[0] + row[1]) ** 2 + cell[1][0] * (column[1] + row[0]) ** 2)
  const variance = (agreed + differed - (kappa - expected * (1 - kappa)) ** 2) / (cases * (1 - expected) ** 2)
  return coefficient(kappa, variance)
}

function ac1Of({ bothYes, firstYesOnly, secondYesOnly, bothNo }: TwoByTwo, cases: number): Coefficient {
  if (!(cases > 1)) return UNDEFINED
  const observed = (bothYes + bothNo) / cases
  const yes = (2 * bothYes + firstYesOnly + secondYesOnly) / (2 * cases)
  const chance = 2 * yes * (1 - yes)
  const ac1 = (observed - chance) / (1 - chance)
  // Gwet 2008, expression for two categories: each case's own share, less what its answers add to chance.
  const own = (agrees: boolean, share: number) => {
    const agreed = ((agrees ? 1 : 0) - chance) / (1 - chance)
    const byChance = share * (1 - yes) + (1 - share) * yes
    return agreed - (2 * (1 - ac1) * (byChance - chance)) / (1 - chance)
  }
  const squares =
    bothYes * (own(true, 1) - ac1) ** 2 +
    (firstYesOnly + secondYesOnly) * (own(false, 0.5) - ac1) ** 2 +
    bothNo * (own(true, 0) - ac1) ** 2
  return coefficient(ac1, squares / (cases * (cases - 1)))
}

const UNDEFINED: Coefficient = { value: Number.NaN, standardError: Number.NaN, low: Number.NaN, high: Number.NaN }

function coefficient(value: number, variance: number): Coefficient {
  const standardError = Math.sqrt(Math.max(0, variance))
  return {
    value,
    standardError,
    low: Math.max(-1, value - Z_95 * standardError),
    high: Math.min(1, value + Z_95 * standardError),
  }
}
