/**
 * SPIN takes at most 2,048 statements in one `d_step` (MAXDSTEP in its source). What an event does is therefore cut, at
 * labels, into several; a jump from one to another goes by a number. All of them run in one `atomic`, so nothing between
 * them is kept as a state.
 */

/** Statements in one piece at most, as counted here; well below the limit, since SPIN adds some of its own. */
const PIECE_MOST = 1100

interface Section {
  readonly label: string
  readonly lines: readonly string[]
}

/** Lines that begin with `label:` start a section; the first section is where every event begins. */
export function inPieces(lines: readonly string[]): string[] {
  const pieces = piecesOf(sectionsOf(lines))
  const number = new Map(pieces.flat().map(({ label }, index) => [label, index + 1]))
  const pieceOf = new Map(pieces.flatMap((piece, index) => piece.map(({ label }) => [label, index])))
  const options = pieces.flatMap((piece, index) => {
    const first = number.get(piece[0]?.label ?? '') ?? 0
    const jumpsIn = new Set(
      pieces.flatMap((other, from) => (from === index ? [] : other.flatMap(({ lines }) => lines.flatMap(targetsIn)))),
    )
    const next = pieces[index + 1]?.[0]?.label
    const before = pieces[index - 1]
    const entries = piece.filter(
      ({ label }, at) => jumpsIn.has(label) || (at === 0 && (index === 0 || before !== undefined)),
    )
    const jump = (label: string): string =>
      pieceOf.get(label) === index ? `goto ${label}` : `next = ${number.get(label) ?? 0}; goto out_${index}`
    return [
      `:: next >= ${first} && next < ${first + piece.length} ->`,
      '  d_step {',
      ...entryLines(entries.map(({ label }) => [number.get(label) ?? 0, label] as const)),
      ...piece.flatMap(({ label, lines: own }) => [`  ${label}:`, ...own.map(line => `  ${rewritten(line, jump)}`)]),
      ...(next === undefined ? [] : [`  next = ${number.get(next) ?? 0};`]),
      `  out_${index}: skip`,
      '  }',
    ]
  })
  return ['next = 1;', 'do', ':: next == 0 -> break', ...options, 'od']
}

function sectionsOf(lines: readonly string[]): Section[] {
  const sections: { label: string; lines: string[] }[] = []
  for (const line of lines) {
    const [, label, rest = ''] = /^([a-z]\w*):(?!:)\s*(.*)$/.exec(line) ?? []
    if (label !== undefined) {
      sections.push({ label, lines: rest === '' ? ['skip;'] : [rest] })
      continue
    }
    sections.at(-1)?.lines.push(line)
  }
  return sections
}

function piecesOf(sections: readonly Section[]): Section[][] {
  const pieces: Section[][] = []
  let size = Number.POSITIVE_INFINITY
  for (const section of sections) {
    const own = section.lines.reduce((sum, line) => sum + (line.match(/;|::|->/g)?.length ?? 0), 2)
    if (size + own > PIECE_MOST) {
      pieces.push([])
      size = 0
    }
    pieces.at(-1)?.push(section)
    size += own
  }
  return pieces
}

const JUMP = /goto (\w+)/g
const targetsIn = (line: string): string[] => [...line.matchAll(JUMP)].flatMap(([, label]) => label ?? [])
const rewritten = (line: string, jump: (label: string) => string): string =>
  line.replace(JUMP, (_, label: string) => jump(label))

/** To the label of a number, by halves. */
function entryLines(entries: readonly (readonly [number, string])[]): string[] {
  if (entries.length <= 1) return [`  goto ${entries[0]?.[1] ?? 'nowhere'};`]
  const middle = Math.floor(entries.length / 2)
  return [
    '  if',
    `  :: next < ${entries[middle]?.[0] ?? 0} ->`,
    ...entryLines(entries.slice(0, middle)),
    '  :: else ->',
    ...entryLines(entries.slice(middle)),
    '  fi;',
  ]
}
