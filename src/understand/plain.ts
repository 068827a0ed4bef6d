/**
 * Typed words made plain, so that looks cannot hide a word: compatibility forms, case, accents, invisible
 * characters, look-alike letters, curly quotes and the digits of other scripts. Markup is left as text.
 */

/** Longest text that is read; past it only its first and last parts are (see `boundedOf`). In UTF-16 units. */
export const LENGTH_READ_AT_MOST = 120_000

/** Characters that show nothing: format characters (zero width, direction marks, soft hyphen), fillers, variation selectors. */
const INVISIBLE = /\p{Cf}|\u034f|\u115f|\u1160|\u17b4|\u17b5|\u3164|\uffa0|[\ufe00-\ufe0f]/gu
const QUOTES = /[\u2018\u2019\u201a\u201b\u2032\u02bc\u02b9\u0060\u00b4\u05f3\uff07]/g
const ACCENTS = /\p{M}+/gu
const DIGIT = /\p{Nd}/gu

/** Letters of other alphabets that look like Latin ones (from the look, after lower-casing). */
const LOOK_ALIKES: ReadonlyMap<string, string> = new Map(
  Object.entries({
    а: 'a',
    в: 'b',
    с: 'c',
    ԁ: 'd',
    е: 'e',
    ғ: 'f',
    һ: 'h',
    і: 'i',
    ј: 'j',
    к: 'k',
    ӏ: 'l',
    м: 'm',
    н: 'h',
    о: 'o',
    р: 'p',
    ԛ: 'q',
    г: 'r',
    ѕ: 's',
    т: 't',
    у: 'y',
    ѵ: 'v',
    ԝ: 'w',
    х: 'x',
    ё: 'e',
    ї: 'i',
    α: 'a',
    β: 'b',
    ε: 'e',
    η: 'n',
    ι: 'i',
    κ: 'k',
    ν: 'v',
    ο: 'o',
    ρ: 'p',
    τ: 't',
    υ: 'u',
    χ: 'x',
    γ: 'y',
    ω: 'w',
    ı: 'i',
    ł: 'l',
    ø: 'o',
    đ: 'd',
    ħ: 'h',
    ɑ: 'a',
    ɡ: 'g',
    ɩ: 'i',
    ʀ: 'r',
    ꜱ: 's',
    ß: 'ss',
    æ: 'ae',
    œ: 'oe',
  }),
)
const NON_ASCII_LETTER = /\P{ASCII}/gu

/**
 * The text in plain lower-case letters: the same words, whatever they were typed with.
 * Total: any string, with lone surrogates too, gives a string.
 */
export function plainOf(text: string): string {
  // A ligature may become eighteen letters: what is read is bounded again once it is written out.
  return boundedOf(boundedOf(text).toWellFormed().replace(QUOTES, "'").normalize('NFKC'))
    .replace(INVISIBLE, '')
    .toLowerCase()
    .normalize('NFD')
    .replace(ACCENTS, '')
    .replace(DIGIT, digit => String(valueOfDigit(digit)))
    .replace(NON_ASCII_LETTER, letter => LOOK_ALIKES.get(letter) ?? letter)
}

/** What a picture stands for; `twice` where it is sent more than once in a row. */
export interface Picture {
  readonly picture: string
  readonly once: string
  readonly twice: string
}

/** Pictures of plain text (`plainOf`) as the words they stand for, set apart by spaces. */
export function picturesAsWords(plain: string, pictures: readonly Picture[]): string {
  return pictures.reduce((text, { picture, once, twice }) => {
    if (!text.includes(picture)) return text
    const [head = '', ...rest] = text.split(picture)
    let words = head
    for (let at = 0; at < rest.length; at += 1) {
      let run = 1
      while (at + 1 < rest.length && (rest[at] ?? '').trim() === '') {
        at += 1
        run += 1
      }
      words += ` ${run > 1 ? twice : once} ${rest[at] ?? ''}`
    }
    return words
  }, plain)
}

/** Whether anything visible stands in the text. */
export const isBlank = (text: string): boolean =>
  text.toWellFormed().replace(INVISIBLE, '').replace(ACCENTS, '').trim() === ''

/** Whether there is a letter or digit of any script. */
export const hasWords = (text: string): boolean => /[\p{L}\p{Nd}]/u.test(text)

/** A text too long to read whole keeps its beginning and its end, a line apart. */
export function boundedOf(text: string): string {
  if (text.length <= LENGTH_READ_AT_MOST) return text
  const half = LENGTH_READ_AT_MOST / 2
  return `${text.slice(0, half)}\n${text.slice(-half)}`
}

/** Value of a decimal digit of any script: Unicode keeps each script's ten digits in one run that begins at zero. */
function valueOfDigit(digit: string): number {
  const code = digit.codePointAt(0) ?? 0
  let zero = code
  while (code - zero < 9 && /\p{Nd}/u.test(String.fromCodePoint(zero - 1))) zero -= 1
  return (code - zero) % 10
}
