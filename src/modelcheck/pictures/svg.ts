/**
 * Pictures of a flow as SVG, one an A3 sheet. Urgency stands in words, black on white and white on black: no colour says
 * anything by itself, so that a copy in black and white says the same.
 */
import type { Exit, Picture } from './graph.ts'
import {
  BOX_WIDTH,
  layOut,
  type PlacedBox,
  type PlacedExit,
  type PlacedLine,
  type PlacedPart,
  type PlacedWay,
  TEXT,
} from './layout.ts'

/** What is laid over a picture, by step. */
export interface Overlay {
  /** One line that says what the marks mean. */
  readonly title: string
  /** Mark of a step; a box shows the first its steps have. */
  readonly markOf: (step: string) => string | undefined
  /** Steps drawn pale: nothing led there. */
  readonly isPale: (step: string) => boolean
}

export interface Sheet {
  readonly number: number
  readonly of: number
  readonly svg: string
}

/** A3 across, in millimetres. */
const PAGE = { width: 420, height: 297, margin: 10 } as const
const TITLE = 14
const FOOT = 5
const PART_HEAD = 9.5
const SHELF_GAP = 7

interface Placed {
  readonly drawn: PlacedPart
  readonly x: number
  readonly y: number
  /** Below 1 where the part is larger than a sheet: it is drawn smaller, so that it fits one. */
  readonly scale: number
}

export function sheetsOf(picture: Picture, overlay?: Overlay): readonly Sheet[] {
  const drawn = picture.parts.map(part => layOut(part, exit => whereTo(exit, picture)))
  const pages = packed(drawn)
  return pages.map((page, index) => ({
    number: index + 1,
    of: pages.length,
    svg: sheet(picture, page, `${index + 1} of ${pages.length}`, placesText(pages), overlay),
  }))
}

function whereTo({ to, elsewhere }: Exit, picture: Picture): string | undefined {
  if (to === undefined) return elsewhere
  const part = picture.partOf.get(to)
  const name = shortId(to)
  return part === undefined ? name : part.head === to ? `${part.number} ${name}` : `${name} (in ${part.number})`
}

const shortId = (id: string): string => id.replace(/^shared\//, '')

interface Shelf {
  readonly y: number
  readonly height: number
  readonly isLast: boolean
  readonly x: number
}

/** Parts in order, each on the first shelf of the first sheet with room for it. One that is larger than a sheet has its own. */
function packed(parts: readonly PlacedPart[]): Placed[][] {
  const pages: { placed: Placed[]; shelves: Shelf[] }[] = []
  for (const drawn of parts) {
    const scale = Math.min(1, ROOM.y / (drawn.height + PART_HEAD), ROOM.x / drawn.width)
    const height = (drawn.height + PART_HEAD) * scale
    const width = drawn.width * scale
    const page = pages.find(({ shelves }) => spotFor(shelves, width, height) !== undefined) ?? {
      placed: [],
      shelves: [],
    }
    if (!pages.includes(page)) pages.push(page)
    const spot = spotFor(page.shelves, width, height) ?? { index: 0, x: 0, y: 0 }
    page.placed.push({ drawn, x: spot.x + PAGE.margin, y: spot.y + PAGE.margin + TITLE, scale })
    const before = page.shelves[spot.index]
    page.shelves[spot.index] = {
      y: spot.y,
      x: spot.x + width + SHELF_GAP * 2,
      height: Math.max(before?.height ?? 0, height),
      isLast: true,
    }
    page.shelves.forEach((shelf, index) => {
      page.shelves[index] = { ...shelf, isLast: index === page.shelves.length - 1 }
    })
  }
  return pages.map(({ placed }) => placed)
}

const ROOM = {
  x: PAGE.width - 2 * PAGE.margin,
  y: PAGE.height - 2 * PAGE.margin - TITLE - FOOT,
} as const

/** Where on a sheet a part fits: beside what stands on a shelf, or on a new one below. */
function spotFor(shelves: readonly Shelf[], width: number, height: number) {
  for (const [index, shelf] of shelves.entries()) {
    const room = shelf.isLast ? ROOM.y - shelf.y : shelf.height
    if (shelf.x + width <= ROOM.x && height <= room) return { index, x: shelf.x, y: shelf.y }
  }
  const last = shelves.at(-1)
  const y = last === undefined ? 0 : last.y + last.height + SHELF_GAP
  return last === undefined || y + height <= ROOM.y ? { index: shelves.length, x: 0, y } : undefined
}

/** On which sheet each part is. */
function placesText(pages: readonly (readonly Placed[])[]): string {
  if (pages.length === 1) return ''
  const sheets = pages.map(
    (page, index) => `sheet ${index + 1}: ${page.map(({ drawn }) => drawn.part.number).join(', ')}`,
  )
  return `Parts on ${sheets.join(' · ')}`
}

function sheet(
  picture: Picture,
  page: readonly Placed[],
  number: string,
  places: string,
  overlay: Overlay | undefined,
): string {
  const note = overlay === undefined ? LEGEND : `${overlay.title}. ${LEGEND}`
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${PAGE.width} ${PAGE.height}" width="${PAGE.width}mm" height="${PAGE.height}mm" role="img" aria-label="${escaped(`${picture.title}, sheet ${number}`)}">`,
    STYLE,
    '<rect class="sheet" width="100%" height="100%"/>',
    `<text class="title" x="${PAGE.margin}" y="${PAGE.margin + 5}">${escaped(picture.title)}</text>`,
    `<text class="note" x="${PAGE.width - PAGE.margin}" y="${PAGE.margin + 5}" text-anchor="end">sheet ${number}</text>`,
    `<text class="note" x="${PAGE.margin}" y="${PAGE.margin + 9.5}">${escaped(note)}</text>`,
    ...page.map(placed => partSvg(placed, picture, overlay)),
    `<text class="note" x="${PAGE.margin}" y="${PAGE.height - 5}">${escaped(CAUTION)}</text>`,
    `<text class="note" x="${PAGE.width - PAGE.margin}" y="${PAGE.height - 5}" text-anchor="end">${places}</text>`,
    '</svg>',
  ].join('\n')
}

