/**
 * Small counts hidden so that no subtraction brings them back.
 *
 * A table with its totals is seen as water in pipes: every count is a pipe, every total is what flows in or out where pipes
 * meet. A hidden pipe is safe while its amount could be changed by so much, others that are hidden making up for it, without
 * anything that is shown becoming another. Where it could not, more is hidden. That is cell suppression with its second step,
 * as in A. Hundepool and others, Statistical Disclosure Control, 2012.
 */

/** Counts below this are hidden; 0 hides nobody and is shown. */
export const SMALL_BELOW = 5
/** By how much a hidden count could be another at least, as far as a reader of the whole table can tell. */
const PLAY_LEAST = SMALL_BELOW - 1

/** A count, or that it is not told. */
export type Told = number | 'hidden'

export interface ToldTable {
  readonly cells: readonly (readonly Told[])[]
  readonly rowTotals: readonly Told[]
  readonly columnTotals: readonly Told[]
  readonly total: Told
}

interface Pipe {
  readonly from: number
  readonly to: number
  readonly amount: number
  hidden: boolean
}

/** @param cells  whole counts, rows of the same length */
export function toldTable(cells: readonly (readonly number[])[]): ToldTable {
  const width = cells[0]?.length ?? 0
  const sum = (all: readonly number[]) => all.reduce((one, other) => one + other, 0)
  const rowTotals = cells.map(sum)
  const columnTotals = Array.from({ length: width }, (_, column) => sum(cells.map(row => row[column] ?? 0)))
  const [source, sink] = [0, 1]
  const rowNode = (row: number) => 2 + row
  const columnNode = (column: number) => 2 + cells.length + column
  const rowPipes = rowTotals.map((amount, row) => pipe(source, rowNode(row), amount))
  const columnPipes = columnTotals.map((amount, column) => pipe(columnNode(column), sink, amount))
  const cellPipes = cells.map((row, at) => row.map((amount, column) => pipe(rowNode(at), columnNode(column), amount)))
  const all = pipe(sink, source, sum(rowTotals))
  protect([...cellPipes.flat(), ...rowPipes, ...columnPipes, all], 2 + cells.length + width)
  return {
    cells: cellPipes.map(row => row.map(told)),
    rowTotals: rowPipes.map(told),
    columnTotals: columnPipes.map(told),
    total: told(all),
  }
}

/** Counts that make up a total which is shown as well. */
export function toldList(counts: readonly number[]): { readonly counts: readonly Told[]; readonly total: Told } {
  const pipes = counts.map(amount => pipe(0, 1, amount))
  const all = pipe(
    1,
    0,
    counts.reduce((sum, count) => sum + count, 0),
  )
  protect([...pipes, all], 2)
  return { counts: pipes.map(told), total: told(all) }
}

/** A count that is part of one other: hidden where it or the rest is small, since either gives the other away. */
export function toldPart(count: number, of: number): Told {
  return isSmall(count) || isSmall(of - count) || isSmall(of) ? 'hidden' : count
}

/** A count that makes up nothing else that is told. */
export const toldAlone = (count: number): Told => (isSmall(count) ? 'hidden' : count)

const isSmall = (count: number): boolean => count > 0 && count < SMALL_BELOW
const pipe = (from: number, to: number, amount: number): Pipe => ({ from, to, amount, hidden: isSmall(amount) })
const told = ({ amount, hidden }: Pipe): Told => (hidden ? 'hidden' : amount)

/** Hides more until every small amount has play. Ends, since each round hides one more, and with all hidden all have. */
function protect(pipes: readonly Pipe[], nodes: number): void {
  for (;;) {
    const small = pipes.filter(({ amount }) => isSmall(amount))
    const bare = small.find(one => playOf(one, pipes, nodes) < PLAY_LEAST)
    const next = bare === undefined ? undefined : cheapest(bare, pipes)
    if (next === undefined) return
    next.hidden = true
  }
}

/** The pipe to hide beside: the smallest at the same end, some amount before none; else the smallest anywhere. */
function cheapest(bare: Pipe, pipes: readonly Pipe[]): Pipe | undefined {
  const shown = pipes.filter(({ hidden }) => !hidden)
  const touching = shown.filter(({ from, to }) => [from, to].some(end => end === bare.from || end === bare.to))
  const smallest = (all: readonly Pipe[]) =>
    [...all].sort((a, b) => (a.amount || Number.MAX_VALUE) - (b.amount || Number.MAX_VALUE))[0]
  return smallest(touching) ?? smallest(shown)
}

/** By how much the amount could be another: up and down together, counted no further than needed. */
function playOf(one: Pipe, pipes: readonly Pipe[], nodes: number): number {
  const up = roomBetween(one.to, one.from, one, pipes, nodes, PLAY_LEAST)
  const down = Math.min(one.amount, roomBetween(one.from, one.to, one, pipes, nodes, PLAY_LEAST))
  return up + down
}

/** How much could be led through other hidden pipes, forward without bound, backward as far as something flows. */
function roomBetween(
  start: number,
  end: number,
  without: Pipe,
  pipes: readonly Pipe[],
  nodes: number,
  most: number,
): number {
  const usable = pipes.filter(each => each.hidden && each !== without)
  const amounts = usable.map(({ amount }) => amount)
  for (let room = 0; room < most; room++) {
    const way = wayBetween(start, end, usable, amounts, nodes)
    if (way === undefined) return room
    for (const { at, change } of way) amounts[at] = (amounts[at] ?? 0) + change
  }
  return most
}

interface Move {
  readonly at: number
  readonly change: 1 | -1
}

function wayBetween(
  start: number,
  end: number,
  pipes: readonly Pipe[],
  amounts: readonly number[],
  nodes: number,
): readonly Move[] | undefined {
  const cameBy = new Array<{ from: number; move: Move } | undefined>(nodes)
  const queue = [start]
  for (let node = queue.shift(); node !== undefined && node !== end; node = queue.shift()) {
    const here = node
    pipes.forEach(({ from, to }, at) => {
      const ahead = from === here ? to : to === here && (amounts[at] ?? 0) > 0 ? from : undefined
      if (ahead === undefined || ahead === start || cameBy[ahead] !== undefined) return
      cameBy[ahead] = { from: here, move: { at, change: from === here ? 1 : -1 } }
      queue.push(ahead)
    })
  }
  const moves: Move[] = []
  for (let node = end; node !== start; ) {
    const came = cameBy[node]
    if (came === undefined) return undefined
    moves.push(came.move)
    node = came.from
  }
  return moves
}
