/** Stands for a word that is not among those that anybody may have said. */
export const MASK = '▢'

/** A clock time has as many digits as a short number of a house or a telephone. */
const CLOCK = /^\d{1,2}[:.]\d\d$/

/**
 * Free words with every word masked that is not a known one, and every number that is longer than a measure or a clock time. What is
 * known is a list, not what is secret: a name that nobody thought of is masked as well. A name that is also an ordinary word
 * stays; nobody can tell it from the word.
 *
 * @param isKnown  asked with each word in small letters
 */
export function maskedWords(said: string, isKnown: (word: string) => boolean): string {
  return said.replace(/\p{L}[\p{L}\p{M}'’]*|\d[\d\s()./+:-]*\d|\d|[@#/\\_]+/gu, found => {
    if (/^\p{L}/u.test(found)) return isKnown(found.toLowerCase().replaceAll('’', "'")) ? found : MASK
    if (/^\d/.test(found)) return CLOCK.test(found) || found.replace(/\D/g, '').length <= 3 ? found : MASK
    return MASK
  })
}

/** The words of texts, in small letters, as {@link maskedWords} asks for them. */
export function wordsIn(texts: Iterable<string>): ReadonlySet<string> {
  const words = new Set<string>()
  for (const text of texts)
    for (const [word] of text.matchAll(/\p{L}[\p{L}\p{M}'’]*/gu)) words.add(word.toLowerCase().replaceAll('’', "'"))
  return words
}
