/**
 * The basic alphabet of text messages: GSM 7 bit default alphabet and its extension table, 3GPP TS 23.038 section 6.2.1. One
 * character outside it would turn the whole message into 16-bit units. All counts are in septets: a basic character takes
 * one, an extension character two.
 */

const basic =
  '@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !"#¤%&\'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà'
const extension = '\f^{}\\[~]|€'

const septetsByCharacter: ReadonlyMap<string, number> = new Map([
  ...[...basic].map(character => [character, 1] as const),
  ...[...extension].map(character => [character, 2] as const),
])

/** Septets of one part of a message of several parts (140 octets less the 6-octet header). */
export const partSeptets = 153
/** Characters that taking off an accent does not bring into the alphabet. */
const replacements: ReadonlyMap<string, string> = new Map(
  [
    `‘' ’' ‚' ′' \`' ´' “" ”" „" ″" «" »"`,
    '‐- ‑- ‒- –- —- −- •- ·. …... →-> ←<- ≥>= ≤<= ×x ÷/ ±+/- ½1/2 ¼1/4 ¾3/4 °deg ºo ªa',
    'łl ŁL đd ĐD ðd ÐD þth ÞTh œoe ŒOE ıi ħh ŋng ẞSS',
  ]
    .flatMap(line => line.split(' '))
    .map(([character = '', ...plain]) => [character, plain.join('')]),
)

/**
 * The text in the basic alphabet: accents the alphabet lacks are taken off, typographic signs become plain ones, runs of
 * space and control characters one space, anything else is dropped.
 */
export function inBasicAlphabet(text: string): string {
  const plain = [...text.normalize('NFC')].map(plainOf).join('')
  return plain.replace(/\s+/g, ' ').trim()
}

function plainOf(character: string): string {
  if (/[\s\p{Cc}]/u.test(character)) return ' '
  if (septetsByCharacter.has(character)) return character
  const replaced = replacements.get(character)
  if (replaced !== undefined) return replaced
  const bare = [...character.normalize('NFKD')].filter(piece => septetsByCharacter.has(piece) && !/\s/.test(piece))
  return bare.join('')
}

/**
 * How many septets the text takes when sent in parts of 153. An extension character is never split: where only one
 * septet is left in a part, that one stays empty.
 * @throws RangeError on a character outside the alphabet
 */
export function septetsOf(text: string): number {
  let septets = 0
  for (const character of text) {
    const width = septetsByCharacter.get(character)
    if (width === undefined) throw new RangeError(`"${character}" is not of the basic SMS alphabet`)
    const isSplit = width === 2 && septets % partSeptets === partSeptets - 1
    septets += width + (isSplit ? 1 : 0)
  }
  return septets
}
