import type { Told } from './suppression.ts'

/** A number as it is shown, words, or a count that is not told. */
export type FigureCell = string | number | { readonly hidden: true } | { readonly none: true }

export const HIDDEN: FigureCell = { hidden: true }
/** Nothing to say: too many still wait, or there was nobody. */
export const NONE: FigureCell = { none: true }

/** One table of figures, the same for a terminal, a file and a page. Small counts are hidden already. */
export interface FigureTable {
  readonly id: string
  readonly title: string
  /** What it means and how it is worked out, in a sentence or two. */
  readonly says: string
  readonly head: readonly string[]
  readonly rows: readonly (readonly FigureCell[])[]
  /** What is drawn beside it. */
  readonly plot?: Plot
}

export type Plot =
  /** One bar a row: the column of its amount. */
  | { readonly kind: 'bars'; readonly column: number }
  /** Share still waiting by time, in minutes. */
  | {
      readonly kind: 'curves'
      readonly curves: readonly { readonly name: string; readonly points: readonly CurvePoint[] }[]
    }
  /** A value a period with its limits. */
  | { readonly kind: 'control'; readonly unit: string; readonly points: readonly ControlPoint[] }

export interface CurvePoint {
  readonly minutes: number
  readonly waiting: number
  readonly low: number
  readonly high: number
}

export interface ControlPoint {
  readonly name: string
  /** Undefined where it is not told. */
  readonly value: number | undefined
  readonly centre: number
  readonly low: number
  readonly high: number
  readonly isSignal: boolean
}

export const told = (count: Told): FigureCell => (count === 'hidden' ? HIDDEN : count)

/** As it stands in a text, a page or a file. */
export function cellText(cell: FigureCell): string | number {
  if (typeof cell !== 'object') return cell
  return 'hidden' in cell ? 'not shown' : '–'
}
