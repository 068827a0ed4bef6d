import {
  Document,
  isCollection,
  isMap,
  isPair,
  isScalar,
  isSeq,
  type Node,
  parseDocument,
  Scalar,
  visit,
  type YAMLSeq,
} from 'yaml'

/**
 * Small edits of a YAML text that leave every other character where it was: comments, order, quotes, empty lines. The
 * document says where things stand; the text is cut and joined. Each edit gives the new text, or throws `SpliceFailed`.
 */
export class SpliceFailed extends Error {
  override readonly name = 'SpliceFailed'
}

type Key = string | number

/** A value on one line, as this house writes it: `{ on-call: first, who: amara }`. Texts named in `quoted` stand in quotes. */
export function oneLine(value: unknown, quoted: readonly string[] = []): string {
  const document = new Document(value)
  visit(document, {
    Scalar: (_key, node) => {
      if (typeof node.value === 'string' && /[\r\n\t]/.test(node.value)) node.type = Scalar.QUOTE_DOUBLE
    },
    Collection: (_key, node) => {
      node.flow = true
    },
    Pair: (_key, pair) => {
      if (isScalar(pair.key) && isScalar(pair.value) && quoted.includes(String(pair.key.value)))
        pair.value.type = Scalar.QUOTE_DOUBLE
    },
  })
  return document
    .toString({ lineWidth: 0, flowCollectionPadding: true, doubleQuotedMinMultiLineLength: 1_000_000 })
    .trim()
}

/** Adds an item at the end of the list that stands under `section`; makes the section at the end where there is none. */
export function withItem(text: string, section: string, item: string): string {
  const ending = endingOf(text)
  const list = nodeAt(text, [section])
  if (list === undefined) {
    const pair = pairAt(text, section)
    if (pair === undefined)
      return `${text.endsWith('\n') || text === '' ? text : `${text}${ending}`}${ending}${section}:${ending}  - ${item}${ending}`
    return insertedAt(text, lineEnd(text, pair), `${ending}  - ${item}`)
  }
  return intoList(text, list, item, section)
}

/** The same for a list anywhere; one that is not there is made, as long as what holds it is. */
export function withItemAt(text: string, path: readonly Key[], item: string): string {
  const list = nodeAt(text, path)
  return list === undefined ? withValue(text, path, `[${item}]`) : intoList(text, list, item, String(path.at(-1)))
}

function intoList(text: string, list: Node, item: string, name: string): string {
  const ending = endingOf(text)
  const [start, end] = rangeOf(list)
  if (!isSeq(list)) {
    if (isScalar(list) && list.value === null) return insertedAt(text, lineEnd(text, start), `${ending}  - ${item}`)
    throw new SpliceFailed(`"${name}" is no list`)
  }
  const last = list.items.at(-1) as Node | undefined
  if (list.flow === true) {
    if (last === undefined) return `${text.slice(0, start).trimEnd()}${ending}  - ${item}${text.slice(end)}`
    return insertedAt(text, rangeOf(last)[1], `, ${item}`)
  }
  if (last === undefined) throw new SpliceFailed(`"${name}" is an empty list of a form that is not known`)
  return insertedAt(text, lineEnd(text, rangeOf(last)[1]), `${ending}${indentOf(text, start)}- ${item}`)
}

/** Takes out the item at `index` of the list under `section`, with the lines it stands on. */
export function withoutItem(text: string, section: string, index: number): string {
  const list = nodeAt(text, [section])
  const item = isSeq(list) ? (list.items[index] as Node | undefined) : undefined
  if (!isSeq(list) || item === undefined) throw new SpliceFailed(`there is no line ${index + 1} under "${section}"`)
  if (list.items.length === 1) return replaced(text, rangeOf(list), list.flow === true ? '[]' : '[]', section)
  const [start, end] = rangeOf(item)
  if (list.flow === true) return withoutFlowItem(text, list, index)
  return withoutLines(text, start, end)
}

