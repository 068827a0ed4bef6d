import { inBasicAlphabet, partSeptets, septetsOf } from '../sms/alphabet.ts'

/**
 * Page text in the basic alphabet of text messages: one character outside it would turn the whole message into 16-bit
 * units and cut each part from 153 characters to 67.
 */

/** Two parts: more, and some networks deliver the rest late or not at all (common practice, no source). */
export const pageSeptetsMost = 2 * partSeptets

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