const LEGEND =
  'Read from left to right. White on black: what is decided. Bold: a question. Under the rule: each answer and where it leads. “→ 7” is part 7. Dashed line: by time.'
const CAUTION =
  'Made from the flow as it stands. A demonstration, not reviewed by clinicians: the clinic’s own protocol, its clinicians and the emergency services come first.'

const STYLE = `<style>
.sheet{fill:#fff}
text{font-family:Arial,Helvetica,"Liberation Sans",sans-serif;fill:#111}
.title{font-size:6px;font-weight:700}
.part{font-size:3.6px;font-weight:700}
.note{font-size:2.6px;font-weight:400;fill:#333}
.id{font-size:2.1px;fill:#555}
.box{fill:#fff;stroke:#111;stroke-width:.3}
.box.head{stroke-width:.6}
.rule{stroke:#111;stroke-width:.2}
.asks{font-weight:700}
.decides{font-weight:700;fill:#fff}
.bar{fill:#111}
.pages{font-style:italic}
.way{fill:none;stroke:#111;stroke-width:.3}
.timed{stroke-dasharray:1.4 1}
.end{fill:#111}
.rests{font-size:2.3px;fill:#333}
.pale{opacity:.38}
.mark{font-size:2.6px;font-weight:700;fill:#fff}
.marked .box{stroke-width:.7}
</style>`

function partSvg({ drawn, x, y, scale }: Placed, picture: Picture, overlay: Overlay | undefined): string {
  const { part } = drawn
  const entry = picture.entries.find(({ step }) => step === part.head)
  const from = fromOf(part.head, picture)
  const note = entry?.when ?? (from === '' ? (part.number === 1 ? 'The beginning' : '') : `from ${from}`)
  return [
    `<g id="part-${part.number}" transform="translate(${round(x)} ${round(y)})${scale === 1 ? '' : ` scale(${scale.toFixed(3)})`}">`,
    `<text class="part" x="0" y="3.4">${part.number}  ${escaped(shortId(part.head))}</text>`,
    `<text class="note" x="0" y="6.9">${escaped(note)}</text>`,
    `<g transform="translate(0 ${PART_HEAD - 1.5})">`,
    ...drawn.ways.map(way => waySvg(way, overlay)),
    ...drawn.boxes.map(box => boxSvg(picture, box, part.head, overlay)),
    '</g></g>',
  ].join('\n')
}

/** Numbers of other parts that lead to a step. */
function fromOf(step: string, picture: Picture): string {
  const parts = picture.parts.filter(
    part => part.head !== step && part.boxes.some(box => box.exits.some(({ to }) => to === step)),
  )
  return parts.map(({ number }) => number).join(', ')
}

