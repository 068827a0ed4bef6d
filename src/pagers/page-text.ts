/**
 * Page text in the basic alphabet of text messages: GSM 7 bit default alphabet and its extension table, 3GPP TS 23.038
 * section 6.2.1. One character outside it would turn the whole message into 16-bit units and cut each part from 153
 * characters to 67. All counts are in septets: a basic character takes one, an extension character two.
 */

const basic =
  '@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !"#¤%&\'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà'
const extension = '\f^{}\\[~]|€'

const septetsByCharacter: ReadonlyMap<string, number> = new Map([
  ...[...basic].map(character => [character, 1] as const),
  ...[...extension].map(character => [character, 2] as const),
])

/** Septets of one part of a message of several parts (140 octets less the 6-octet header). */
const partSeptets = 153
/** Two parts: more, and some networks deliver the rest late or not at all (common practice, no source). */
export const pageSeptetsMost = 2 * partSeptets

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

/**
 * The page's text: the parts, most urgent first, then the link, at most 306 septets. The link is always whole and last.
 * When all is too long, parts are left out from the last on, never the first; a first part too long by itself is cut at
 * a word and ends in "...". Whoever reads only the first 60 characters reads the first part.
 *
 * @param parts at least one, in order of urgency; none may name the child (the caller's duty)
 * @param link  an absolute address; characters outside the alphabet are percent-encoded
 * @throws RangeError when there is no first part, or the link leaves no room for 60 characters of it
 * @example
 * fitPageText(['GO TO HOSPITAL, told 02:13.', 'Case Sun 4719.'], 'https://clinic.example/p/7K')
 * // => 'GO TO HOSPITAL, told 02:13. Case Sun 4719. https://clinic.example/p/7K'
 */
export function fitPageText(parts: readonly string[], link: string): string {
  const plainLink = linkInAlphabet(link)
  const [first = '', ...others] = parts.map(inBasicAlphabet)
  if (first === '') throw new RangeError('page text: the first part is empty; expected what to get up for')
  if (septetsOf(`${'x'.repeat(60)} ${plainLink}`) > pageSeptetsMost) {
    throw new RangeError(`page text: the link takes ${plainLink.length} characters; expected at most 245 of the 306`)
  }
  const kept = [first, ...others.filter(part => part !== '')]
  for (; kept.length > 1; kept.pop()) {
    const whole = [...kept, plainLink].join(' ')
    if (fits(whole)) return whole
  }
  const whole = `${first} ${plainLink}`
  return fits(whole) ? whole : `${cutToFit(first, plainLink)} ${plainLink}`
}

const fits = (text: string): boolean => septetsOf(text) <= pageSeptetsMost

/** The longest beginning of whole words (or, of one endless word, of characters) that fits with "..." and the link. */
function cutToFit(first: string, link: string): string {
  const characters = [...first]
  let length = characters.length
  while (length > 1 && !fits(`${characters.slice(0, length).join('')}... ${link}`)) length -= 1
  const beginning = characters.slice(0, length).join('')
  const lastSpace = beginning.lastIndexOf(' ')
  const endsAtWord = characters[length] === ' '
  return `${endsAtWord || lastSpace < 30 ? beginning.trimEnd() : beginning.slice(0, lastSpace)}...`
}

function linkInAlphabet(link: string): string {
  const ascii = [...link].map(character =>
    /[!-~]/.test(character) && character !== '`' ? character : encodeURIComponent(character),
  )
  return ascii.join('')
}
