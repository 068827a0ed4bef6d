import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'

/** A file as read; `path` is relative to the repository, with forward slashes. */
export interface SourceFile {
  readonly path: string
  readonly text: string
}

/** A literal's characters; in a template the text between its `${…}`, each shown as `…`. */
export interface Literal {
  readonly at: number
  readonly text: string
}

/** A source file taken apart; `code` has the same length and lines as the file. */
export interface Scan extends SourceFile {
  /** The text with comments, and what stands inside quotes and patterns, blanked out. */
  readonly code: string
  readonly literals: readonly Literal[]
  readonly imports: readonly Import[]
  /** 1-based line of a position. */
  lineOf(at: number): number
}

export interface Import {
  readonly at: number
  /** As written: `../time/instant.ts`, `node:fs`, `zod`. */
  readonly from: string
}

/** Every file below `folder` whose path `wanted` accepts, in order of path; none where there is no such folder. */
export function filesBelow(root: string, folder: string, wanted: (path: string) => boolean = () => true): SourceFile[] {
  if (!existsSync(join(root, folder))) return []
  return readdirSync(join(root, folder), { recursive: true, withFileTypes: true })
    .filter(entry => entry.isFile())
    .map(entry => join(entry.parentPath, entry.name).slice(join(root, '/').length).replaceAll('\\', '/'))
    .filter(wanted)
    .sort()
    .map(path => ({ path, text: readFileSync(join(root, path), 'utf8') }))
}

/** Takes a TypeScript or JavaScript file apart. */
export function scan(file: SourceFile): Scan {
  const reader = new Reader(file.text)
  reader.readCode()
  const code = reader.code.join('')
  const literals = reader.literals.toSorted((a, b) => a.at - b.at)
  const starts = [0, ...[...file.text.matchAll(/\n/g)].map(found => found.index + 1)]
  return {
    ...file,
    code,
    literals,
    imports: importsIn(code, literals),
    lineOf: at => starts.findLastIndex(start => start <= at) + 1,
  }
}

// A literal follows at once: `from '`, `import '`, `import('`, `require('`.
const IMPORT = /(?:\bfrom|\bimport|\bimport\s*\(|\brequire\s*\()\s*(?=['"`])/g

function importsIn(code: string, literals: readonly Literal[]): Import[] {
  return [...code.matchAll(IMPORT)].flatMap(found => {
    const literal = literals.find(({ at }) => at === found.index + found[0].length + 1)
    return literal === undefined ? [] : [{ at: literal.at, from: literal.text }]
  })
}

/** Walks a file once, blanking comments and literals in `code` as it goes. */
class Reader {
  readonly code: string[]
  readonly literals: Literal[] = []
  readonly #text: string
  #at = 0

  constructor(text: string) {
    this.#text = text
    this.code = [...text].flatMap(char => (char.length === 2 ? [' ', ' '] : [char]))
  }

  /** Reads code to the end, or past the `}` that closes a template's `${`. */
  readCode(isInTemplate = false): void {
    let depth = 0
    while (this.#at < this.#text.length) {
      const char = this.#text[this.#at]
      const pair = this.#text.slice(this.#at, this.#at + 2)
      if (pair === '//') this.#blankTo(this.#find('\n'))
      else if (pair === '/*') this.#blankTo(this.#find('*/', 2) + 2)
      else if (char === "'" || char === '"') this.#readString(char)
      else if (char === '`') this.#readTemplate()
      else if (char === '/' && this.#isPatternNext()) this.#readPattern()
      else {
        if (char === '{') depth++
        if (char === '}' && depth-- === 0 && isInTemplate) return
        this.#at++
      }
    }
  }

  #find(what: string, from = 0): number {
    const found = this.#text.indexOf(what, this.#at + from)
    return found === -1 ? this.#text.length : found
  }

  #blankTo(end: number): void {
    for (; this.#at < Math.min(end, this.#text.length); this.#at++) {
      if (this.#text[this.#at] !== '\n') this.code[this.#at] = ' '
    }
  }

  #readString(quote: string): void {
    const start = ++this.#at
    let end = start
    while (end < this.#text.length && this.#text[end] !== quote && this.#text[end] !== '\n') {
      end += this.#text[end] === '\\' ? 2 : 1
    }
    this.literals.push({ at: start, text: this.#text.slice(start, end) })
    this.#blankTo(end)
    this.#at++
  }

  #readTemplate(): void {
    const start = ++this.#at
    let text = ''
    while (this.#at < this.#text.length && this.#text[this.#at] !== '`') {
      if (this.#text.startsWith('${', this.#at)) {
        text += '…'
        this.#at += 2
        this.readCode(true)
        this.#at++
        continue
      }
      const end = this.#at + (this.#text[this.#at] === '\\' ? 2 : 1)
      text += this.#text.slice(this.#at, end)
      this.#blankTo(end)
    }
    this.literals.push({ at: start, text })
    this.#at++
  }

  /** A slash starts a pattern unless a value stands before it. */
  #isPatternNext(): boolean {
    const before = this.code
      .slice(Math.max(0, this.#at - 200), this.#at)
      .join('')
      .trimEnd()
    return /(^|[([{},;=:!&|?+\-*%<>~^]|\b(return|typeof|case|in|of|do|else|void|throw|await|yield))$/.test(before)
  }

  #readPattern(): void {
    let end = this.#at + 1
    let isInSet = false
    while (end < this.#text.length && this.#text[end] !== '\n' && (isInSet || this.#text[end] !== '/')) {
      if (this.#text[end] === '[') isInSet = true
      if (this.#text[end] === ']') isInSet = false
      end += this.#text[end] === '\\' ? 2 : 1
    }
    this.#at++
    this.#blankTo(end)
    this.#at++
  }
}