/** An item and the one before it change places; comments stay where they are. */
export function withItemEarlier(text: string, section: string, index: number): string {
  const list = nodeAt(text, [section])
  const [before, item] = isSeq(list) ? [list.items[index - 1], list.items[index]] : []
  if (before === undefined || item === undefined)
    throw new SpliceFailed(`line ${index + 1} under "${section}" cannot stand earlier`)
  const [first, second] = [rangeOf(before as Node), rangeOf(item as Node)]
  const at = ([start, end]: readonly [number, number]) => text.slice(start, end)
  return `${text.slice(0, first[0])}${at(second)}${text.slice(first[1], second[0])}${at(first)}${text.slice(second[1])}`
}

/** The same for a list anywhere. The last item of a list takes the list with it. */
export function withoutItemAt(text: string, path: readonly Key[], index: number): string {
  const list = nodeAt(text, path)
  const item = isSeq(list) ? (list.items[index] as Node | undefined) : undefined
  if (!isSeq(list) || item === undefined)
    throw new SpliceFailed(`there is no line ${index + 1} under "${path.join(' ')}"`)
  if (list.items.length === 1) return withoutValue(text, path)
  if (list.flow === true) return withoutFlowItem(text, list, index)
  const [start, end] = rangeOf(item)
  return withoutLines(text, start, end)
}

/** Takes out a name and its value from a block map, with the lines they stand on. The last of a map stays. */
export function withoutValue(text: string, path: readonly Key[]): string {
  const parent = nodeAt(text, path.slice(0, -1))
  const name = String(path.at(-1))
  const pair = isMap(parent) ? parent.items.find(({ key }) => isScalar(key) && String(key.value) === name) : undefined
  if (!isMap(parent) || pair === undefined) throw new SpliceFailed(`there is no "${path.join(' ')}"`)
  if (parent.flow === true || parent.items.length === 1)
    throw new SpliceFailed(`"${path.join(' ')}" is the last of its part, or stands on one line with others`)
  return withoutLines(text, rangeOf(pair.key as Node)[0], rangeOf((pair.value ?? pair.key) as Node)[1])
}

function withoutLines(text: string, start: number, end: number): string {
  const until = lineEnd(text, end)
  return text.slice(0, lineStart(text, start)) + text.slice(until + endingAt(text, until).length)
}

function withoutFlowItem(text: string, list: YAMLSeq, index: number): string {
  const at = (place: number) => rangeOf(list.items[place] as Node)
  return index === 0
    ? text.slice(0, at(0)[0]) + text.slice(at(1)[0])
    : text.slice(0, at(index - 1)[1]) + text.slice(at(index)[1])
}

/** A block list that becomes empty loses its lines, not its name. */
function replaced(text: string, [start, end]: readonly [number, number], by: string, section: string): string {
  const pair = pairAt(text, section)
  if (pair === undefined) throw new SpliceFailed(`there is no "${section}"`)
  const isBlock = lineStart(text, start) > pair
  if (!isBlock) return text.slice(0, start) + by + text.slice(end)
  const nameEnd = lineEnd(text, pair)
  const colon = text.indexOf(':', pair)
  const comment = text.slice(colon + 1, nameEnd)
  const from = lineStart(text, start)
  const until = lineEnd(text, end)
  return `${text.slice(0, colon + 1)} ${by}${comment}${text.slice(nameEnd, from)}${text.slice(until + endingAt(text, until).length)}`
}

