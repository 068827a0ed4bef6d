/**
 * Words said otherwise than the lexicon writes them: dialect ("cannae"), short forms ("rn"), spellings further than a slip
 * away ("cudnt"). Each is read as the word that is meant, wherever it stands; a clinic adds its families' own.
 */
import type { Token } from './token.ts'

/** Ways of saying, by their first word, the longest first. */
export type SameAs = ReadonlyMap<string, readonly Otherwise[]>

interface Otherwise {
  readonly said: readonly string[]
  readonly meant: readonly string[]
}

/** Compiles `said: meant`, each one word or several in plain letters. */
export function sameAsOf(record: Readonly<Record<string, string>>): SameAs {
  const byFirst = new Map<string, Otherwise[]>()
  for (const [words, meaning] of Object.entries(record)) {
    const [first = '', ...others] = words.split(' ')
    const otherwise = { said: [first, ...others], meant: meaning.split(' ') }
    byFirst.set(first, [...(byFirst.get(first) ?? []), otherwise])
  }
  for (const list of byFirst.values()) list.sort((a, b) => b.said.length - a.said.length)
  return byFirst
}

/** The words with what is meant in place of what is said. What is meant stands where the words said stood. */
export function meantBy(tokens: readonly Token[], sameAs: SameAs): readonly Token[] {
  if (!tokens.some(({ word }) => sameAs.has(word))) return tokens
  const meant: Token[] = []
  for (let at = 0; at < tokens.length; ) {
    const found = sameAs.get(tokens[at]?.word ?? '')?.find(({ said }) => isSaidAt(said, tokens, at))
    const span = tokens.slice(at, at + (found?.said.length ?? 1))
    meant.push(...(found === undefined ? span : inPlaceOf(span, found.meant)))
    at += span.length
  }
  return meant
}

const isSaidAt = (said: readonly string[], tokens: readonly Token[], at: number): boolean =>
  said.every((word, offset) => {
    const token = tokens[at + offset]
    return token?.word === word && (offset === 0 || token.gap === 'none')
  })

function inPlaceOf(span: readonly Token[], words: readonly string[]): Token[] {
  const [first] = span
  const last = span[span.length - 1]
  if (first === undefined || last === undefined) return []
  return words.map((word, at) => ({
    word,
    gap: at === 0 ? first.gap : 'none',
    mark: at === 0 ? first.mark : '',
    from: first.from,
    to: last.to,
  }))
}
