/** What a table program would take for the beginning of a formula: OWASP ASVS 5.0.0, 1.2.10, with the carriage return. */
const FORMULA = /^[=+\-@\t\r\0＝＋－＠]/u

/**
 * Rows as CSV (RFC 4180: CRLF, quotes doubled). A text that a table program would take for a formula gets an apostrophe in
 * front; a number is written as a number.
 */
export function csvText(rows: readonly (readonly (string | number)[])[]): string {
  return rows.map(row => `${row.map(field).join(',')}\r\n`).join('')
}

function field(value: string | number): string {
  if (typeof value === 'number') return String(value)
  const guarded = isFormula(value) ? `'${value}` : value
  return /[",\r\n\t]/.test(guarded) ? `"${guarded.replaceAll('"', '""')}"` : guarded
}

/** Spaces before it do not make it less of one. */
const isFormula = (value: string): boolean => FORMULA.test(value) || FORMULA.test(value.trimStart())

export class CsvBroken extends Error {
  override readonly name = 'CsvBroken'
  /** From 1. */
  readonly line: number

  constructor(line: number, message: string) {
    super(message)
    this.line = line
  }
}

/** A row with the number of the line it begins at, from 1. */
export interface CsvRow {
  readonly line: number
  readonly fields: readonly string[]
}

/**
 * Reads CSV as {@link csvText} writes it; line ends may be LF alone. An apostrophe put before a formula is taken off.
 *
 * @throws CsvBroken on a quote that is not closed, or that stands within a field
 */
export function readCsv(text: string): readonly CsvRow[] {
  const rows: CsvRow[] = []
  let line = 1
  for (let at = 0; at < text.length; ) {
    const begun = line
    const fields: string[] = []
    for (;;) {
      const read = readField(text, at, line)
      fields.push(unguarded(read.value))
      line = read.line
      at = read.end
      if (text[at] !== ',') break
      at++
    }
    if (text[at] === '\r') at++
    if (at < text.length && text[at] !== '\n') throw new CsvBroken(line, 'a quote stands within a field')
    at++
    line++
    if (fields.length > 1 || fields[0] !== '') rows.push({ line: begun, fields })
  }
  return rows
}

function readField(text: string, from: number, line: number): { value: string; end: number; line: number } {
  if (text[from] !== '"') {
    let end = from
    while (end < text.length && !',\r\n"'.includes(text[end] ?? '')) end++
    return { value: text.slice(from, end), end, line }
  }
  let value = ''
  let lines = line
  for (let at = from + 1; at < text.length; at++) {
    if (text[at] === '"') {
      if (text[at + 1] !== '"') return { value, end: at + 1, line: lines }
      at++
    }
    if (text[at] === '\n') lines++
    value += text[at]
  }
  throw new CsvBroken(line, 'a quote is not closed')
}

const unguarded = (value: string): string =>
  value.startsWith("'") && isFormula(value.slice(1)) ? value.slice(1) : value
