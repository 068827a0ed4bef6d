import type { Instant } from '../time/instant.ts'

/** A caregiver's answer to one question, as read. `unsure` is an answer; "not asked" is the absence of one. */
export type Answer =
  | { readonly kind: 'unsure' }
  | { readonly kind: 'choice'; readonly value: string }
  | { readonly kind: 'many'; readonly values: readonly string[] }
  /** A moment or date as remembered: inclusive ends. */
  | { readonly kind: 'moment'; readonly earliest: Instant; readonly latest: Instant }
  /** A length of time in milliseconds (travel, age). */
  | { readonly kind: 'length'; readonly atLeastMs: number; readonly atMostMs: number }
  | { readonly kind: 'number'; readonly value: number }
  /** A telephone number in E.164, or `write-only`. Sealed; shown to the family by its last two digits. */
  | { readonly kind: 'phone'; readonly number: string | 'write-only' }

/** The number that an answer gives, as its event carries it: it is read back. None where the family only writes. */
export const numberGiven = (answer: Answer): { readonly phone?: string } =>
  answer.kind === 'phone' && answer.number !== 'write-only' ? { phone: answer.number } : {}

/** Last digits of a telephone number, to be read back: whoever typed it knows them, and nobody else learns the number. */
export const lastDigitsOf = (number: string): string => number.slice(-2)
