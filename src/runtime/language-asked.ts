/** "Español", "in English please": a message that asks for a language and for nothing else. */

/** Words a message may have beside the name of a language and still ask for nothing else. */
const WORDS_BESIDE_AT_MOST = 4

/** Words that turn it round: "no english" asks for another language. */
const TURNING = new Set(['no', 'not', 'dont', 'sin', 'nada'])

/**
 * The language a short message names, in whichever language of the line it names it ("Spanish", "español", "espanol").
 * Undefined where it names none, two, or says more than that.
 */
export function languageAsked(text: string, languages: readonly string[]): string | undefined {
  const words = folded(text)
  if (words.length === 0 || words.length > WORDS_BESIDE_AT_MOST + 1) return undefined
  const named = languages.filter(language => namesOf(language, languages).some(name => words.includes(name)))
  const [only] = named
  if (named.length !== 1 || only === undefined) return undefined
  if (!words.some(word => TURNING.has(word))) return only
  const others = languages.filter(language => language !== only)
  return others.length === 1 ? others[0] : undefined
}

/** A language's name in each language of the line, by CLDR. */
function namesOf(language: string, languages: readonly string[]): readonly string[] {
  return languages.flatMap(each => folded(new Intl.DisplayNames(each, { type: 'language' }).of(language) ?? ''))
}

/** Words in small letters without accents. */
function folded(text: string): readonly string[] {
  const plain = text.slice(0, 200).normalize('NFD').replace(/\p{M}/gu, '').toLowerCase().replaceAll(/['’]/g, '')
  return plain.match(/\p{L}+/gu) ?? []
}
