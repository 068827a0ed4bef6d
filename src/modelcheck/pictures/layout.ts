/**
 * Where the boxes of one part stand. Columns are given (longest way from the head); within a column boxes are put in the
 * order that crosses fewest lines, by the median of their neighbours, and then as near to those as room allows. The way
 * of drawing in layers: Sugiyama, Tagawa and Toda, "Methods for visual understanding of hierarchical system structures",
 * 1981; medians: Eades and Wormald 1994. Lengths are millimetres.
 */
import type { Box, Exit, Part } from './graph.ts'

export const BOX_WIDTH = 56
const COLUMN_GAP = 12
const ROW_GAP = 4
const DUMMY_HEIGHT = 2.4
/** Height of a line of text and size of its letters, by kind of line. */
export const TEXT = {
  asks: { height: 3.6, size: 3 },
  decides: { height: 3.8, size: 3 },
  says: { height: 3.3, size: 2.75 },
  pages: { height: 3.3, size: 2.75 },
  does: { height: 3.3, size: 2.75 },
  exit: { height: 3.4, size: 2.75 },
} as const
const PAD = 1.6
const HEAD = 3.9

export interface PlacedLine {
  readonly kind: keyof typeof TEXT
  readonly lines: readonly string[]
  /** Top of the block, from the top of the box. */
  readonly top: number
  readonly height: number
}

export interface PlacedExit extends PlacedLine {
  readonly exit: Exit
}

export interface PlacedBox {
  readonly box: Box
  readonly x: number
  readonly y: number
  readonly height: number
  readonly lines: readonly PlacedLine[]
  readonly exits: readonly PlacedExit[]
}

/** A drawn way: points from an exit of a box, through gaps, to the left side of another. */
export interface PlacedWay {
  readonly from: string
  readonly to: string
  readonly isTimed: boolean
  readonly points: readonly (readonly [number, number])[]
}

export interface PlacedPart {
  readonly part: Part
  readonly width: number
  readonly height: number
  readonly boxes: readonly PlacedBox[]
  readonly ways: readonly PlacedWay[]
}

/** How an exit ends where no line is drawn: in words, after its label. */
export type Elsewhere = (exit: Exit) => string | undefined

interface Vertex {
  readonly id: string
  readonly column: number
  readonly height: number
  /** Sized contents; undefined for the place where a long line passes a column. */
  readonly sized?: Omit<PlacedBox, 'x' | 'y'>
  y: number
}

interface Link {
  readonly from: string
  readonly to: string
  /** Height of the exit within its box. */
  readonly port: number
}

export function layOut(part: Part, elsewhere: Elsewhere): PlacedPart {
  const vertices = new Map<string, Vertex>()
  const links: Link[] = []
  const chains: { from: string; to: string; port: number; isTimed: boolean; through: string[] }[] = []
  for (const box of part.boxes) {
    const sized = sizeOf(box, exit => (isDrawn(part, box, exit) ? undefined : elsewhere(exit)))
    vertices.set(box.id, { id: box.id, column: part.columnOf.get(box.id) ?? 0, height: sized.height, sized, y: 0 })
  }
  for (const vertex of [...vertices.values()]) {
    for (const { exit, top, height } of vertex.sized?.exits ?? []) {
      if (exit.to === undefined || !isDrawn(part, (vertex.sized as PlacedBox).box, exit)) continue
      const port = top + height / 2
      const through: string[] = []
      let last = { id: vertex.id, port }
      for (let column = vertex.column + 1; column < (part.columnOf.get(exit.to) ?? 0); column++) {
        const id = `${vertex.id}>${exit.to}@${column}`
        if (!vertices.has(id)) {
          vertices.set(id, { id, column, height: DUMMY_HEIGHT, y: 0 })
          links.push({ from: last.id, to: id, port: last.port })
        }
        through.push(id)
        last = { id, port: DUMMY_HEIGHT / 2 }
      }
      links.push({ from: last.id, to: exit.to, port: last.port })
      chains.push({ from: vertex.id, to: exit.to, port, isTimed: exit.isTimed, through })
    }
  }
  const columns = columnsOf([...vertices.values()])
  order(columns, links)
  settle(columns, links, vertices)
  return placed(part, vertices, chains, columns.length)
}

/** A line is drawn to a box further right; a way back to the left is written. */
function isDrawn(part: Part, box: Box, exit: Exit): boolean {
  const to = exit.to === undefined ? undefined : part.columnOf.get(exit.to)
  return to !== undefined && to > (part.columnOf.get(box.id) ?? 0)
}