/** Puts a value at `path`; the map that holds it must be there. */
export function withValue(text: string, path: readonly Key[], value: string): string {
  const there = nodeAt(text, path)
  if (there !== undefined && !isNothing(there)) {
    const [start, end] = rangeOf(there)
    return text.slice(0, start) + value + text.slice(end)
  }
  const parent = nodeAt(text, path.slice(0, -1))
  const key = String(path.at(-1))
  const section = path.length === 2 ? pairAt(text, String(path[0])) : undefined
  if (parent === undefined && section !== undefined)
    return insertedAt(text, lineEnd(text, section), `${endingOf(text)}  ${key}: ${value}`)
  if (!isMap(parent)) throw new SpliceFailed(`there is nothing to hold "${key}"`)
  const last = parent.items.at(-1)
  const [start] = rangeOf(parent)
  if (last === undefined) throw new SpliceFailed(`"${String(path.at(-2))}" is empty`)
  const lastEnd =
    isPair(last) && last.value !== null ? rangeOf(last.value as Node)[1] : rangeOf(last.key as Node)[1] + 1
  if (parent.flow === true) return insertedAt(text, lastEnd, `, ${key}: ${value}`)
  const contentEnd = text.slice(0, lastEnd).trimEnd().length
  return insertedAt(text, lineEnd(text, contentEnd), `${endingOf(text)}${indentOf(text, start)}${key}: ${value}`)
}

/** Puts a block of lines under a new name of a block map. */
export function withLinesAt(text: string, path: readonly Key[], lines: readonly string[]): string {
  const parent = nodeAt(text, path.slice(0, -1))
  const name = String(path.at(-1))
  if (!isMap(parent) || parent.flow === true) throw new SpliceFailed(`there is nothing to hold "${name}"`)
  if (nodeAt(text, path) !== undefined) throw new SpliceFailed(`"${name}" is there already`)
  const [start, end] = rangeOf(parent)
  const [ending, indent] = [endingOf(text), indentOf(text, start)]
  const block = lines.map(line => `${ending}${indent}  ${line}`).join('')
  return insertedAt(text, lineEnd(text, end), `${ending}${indent}${name}:${block}`)
}

function isNothing(node: Node): boolean {
  return isScalar(node) && node.value === null && (node.source ?? '') === ''
}

function nodeAt(text: string, path: readonly Key[]): Node | undefined {
  const document = parseDocument(text, { keepSourceTokens: true })
  if (document.errors.length > 0) throw new SpliceFailed('the file cannot be read')
  const node = path.length === 0 ? document.contents : document.getIn(path, true)
  return isScalar(node) || isCollection(node) ? (isNothing(node) ? undefined : node) : undefined
}

/** Where the name of a section at the top of the file begins. */
function pairAt(text: string, section: string): number | undefined {
  const document = parseDocument(text)
  if (!isMap(document.contents)) return undefined
  const pair = document.contents.items.find(item => isScalar(item.key) && item.key.value === section)
  return pair === undefined ? undefined : rangeOf(pair.key as Node)[0]
}

/** Where a value begins and where it ends, without the blank and the comments after it. */
function rangeOf(node: Node): readonly [number, number] {
  if (node.range === null || node.range === undefined) throw new SpliceFailed('a value without a place')
  if (isCollection(node) && node.flow !== true) {
    const last = node.items.at(-1)
    const inner = isPair(last) ? ((last.value ?? last.key) as Node) : (last as Node | undefined)
    return [node.range[0], inner === undefined ? node.range[1] : Math.max(rangeOf(inner)[1], node.range[0])]
  }
  return [node.range[0], node.range[1]]
}

const insertedAt = (text: string, at: number, piece: string): string => text.slice(0, at) + piece + text.slice(at)

function lineStart(text: string, at: number): number {
  return text.lastIndexOf('\n', at - 1) + 1
}

/** The end of the line that holds `at`, before its line ending. */
function lineEnd(text: string, at: number): number {
  const found = text.indexOf('\n', at)
  if (found < 0) return text.length
  return text[found - 1] === '\r' ? found - 1 : found
}

const endingAt = (text: string, at: number): string =>
  text.startsWith('\r\n', at) ? '\r\n' : text.startsWith('\n', at) ? '\n' : ''

const endingOf = (text: string): string => (text.includes('\r\n') ? '\r\n' : '\n')

/** The blank before the first sign of a line. */
function indentOf(text: string, at: number): string {
  return /^[ ]*/.exec(text.slice(lineStart(text, at), at))?.[0] ?? ''
}
