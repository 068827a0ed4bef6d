import { readFileSync } from 'node:fs'

/**
 * What a password must be: long, and not one that is tried first. No rule about kinds of signs, and none that it be changed
 * after a time (NIST SP 800-63B-4, section 3.1.1.2: length, a blocklist with words of the place, no composition rules; its 15
 * for a password alone is advised here and 12 enforced, with every sign-in throttled).
 */
export const PASSWORD_LENGTH_LEAST = 12
export const PASSWORD_LENGTH_ADVISED = 16
/** Longer ones are refused rather than cut: nobody types that, and hashing it costs time. In code points. */
export const PASSWORD_LENGTH_MOST = 200

export type PasswordFault = 'short' | 'long' | 'common' | 'clinic-words' | 'repeated'

/** Signs of a password without a letter. */
const DIGITS_ALONE_LEAST = 20
/** Letters beside words that do not make a password of them. */
const OWN_LETTERS_LEAST = 6

/**
 * Why this cannot be a password; undefined where it can.
 *
 * @param ownWords  the clinic's own: its name, the person's name and id, names of hospitals
 */
export function passwordFault(password: string, ownWords: readonly string[]): PasswordFault | undefined {
  const signs = [...password.normalize('NFC')].length
  if (signs < PASSWORD_LENGTH_LEAST) return 'short'
  if (signs > PASSWORD_LENGTH_MOST) return 'long'
  const plain = password.normalize('NFC').toLowerCase()
  if (isRepeated(plain)) return 'repeated'
  if (common().has(plain) || isCounting(plain)) return 'common'
  // Dates, telephone numbers.
  if (plainLetters(plain) === '' && signs < DIGITS_ALONE_LEAST) return 'common'
  // A word between signs that anybody would add is still that word.
  const core = plain.replace(/^[^\p{L}]+|[^\p{L}]+$/gu, '')
  const folded = lettersOf(plain)
  if ([core, lettersOf(core), folded].some(one => common().has(one) || isRepeated(one))) return 'common'
  if (isMadeOf(folded, ownWords)) return 'clinic-words'
  return undefined
}

/** Whether nothing much is left of it without words of the place and one common word. */
function isMadeOf(folded: string, ownWords: readonly string[]): boolean {
  const words = ownWords
    .flatMap(text => text.toLowerCase().split(/[^\p{L}]+/u))
    .map(plainLetters)
    .filter(word => word.length >= 4)
  const without = words
    .toSorted((a, b) => b.length - a.length)
    .reduce((left, word) => left.replaceAll(word, ' '), folded)
  if (without === folded) return false
  const left = without.split(' ').filter(piece => piece !== '' && !common().has(piece))
  return left.join('').length < OWN_LETTERS_LEAST
}

/** The same few signs again and again. */
function isRepeated(text: string): boolean {
  if (new Set(text).size <= 2) return true
  for (let length = 1; length <= text.length / 3; length += 1) {
    const unit = text.slice(0, length)
    if (unit.repeat(Math.ceil(text.length / length)).startsWith(text)) return true
  }
  return false
}

/** Signs that follow on each other, up or down, all the way: 123456789012, abcdefghijkl. */
function isCounting(text: string): boolean {
  const codes = [...text].map(sign => sign.codePointAt(0) ?? 0)
  const steps = codes.slice(1).map((code, index) => code - (codes[index] ?? 0))
  const isStep = (step: number, by: number) => step === by || step === by * -9
  return steps.every(step => isStep(step, 1)) || steps.every(step => isStep(step, -1))
}

const LOOKS_LIKE: Readonly<Record<string, string>> = {
  0: 'o',
  1: 'i',
  3: 'e',
  4: 'a',
  5: 's',
  7: 't',
  '@': 'a',
  $: 's',
  '!': 'i',
}

/** Letters alone, with signs that stand for letters read as these. */
function lettersOf(plain: string): string {
  return plainLetters(plain.replace(/[013457@$!]/g, sign => LOOKS_LIKE[sign] ?? sign))
}

const plainLetters = (text: string): string => text.normalize('NFD').replace(/[^\p{L}]/gu, '')

let known: ReadonlySet<string> | undefined

/** The list, read once when it is first asked for. */
function common(): ReadonlySet<string> {
  known ??= new Set(
    readFileSync(new URL('./common-passwords.txt', import.meta.url), 'utf8')
      .split('\n')
      .filter(line => line !== '' && !line.startsWith('#')),
  )
  return known
}
