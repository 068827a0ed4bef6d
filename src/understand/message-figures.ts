/** How well first messages are understood, held against labelled lines. */

/** A line as labelled: the concern, or any of several; the danger signs that must be found. */
export interface LabelledMessage {
  readonly id: string
  readonly concern: string | readonly string[]
  readonly danger: readonly string[]
}

/** The line as it was read. */
export interface MessageRow {
  readonly id: string
  /** Null: buttons are shown. Several: most urgent first. */
  readonly concern: string | readonly string[] | null
  readonly danger: readonly string[]
  /** The words that decided, each after the id it stands for. */
  readonly because: readonly string[]
}

export interface MessageFigures {
  readonly danger: {
    /** Share of labelled signs that were found; 1 where none is labelled. */
    readonly recall: number
    /** Share of the signs found that are labelled; 1 where none was found. */
    readonly precision: number
    /** Ids of lines with a sign not found. */
    readonly missed: readonly string[]
    /** Ids of lines with a sign found that is not labelled. */
    readonly false: readonly string[]
  }
  /** Numbers of lines. Right: the concern asked about first is among those labelled. */
  readonly concern: {
    readonly right: number
    readonly asked: number
    readonly wrong: number
    readonly rightOrAsked: number
  }
}

/** `rows` in the order of `labelled`; a line without a row counts for nothing. */
export function messageFigures(labelled: readonly LabelledMessage[], rows: readonly MessageRow[]): MessageFigures {
  const pairs = labelled.flatMap((line, at) => (rows[at] === undefined ? [] : [{ line, row: rows[at] }]))
  const found = sum(pairs, ({ line, row }) => line.danger.filter(sign => row.danger.includes(sign)).length)
  const wanted = sum(pairs, ({ line }) => line.danger.length)
  const said = sum(pairs, ({ row }) => row.danger.length)
  const verdicts = pairs.map(({ line, row }) => concernVerdict(line, row))
  const count = (verdict: string): number => verdicts.filter(each => each === verdict).length
  const idsWhere = (isSo: (pair: (typeof pairs)[number]) => boolean): string[] =>
    pairs.filter(isSo).map(({ line }) => line.id)
  return {
    danger: {
      recall: wanted === 0 ? 1 : found / wanted,
      precision: said === 0 ? 1 : found / said,
      missed: idsWhere(({ line, row }) => line.danger.some(sign => !row.danger.includes(sign))),
      false: idsWhere(({ line, row }) => row.danger.some(sign => !line.danger.includes(sign))),
    },
    concern: {
      right: count('right'),
      asked: count('asked'),
      wrong: count('wrong'),
      rightOrAsked: count('right') + count('asked'),
    },
  }
}

function concernVerdict(line: LabelledMessage, row: MessageRow): 'right' | 'asked' | 'wrong' {
  const [first] = [row.concern ?? []].flat()
  if (first === undefined) return 'asked'
  return [line.concern].flat().includes(first) ? 'right' : 'wrong'
}

const sum = <T>(list: readonly T[], of: (one: T) => number): number => list.reduce((total, one) => total + of(one), 0)
