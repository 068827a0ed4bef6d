/** Plain text cut into words, with how strongly each is set apart from the one before. */

/** What stands before a word: nothing; a comma, dash or bracket; or the end of a sentence or line. */
export type Gap = 'none' | 'pause' | 'stop'

export interface Token {
  readonly word: string
  readonly gap: Gap
  /** What stands right before it, spaces left out: '?', ':' … */
  readonly mark: string
  /** Where the word stands in the plain text: from (inclusive) to (exclusive). */
  readonly from: number
  readonly to: number
}

/** Letters, or digits: "45am" and "20min" are two words, "o2" is one. */
const WORD = /\p{Nd}+|\p{L}[\p{L}\p{Nd}]*(?:'[\p{L}\p{Nd}]+)*/gu
const STOP = /[.!?;\n\r\u2028\u2029。！？¿¡]/u
const PAUSE = /[,:\-–—()/…"<>[\]{}|*_~·•]/u
/** A longer run of letters is no word; it is cut so that nothing costs more than its length. */
const WORD_LENGTH_AT_MOST = 40

/** A point or colon between two digits ("1.30", "1:30", "5.5") parts nothing. */
function gapOf(between: string, before: string | undefined, word: string): Gap {
  if (/^[.:]$/.test(between) && /^\d/.test(word) && /\d$/.test(before ?? '')) return 'none'
  return STOP.test(between) ? 'stop' : PAUSE.test(between) ? 'pause' : 'none'
}

const wordOf = (typed: string): string =>
  (typed.includes("'") ? typed.replaceAll("'", '') : typed)
    .replace(/(\p{L})\1{2,}/gu, '$1$1')
    .slice(0, WORD_LENGTH_AT_MOST)

/**
 * The words of plain text (`plainOf`), apostrophes left out ("can't" is `cant`), letters typed three times or more
 * written twice ("bluuuue" is `bluue`; the lexicon also tries it once). `...` is a pause, not an end.
 */
export function tokensOf(plain: string): readonly Token[] {
  const tokens: Token[] = []
  let end = 0
  for (const found of plain.matchAll(WORD)) {
    const before = plain.slice(end, found.index)
    const from = found.index
    end = from + found[0].length
    const word = wordOf(found[0])
    if (before === ' ') tokens.push({ word, gap: 'none', mark: '', from, to: end })
    else {
      const between = before.replace(/\.{2,}/g, '…')
      const gap = gapOf(between, tokens[tokens.length - 1]?.word, found[0])
      tokens.push({ word, gap, mark: between.replace(/[ \t]+/g, ''), from, to: end })
    }
  }
  return tokens
}
