/**
 * A typed temperature, in °C. The scale is the one said; where none is said it is told by the size of the number: no
 * child has 45 °F or 77 °C. What no living child can have, or what its scale makes impossible, is asked again.
 */
import { BODY_CELSIUS } from '../clinical/quantities.ts'
import type { Read } from './choice.ts'
import type { Lexicon } from './lexicon.ts'

const NUMBER = /(?<![\p{L}\d.,])(\d{1,3}(?:[.,·]\d{1,2})?)(?![\d])/gu
/** Signs and words after a number that may say its scale. */
const AFTER = /^[\s°º]*(\p{L}{1,12})?\.?\s*(?:°\s*)?(\p{L}{1,12})?/u

export type Scale = 'c' | 'f'

/** One number with the scale that stands behind it. */
interface Candidate {
  readonly value: number
  readonly scale: Scale | undefined
  /** A degree sign, a word for degree or a scale stands behind it. */
  readonly isMarked: boolean
  readonly at: number
}

/** Every number of plain text, with its scale where one is said right behind it. */
export function candidatesIn(plain: string, lexicon: Lexicon): readonly Candidate[] {
  return [...plain.matchAll(NUMBER)].map(found => {
    const [digits = ''] = [found[1]]
    const rest = plain.slice(found.index + found[0].length)
    const [, first = '', second = ''] = AFTER.exec(rest) ?? []
    const isDegree = lexicon.degrees.has(first) || /^\s*[°º]/u.test(rest)
    const scale = scaleOf(first, lexicon) ?? (isDegree ? scaleOf(second, lexicon) : undefined)
    return {
      value: Number(digits.replace(/[,·]/, '.')),
      scale,
      isMarked: isDegree || scale !== undefined,
      at: found.index,
    }
  })
}

function scaleOf(word: string, { celsius, fahrenheit }: Lexicon): Scale | undefined {
  if (celsius.has(word)) return 'c'
  return fahrenheit.has(word) ? 'f' : undefined
}

/** A temperature as °C to one hundredth, or undefined where no living child has it. */
export function celsiusOf(value: number, scale: Scale | undefined): number | undefined {
  const told = scale ?? (value <= BODY_CELSIUS.most ? 'c' : 'f')
  const celsius = told === 'c' ? value : ((value - 32) * 5) / 9
  return celsius >= BODY_CELSIUS.least && celsius <= BODY_CELSIUS.most ? Math.round(celsius * 100) / 100 : undefined
}

/** The answer to "what is the temperature?": one number; two different ones are asked about. */
export function temperatureRead(plain: string, lexicon: Lexicon): Read {
  const units = [...plain.matchAll(/\d\s{0,3}([\p{L}%]{1,20})/gu)].map(([, unit = '']) => unit)
  const isOther = (unit: string): boolean =>
    lexicon.units.has(unit) && !lexicon.celsius.has(unit) && !lexicon.fahrenheit.has(unit) && !lexicon.degrees.has(unit)
  if (units.some(isOther)) return { kind: 'misread', reason: 'number-unclear' }
  const found = candidatesIn(plain, lexicon)
  const values = new Set(found.map(({ value, scale }) => celsiusOf(value, scale)))
  const [celsius] = values
  if (found.length === 0 || values.size > 1) return { kind: 'misread', reason: 'number-unclear' }
  if (celsius === undefined) return { kind: 'misread', reason: 'number-impossible' }
  return { kind: 'answer', answer: { kind: 'number', value: celsius } }
}