/** Contents of a box with their heights. `written`: words after an exit without a line. */
function sizeOf(box: Box, written: Elsewhere): Omit<PlacedBox, 'x' | 'y'> {
  let y = HEAD
  const lines = box.lines.map(line => {
    const block = blockOf(line.kind, line.kind === 'pages' ? `Page: ${line.text}` : line.text, y)
    y += block.height + 0.5
    return block
  })
  y += 0.6
  const exits = box.exits.map(exit => {
    const to = written(exit)
    const block = blockOf('exit', to === undefined ? exit.text : `${exit.text} → ${to}`, y)
    y += block.height + 0.7
    return { ...block, exit }
  })
  return { box, height: y + PAD - 0.7 + (box.rests === undefined ? 0 : 3), lines, exits }
}

function blockOf(kind: keyof typeof TEXT, text: string, top: number): PlacedLine {
  const isBold = kind === 'asks' || kind === 'decides'
  const lines = fitted(text, (BOX_WIDTH - 2 * PAD) / (TEXT[kind].size * (isBold ? 1.07 : 1)))
  return { kind, lines, top, height: lines.length * TEXT[kind].height }
}

/** Words in lines of at most `ems` letter heights. Widths are those of common sans-serif letters, a little on the wide side. */
function fitted(text: string, ems: number): readonly string[] {
  const lines: string[] = []
  let now = ''
  let width = 0
  for (const word of text.split(' ')) {
    const own = [...word].reduce((sum, letter) => sum + emOf(letter), 0)
    if (now !== '' && width + SPACE_EM + own > ems) {
      lines.push(now)
      now = word
      width = own
    } else {
      width += now === '' ? own : SPACE_EM + own
      now = now === '' ? word : `${now} ${word}`
    }
  }
  return [...lines, now]
}

const SPACE_EM = 0.29

