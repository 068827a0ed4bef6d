import { parsePhoneNumberFromString } from 'libphonenumber-js/max'

/**
 * Telephone numbers as a clinic writes them. A number that cannot exist is a problem; one that is possible but in no
 * range we know is only a warning, since new ranges are opened all the time.
 */
export interface NumberRead {
  /** E.164, or the short number; undefined when it cannot be rung. */
  readonly number?: string
  readonly faults: readonly NumberFault[]
}

export interface NumberFault {
  readonly code: 'NUMBER_UNREADABLE' | 'NUMBER_IMPOSSIBLE' | 'NUMBER_UNKNOWN_RANGE' | 'NUMBER_SHORT_UNKNOWN'
  readonly expected: string
  readonly severity: 'problem' | 'warning'
}

/**
 * Short numbers for emergencies or urgent health advice that telephone networks carry (from memory; national numbering
 * plans). A short number outside this list is taken with a warning.
 */
const shortNumbersKnown = new Set([
  '000',
  '110',
  '111',
  '112',
  '113',
  '114',
  '115',
  '118',
  '119',
  '120',
  '144',
  '15',
  '155',
  '18',
  '190',
  '192',
  '193',
  '811',
  '911',
  '988',
  '995',
  '997',
  '998',
  '999',
  '1122',
  '10111',
  '10177',
  '116117',
])

const withPlus = 'a number with + and the country code, in quotes, like "+1 212 555 0110"'

/** Reads a number in full: `+`, country code, number; spaces and dashes as one likes. */
export function readFullNumber(text: string): NumberRead {
  const parsed = text.trim().startsWith('+') ? parsePhoneNumberFromString(text.trim(), { extract: false }) : undefined
  if (parsed === undefined || parsed.ext !== undefined) {
    return { faults: [{ code: 'NUMBER_UNREADABLE', expected: withPlus, severity: 'problem' }] }
  }
  if (!parsed.isPossible()) {
    const expected = `${withPlus}: this one has too many or too few digits for its country`
    return { faults: [{ code: 'NUMBER_IMPOSSIBLE', expected, severity: 'problem' }] }
  }
  if (parsed.isValid()) return { number: parsed.number, faults: [] }
  const expected = 'a number in a known range: ring it once to be sure that it is right'
  return { number: parsed.number, faults: [{ code: 'NUMBER_UNKNOWN_RANGE', expected, severity: 'warning' }] }
}

/** Reads a number that may also be a short one, such as 911. */
export function readNumber(text: string): NumberRead {
  const short = text.trim()
  if (!/^\d{2,6}$/.test(short)) return readFullNumber(text)
  if (shortNumbersKnown.has(short)) return { number: short, faults: [] }
  const expected = 'a short number we know: ring it once from a mobile phone to be sure that it is right'
  return { number: short, faults: [{ code: 'NUMBER_SHORT_UNKNOWN', expected, severity: 'warning' }] }
}

/** A number in full as a person reads it abroad, and what is known of it. The country is the number's own, never that of a zone. */
export function numberRead(number: string): {
  readonly shown: string
  /** ISO 3166 code; left out for a number of no single country. */
  readonly country?: string
  readonly isPossible: boolean
  readonly isValid: boolean
} {
  const parsed = parsePhoneNumberFromString(number)
  if (parsed === undefined) return { shown: number, isPossible: false, isValid: false }
  return {
    shown: parsed.formatInternational(),
    ...(parsed.country === undefined ? {} : { country: parsed.country }),
    isPossible: parsed.isPossible(),
    isValid: parsed.isValid(),
  }
}
