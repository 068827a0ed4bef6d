import { afterAny, type Part, type Tokens } from './phrase-tokens.ts'

/** Numbers in words and digits. */

const UNITS = 'zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen'
const SMALL: ReadonlyMap<string, number> = new Map(UNITS.split(' ').map((word, value) => [word, value]))
const TENS: ReadonlyMap<string, number> = new Map([
  ['twenty', 20],
  ['thirty', 30],
  ['forty', 40],
  ['fourty', 40],
  ['fifty', 50],
  ['sixty', 60],
  ['seventy', 70],
  ['eighty', 80],
  ['ninety', 90],
])

/** A whole number from 0 to 99 in words ("twenty five", "twenty-five"), or up to four digits. */
export function wholeAt(tokens: Tokens, at: number): Part<number> | undefined {
  const token = tokens[at]
  if (token === undefined) return undefined
  if (/^\d{1,4}$/.test(token)) return { value: Number(token), next: at + 1 }
  return wordsAt(tokens, at)
}

/** A whole number from 0 to 99 in words. */
export function wordsAt(tokens: Tokens, at: number): Part<number> | undefined {
  const small = SMALL.get(tokens[at] ?? '')
  if (small !== undefined) return { value: small, next: at + 1 }
  const tens = TENS.get(tokens[at] ?? '')
  if (tens === undefined) return undefined
  const onesAt = tokens[at + 1] === '-' ? at + 2 : at + 1
  const ones = SMALL.get(tokens[onesAt] ?? '')
  if (ones === undefined || ones === 0 || ones > 9) return { value: tens, next: at + 1 }
  return { value: tens + ones, next: onesAt + 1 }
}

/** How many: from least to most, the same unless it was written so that it can be read two ways. */
export interface Count {
  readonly least: number
  readonly most: number
  /** Said loosely ("a couple"). */
  readonly loose: boolean
}

const exactly = (value: number): Count => ({ least: value, most: value, loose: false })

/** "20", "twenty", "1.5", "1 1/2", "one and a half", "a", "a couple of", "half a". */
export function countAt(tokens: Tokens, at: number): Part<Count> | undefined {
  const couple = afterAny(tokens, at, ['a couple of', 'couple of', 'a couple', 'couple'])
  if (couple !== undefined) return { value: { least: 2, most: 2, loose: true }, next: couple }
  const half = afterAny(tokens, at, ['half of a', 'half of an', 'half a', 'half an', 'half', 'a half', '1/2 a', '1/2 an'])
  if (half !== undefined) return { value: exactly(0.5), next: half }
  const article = afterAny(tokens, at, ['a', 'an'])
  if (article !== undefined) return { value: exactly(1), next: article }
  return pointedAt(tokens, at) ?? fractionAt(tokens, at) ?? mixedAt(tokens, at)
}

/** "1.5"; "1.30" is one and three tenths or one hour thirty, and counts as from the one to the other. */
function pointedAt(tokens: Tokens, at: number): Part<Count> | undefined {
  const [, whole, digits] = /^(\d{1,3})\.(\d{1,2})$/.exec(tokens[at] ?? '') ?? []
  if (whole === undefined || digits === undefined) return undefined
  const decimal = Number(`${whole}.${digits}`)
  const sixtieths = digits.length === 2 && Number(digits) < 60 ? Number(whole) + Number(digits) / 60 : decimal
  return {
    value: { least: Math.min(decimal, sixtieths), most: Math.max(decimal, sixtieths), loose: false },
    next: at + 1,
  }
}

const SIMPLE: ReadonlyMap<string, number> = new Map([
  ['1/2', 0.5],
  ['1/4', 0.25],
  ['3/4', 0.75],
])

/** "1/2", "3/4 of an". */
function fractionAt(tokens: Tokens, at: number): Part<Count> | undefined {
  const value = SIMPLE.get(tokens[at] ?? '')
  if (value === undefined) return undefined
  return { value: exactly(value), next: afterAny(tokens, at + 1, ['of an', 'of a']) ?? at + 1 }
}

const PARTS_AFTER: readonly (readonly [string, number])[] = [
  ['and a half', 0.5],
  ['and half', 0.5],
  ['and 1/2', 0.5],
  ['1/2', 0.5],
  ['and a quarter', 0.25],
  ['and 1/4', 0.25],
  ['1/4', 0.25],
  ['and three quarter', 0.75],
  ['and three quarters', 0.75],
  ['and 3/4', 0.75],
  ['3/4', 0.75],
]

function mixedAt(tokens: Tokens, at: number): Part<Count> | undefined {
  const whole = wholeAt(tokens, at)
  if (whole === undefined) return undefined
  const part = partAfter(tokens, whole.next)
  return { value: exactly(whole.value + (part?.value ?? 0)), next: part?.next ?? whole.next }
}

/** "and a half", "and a quarter": the part of one that stands after a number or a unit. */
export function partAfter(tokens: Tokens, at: number): Part<number> | undefined {
  for (const [words, value] of PARTS_AFTER) {
    const next = afterAny(tokens, at, [words])
    if (next !== undefined && afterAny(tokens, at, [`${words}s`]) === undefined) return { value, next }
  }
  return undefined
}