function emOf(letter: string): number {
  if (/[ijl.,:;'|!()[\]‹›]/.test(letter)) return 0.29
  if (/[ftrI/“”-]/.test(letter)) return 0.36
  if (/[mwMW→◷]/.test(letter)) return 0.9
  return /[A-Z]/.test(letter) ? 0.7 : 0.56
}

function columnsOf(vertices: readonly Vertex[]): Vertex[][] {
  const columns: Vertex[][] = []
  for (const vertex of vertices) {
    while (columns.length <= vertex.column) columns.push([])
    columns[vertex.column]?.push(vertex)
  }
  return columns
}

const SWEEPS = 12

/** Sorts each column by the median of its neighbours, to and fro, and keeps the order that crosses fewest lines. */
function order(columns: Vertex[][], links: readonly Link[]): void {
  let best = columns.map(column => [...column])
  let fewest = crossings(best, links)
  for (let sweep = 0; sweep < SWEEPS && fewest > 0; sweep++) {
    const isOnward = sweep % 2 === 0
    for (let i = 0; i < columns.length; i++) {
      const at = isOnward ? i : columns.length - 1 - i
      sortByMedian(columns, at, links, isOnward)
    }
    const count = crossings(columns, links)
    if (count < fewest) {
      fewest = count
      best = columns.map(column => [...column])
    }
  }
  for (const [index, column] of best.entries()) columns[index] = column
}

function sortByMedian(columns: Vertex[][], at: number, links: readonly Link[], isOnward: boolean): void {
  const column = columns[at] as Vertex[]
  const beside = columns[isOnward ? at - 1 : at + 1]
  if (beside === undefined) return
  const placeOf = new Map(beside.map((vertex, place) => [vertex.id, place]))
  const key = new Map(
    column.map((vertex, place) => {
      const places = links
        .flatMap(link => {
          const isMine = isOnward ? link.to === vertex.id : link.from === vertex.id
          const other = placeOf.get(isOnward ? link.from : link.to)
          // The height of the exit decides between ways from one box.
          return isMine && other !== undefined ? other + (isOnward ? link.port / 1000 : 0) : []
        })
        .toSorted((a, b) => a - b)
      const middle = Math.floor((places.length - 1) / 2)
      return [vertex.id, places.length === 0 ? place : (places[middle] as number)]
    }),
  )
  columns[at] = column.toSorted((a, b) => (key.get(a.id) as number) - (key.get(b.id) as number))
}

/** Pairs of lines between neighbouring columns that cross. */
export function crossings(
  columns: readonly (readonly { readonly id: string }[])[],
  links: readonly { readonly from: string; readonly to: string; readonly port: number }[],
): number {
  const place = new Map(columns.flatMap(column => column.map((vertex, index) => [vertex.id, index] as const)))
  const columnOf = new Map(columns.flatMap((column, at) => column.map(vertex => [vertex.id, at] as const)))
  let count = 0
  for (let a = 0; a < links.length; a++) {
    for (let b = a + 1; b < links.length; b++) {
      const [one, two] = [links[a] as Link, links[b] as Link]
      if (columnOf.get(one.from) !== columnOf.get(two.from)) continue
      const from = (place.get(one.from) ?? 0) - (place.get(two.from) ?? 0) || (one.port - two.port) / 1000
      const to = (place.get(one.to) ?? 0) - (place.get(two.to) ?? 0)
      if (from * to < 0) count++
    }
  }
  return count
}

/** Heights: first stacked, then drawn towards the lines that come in and go out, without overlapping. */
function settle(columns: readonly Vertex[][], links: readonly Link[], vertices: ReadonlyMap<string, Vertex>): void {
  for (const column of columns) stack(column, () => 0)
  for (let round = 0; round < 8; round++) {
    for (const column of round % 2 === 0 ? columns : columns.toReversed()) {
      const wish = new Map(column.map(vertex => [vertex.id, wishOf(vertex, links, vertices, round % 2 === 0)]))
      stack(column, vertex => wish.get(vertex.id) ?? vertex.y)
    }
  }
  const top = Math.min(...[...vertices.values()].map(({ y }) => y))
  for (const vertex of vertices.values()) vertex.y -= top
}

function wishOf(
  vertex: Vertex,
  links: readonly Link[],
  vertices: ReadonlyMap<string, Vertex>,
  isFromLeft: boolean,
): number {
  const entry = Math.min(vertex.height / 2, HEAD)
  const wishes = links.flatMap(({ from, to, port }) => {
    if (isFromLeft && to === vertex.id) return (vertices.get(from)?.y ?? 0) + port - entry
    if (!isFromLeft && from === vertex.id) return (vertices.get(to)?.y ?? 0) + HEAD - port
    return []
  })
  if (wishes.length === 0) return vertex.y
  return wishes.reduce((sum, each) => sum + each, 0) / wishes.length
}

/** Puts each as near to its wish as the ones above and below leave room: groups that touch share the mean of their wishes. */
function stack(column: readonly Vertex[], wish: (vertex: Vertex) => number): void {
  const groups: { vertices: Vertex[]; at: number; height: number }[] = []
  for (const vertex of column) {
    groups.push({ vertices: [vertex], at: wish(vertex), height: vertex.height })
    for (;;) {
      const [above, below] = groups.slice(-2)
      if (groups.length < 2 || above === undefined || below === undefined) break
      if (above.at + above.height + ROW_GAP <= below.at) break
      const total = above.vertices.length + below.vertices.length
      const shifted = below.at - above.height - ROW_GAP
      groups.splice(-2, 2, {
        vertices: [...above.vertices, ...below.vertices],
        at: (above.at * above.vertices.length + shifted * below.vertices.length) / total,
        height: above.height + ROW_GAP + below.height,
      })
    }
  }
  for (const group of groups) {
    let y = group.at
    for (const vertex of group.vertices) {
      vertex.y = y
      y += vertex.height + ROW_GAP
    }
  }
}

function placed(
  part: Part,
  vertices: ReadonlyMap<string, Vertex>,
  chains: readonly { from: string; to: string; port: number; isTimed: boolean; through: readonly string[] }[],
  columns: number,
): PlacedPart {
  const xOf = (column: number) => column * (BOX_WIDTH + COLUMN_GAP)
  const boxes = part.boxes.map(box => {
    const vertex = vertices.get(box.id) as Vertex
    return { ...(vertex.sized as Omit<PlacedBox, 'x' | 'y'>), x: xOf(vertex.column), y: vertex.y }
  })
  const ways = chains.map(({ from, to, port, isTimed, through }): PlacedWay => {
    const [a, b] = [vertices.get(from) as Vertex, vertices.get(to) as Vertex]
    const middle = through.flatMap((id): (readonly [number, number])[] => {
      const vertex = vertices.get(id) as Vertex
      const y = vertex.y + DUMMY_HEIGHT / 2
      return [
        [xOf(vertex.column), y],
        [xOf(vertex.column) + BOX_WIDTH, y],
      ]
    })
    const points: (readonly [number, number])[] = [
      [xOf(a.column) + BOX_WIDTH, a.y + port],
      ...middle,
      [xOf(b.column), b.y + HEAD],
    ]
    return { from, to, isTimed, points }
  })
  return {
    part,
    width: xOf(columns - 1) + BOX_WIDTH,
    height: Math.max(...[...vertices.values()].map(({ y, height }) => y + height)),
    boxes,
    ways,
  }
}