function waySvg({ points, isTimed, from, to }: PlacedWay, overlay: Overlay | undefined): string {
  const [first, ...rest] = points
  if (first === undefined) return ''
  let at = first
  const path = rest.map(next => {
    const bend = (next[0] - at[0]) / 2
    const curve = `C${pair(at[0] + bend, at[1])} ${pair(next[0] - bend, next[1])} ${pair(next[0], next[1])}`
    at = next
    return curve
  })
  const pale = overlay?.isPale(from) === true || overlay?.isPale(to) === true ? ' pale' : ''
  const tip = `M${pair(at[0], at[1])}l-1.8 -.9v1.8z`
  return `<g class="${pale.trim()}"><path class="way${isTimed ? ' timed' : ''}" d="M${pair(first[0], first[1])}${path.join('')}"/><path class="end" d="${tip}"/></g>`
}

function boxSvg(
  picture: Picture,
  { box, x, y, height, lines, exits }: PlacedBox,
  head: string,
  overlay: Overlay | undefined,
): string {
  const mark = box.steps.map(step => overlay?.markOf(step)).find(each => each !== undefined)
  const isPale = overlay !== undefined && box.steps.every(step => overlay.isPale(step))
  const ruleY = exits[0] === undefined ? undefined : exits[0].top - 0.6
  const rests =
    box.rests === undefined ? undefined : box.rests === 'waits' ? 'The talk waits here.' : 'The talk ends here.'
  return [
    `<g class="${[mark === undefined ? '' : 'marked', isPale ? 'pale' : ''].join(' ').trim()}" transform="translate(${round(x)} ${round(y)})">`,
    `<rect class="box${box.id === head ? ' head' : ''}" width="${BOX_WIDTH}" height="${round(height)}" rx="1.4"/>`,
    `<text class="id" x="${BOX_WIDTH - 1.4}" y="2.7" text-anchor="end">${escaped(box.steps.map(shortId).join(' · ').slice(0, 60))}</text>`,
    ...lines.map(lineSvg),
    ruleY === undefined ? '' : `<path class="rule" d="M0 ${round(ruleY)}h${BOX_WIDTH}"/>`,
    ...exits.map(placedExit => exitSvg(placedExit, picture)),
    rests === undefined ? '' : `<text class="rests" x="1.6" y="${round(height - 1.6)}">${rests}</text>`,
    mark === undefined ? '' : markSvg(mark),
    '</g>',
  ].join('')
}

function markSvg(mark: string): string {
  const width = 2.4 + mark.length * 1.45
  return `<rect class="bar" x=".6" y=".5" width="${round(width)}" height="3" rx=".8"/><text class="mark" x="${round(width / 2 + 0.6)}" y="2.9" text-anchor="middle">${escaped(mark)}</text>`
}

function lineSvg({ kind, lines, top, height }: PlacedLine): string {
  const bar =
    kind === 'decides'
      ? `<rect class="bar" x=".8" y="${round(top - 0.2)}" width="${BOX_WIDTH - 1.6}" height="${round(height + 0.4)}"/>`
      : ''
  return `${bar}${textSvg(kind, lines, top)}`
}

function exitSvg({ lines, top, height, exit }: PlacedExit, picture: Picture): string {
  const isOpen = exit.to !== undefined && !lines.join(' ').includes('→')
  const port = isOpen ? `<circle class="end" cx="${BOX_WIDTH}" cy="${round(top + height / 2)}" r=".6"/>` : ''
  const text = textSvg('exit', exit.isTimed ? lines.map((line, i) => (i === 0 ? `◷ ${line}` : line)) : lines, top)
  const link = isOpen ? undefined : linkOf(exit, picture)
  return `${link === undefined ? text : `<a href="${link}">${text}</a>`}${port}`
}

/** Where a written way leads when it is followed on a screen. */
function linkOf({ to, elsewhere }: Exit, picture: Picture): string | undefined {
  const part = to === undefined ? undefined : picture.partOf.get(to)
  if (part !== undefined) return `#part-${part.number}`
  return elsewhere?.startsWith('shared') === true ? 'shared.html' : undefined
}

function textSvg(kind: keyof typeof TEXT, lines: readonly string[], top: number): string {
  const { height, size } = TEXT[kind]
  const spans = lines.map(
    (line, index) => `<tspan x="1.6" y="${round(top + height * index + size)}">${escaped(line)}</tspan>`,
  )
  return `<text class="${kind}" font-size="${size}">${spans.join('')}</text>`
}

const pair = (x: number, y: number): string => `${round(x)} ${round(y)}`

const round = (value: number): number => Math.round(value * 100) / 100

function escaped(text: string): string {
  return text.replace(
    /[&<>"]/g,
    character => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[character] ?? '',
  )
}
