/**
 * Small parsers over words. A parser gives every way in which it can read the words from a place on, so that two
 * readings of one phrase are seen and asked about, never settled by which rule came first.
 */

export interface Found<T> {
  readonly value: T
  /** Index of the first word after it. */
  readonly to: number
}

export type Parser<T> = (words: readonly string[], from: number) => readonly Found<T>[]

type Values<P extends readonly Parser<unknown>[]> = { [K in keyof P]: P[K] extends Parser<infer T> ? T : never }

/** One of these words. */
export function word(...accepted: readonly string[]): Parser<string> {
  const set = new Set(accepted)
  return (words, from) => {
    const found = words[from]
    return found !== undefined && set.has(found) ? [{ value: found, to: from + 1 }] : []
  }
}

/** One word that a reader makes something of. */
export function token<T>(read: (word: string) => T | undefined): Parser<T> {
  return (words, from) => {
    const found = words[from]
    const value = found === undefined ? undefined : read(found)
    return value === undefined ? [] : [{ value, to: from + 1 }]
  }
}

/** These words in this order, written as one phrase. */
export function phrase(text: string): Parser<string> {
  const wanted = text.split(' ')
  return (words, from) =>
    wanted.every((part, offset) => words[from + offset] === part) ? [{ value: text, to: from + wanted.length }] : []
}

export function seq<P extends readonly Parser<unknown>[]>(...parsers: P): Parser<Values<P>> {
  return (words, from) => {
    let partial: readonly Found<unknown[]>[] = [{ value: [], to: from }]
    for (const parser of parsers) {
      partial = partial.flatMap(({ value, to }) =>
        parser(words, to).map(next => ({ value: [...value, next.value], to: next.to })),
      )
    }
    return partial as readonly Found<Values<P>>[]
  }
}

export function alt<T>(...parsers: readonly Parser<T>[]): Parser<T> {
  return (words, from) => parsers.flatMap(parser => parser(words, from))
}

/** The parser, or nothing. */
export function opt<T>(parser: Parser<T>): Parser<T | undefined> {
  return (words, from) => [...parser(words, from), { value: undefined, to: from }]
}

/** What was found, made into something else; `undefined` drops the reading. */
export function map<T, U>(parser: Parser<T>, make: (value: T) => U | undefined): Parser<U> {
  return (words, from) =>
    parser(words, from).flatMap(({ value, to }) => {
      const made = make(value)
      return made === undefined ? [] : [{ value: made, to }]
    })
}

/** All readings of the whole of the words, each different one once. */
export function whole<T>(parser: Parser<T>, words: readonly string[]): readonly T[] {
  const seen = new Map<string, T>()
  for (const { value, to } of parser(words, 0)) if (to === words.length) seen.set(JSON.stringify(value), value)
  return [...seen.values()]
}

/** How many times the parser finds something, from left to right, longest first. */
export function occurrences(parser: Parser<unknown>, words: readonly string[]): number {
  let count = 0
  for (let from = 0; from < words.length; ) {
    const to = Math.max(from, ...parser(words, from).map(found => found.to))
    if (to > from) count += 1
    from = Math.max(to, from + 1)
  }
  return count
}
