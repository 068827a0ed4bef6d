/**
 * Syllables of a word by the rules of its spelling. Exact for Spanish, whose spelling tells; for English near enough for
 * a reading grade, and where it is wrong a list of words (`syllables` in lint.LANGUAGE.yaml) says better.
 */

/** Syllables of one word without digits; 1 at the least. */
export type SyllableCount = (word: string) => number

const ENGLISH_VOWELS = /[aeiouy]+/g

/** Pairs of vowels that are spoken apart, where the pattern fits. Each adds one. */
const ENGLISH_APART: readonly RegExp[] = [
  /(?<![aeiou])i[ao](?!u)(?<!(?:[ct]|s)i[ao])(?<!gio)/g,
  /(?<![aeiou])iu/g,
  /[aeiouy]y(?=[aeiou])(?!yes?$)/g,
  /(?<=[^aeiouy])y(?=[aiou])/g,
  /(?<=[aeiou])ing/g,
  /(?<![qg])ua(?!r[dy])/g,
  /(?<=l)ui(?=d)|(?<=r)ui(?=n)|uou|(?<=[vrdbnlp])iou|(?<=[rdf])ue(?=l$)/g,
  /(?<=[^aeioucgtwd])ie(?=r$|st$)|(?<=d)ie(?=t)|(?<=cl|sc)ie(?=n)|(?<=qu)ie(?=t)/g,
  /(?<=r)ea(?=$|s$|ct|te|li)|(?<=id)ea/g,
  /(?<=[dr])eo(?=$|s$)|oe(?=m)|eu(?=m)/g,
]

/** Letters that are written and not spoken. Each takes one away. */
const ENGLISH_SILENT: readonly RegExp[] = [
  /(?<=[^aeiouy])e$(?<!(?<=[^aeiouyl])le)/g,
  /(?<=[^aeiouylsxzcgh])es$|(?<=[aeiouyl]l)es$|(?<=th)es$/g,
  /(?<=[^aeiouytd])ed$(?<!(?<=[^aeiouyl])led)/g,
  /(?<=[aeiouy][^aeiouy]{1,2})e(?=(?:ly|ful|ment|ness|less|thing|times?|where|what|body|ty|side|self)s?$)/g,
]

/** English syllables. */
export function englishSyllables(word: string): number {
  return word
    .toLowerCase()
    .split('-')
    .reduce((sum, part) => sum + englishPart(part), 0)
}

function englishPart(part: string): number {
  const spokenNot = /[^aeiouylr]n['’]t$/.test(part) ? 1 : 0
  const letters = part
    .replace(/(?<=[cgsz]e)['’]s$/, 's')
    .replace(/(?<=[sxz]|ch)['’]s$/, 'es')
    .replace(/['’]s$/, '')
    .replace(/[^a-z]/g, '')
  if (letters === '') return 0
  const begun = letters.replace(/^y(?=[aeiou])/, 'j').replace(/(?<=[gq])ue(?=s?$)/, 'e')
  const groups = begun.match(ENGLISH_VOWELS)?.length ?? 0
  const apart = ENGLISH_APART.reduce((sum, pattern) => sum + (begun.match(pattern)?.length ?? 0), 0)
  const silent = ENGLISH_SILENT.reduce((sum, pattern) => sum + (begun.match(pattern)?.length ?? 0), 0)
  return Math.max(1, groups + apart - silent + spokenNot)
}

/**
 * Spanish syllables: every vowel is one, except that an unstressed i or u (or a final y) joins the vowel beside it, and that
 * u is silent in que, qui, gue, gui. An h between vowels changes nothing (Real Academia Española, Ortografía de la lengua
 * española, 2010, on diphthong and hiatus; from memory).
 */
export function spanishSyllables(word: string): number {
  const letters = word
    .toLowerCase()
    .replace(/[^a-záéíóúüñ]/g, '')
    .replace(/h/g, '')
    .replace(/(q)u(?=[eiéí])|(g)u(?=[eiéí])/g, '$1$2')
    .replace(/y(?![aeiouáéíóú])/g, 'i')
    .replace(/y/g, 'j')
  const groups = letters.match(/[aeiouáéíóúü]+/g) ?? []
  return Math.max(
    1,
    groups.reduce((sum, group) => sum + nucleiOf(group), 0),
  )
}

/** Syllables of vowels that stand together. */
function nucleiOf(vowels: string): number {
  const strong = vowels.match(/[aeoáéóíú]/g)?.length ?? 0
  const weakOnly = /^[iuü]+$/.test(vowels)
  return weakOnly ? Math.ceil(vowels.length / 2) : strong
}
