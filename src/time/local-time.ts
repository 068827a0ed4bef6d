import { DateTime } from 'luxon'
import type { Instant } from './instant.ts'
import { dayNumber, type LocalParts, localInstants, localParts, weekdayOf } from './local-instants.ts'

/** Instants as a person in a zone reads them. The host's own zone never matters. Minutes are cut, never rounded. */

export type ClockStyle = '12h' | '24h'

interface Words {
  readonly locale: string
  readonly date: string
  readonly today: string
  readonly yesterday: string
  readonly tomorrow: string
  readonly firstPass: string
  readonly secondPass: string
  /** Short, for a margin or a button. */
  readonly twelveHours: (clock: string, hour: number, minute: number) => string
  /** As it stands in a sentence after a preposition, with the article where the language has one. */
  readonly said: (clock: string, style: ClockStyle, hour: number, minute: number) => string
}

const shortEnglish = (clock: string, hour: number, minute: number): string => {
  // "12:00 am" is read both ways; the words are not.
  if (minute === 0 && hour === 0) return '12:00 midnight'
  if (minute === 0 && hour === 12) return '12:00 noon'
  return `${clock} ${hour < 12 ? 'am' : 'pm'}`
}

const ENGLISH: Words = {
  locale: 'en-GB',
  date: 'cccc d LLLL',
  today: 'today',
  yesterday: 'yesterday',
  tomorrow: 'tomorrow',
  firstPass: 'before clock change',
  secondPass: 'after clock change',
  twelveHours: shortEnglish,
  said: (clock, style, hour, minute) => (style === '24h' ? clock : shortEnglish(clock, hour, minute)),
}

const SPANISH: Words = {
  locale: 'es',
  date: "cccc d 'de' LLLL",
  today: 'hoy',
  yesterday: 'ayer',
  tomorrow: 'mañana',
  firstPass: 'antes del cambio de hora',
  secondPass: 'después del cambio de hora',
  twelveHours: (clock, hour, minute) => {
    if (minute === 0 && hour === 0) return '12:00 medianoche'
    if (minute === 0 && hour === 12) return '12:00 mediodía'
    return `${clock} ${hour < 12 ? 'a. m.' : 'p. m.'}`
  },
  said: (clock, style, hour, minute) => {
    const article = hour === 1 || (style === '12h' && hour === 13) ? 'la' : 'las'
    return `${article} ${clock}${style === '24h' ? '' : ` ${spanishPart(hour, minute)}`}`
  },
}

/** "12:05 de la mañana" is read as noon by some: the first hour is "de la noche". */
function spanishPart(hour: number, minute: number): string {
  if (minute === 0 && hour === 0) return 'de la medianoche'
  if (minute === 0 && hour === 12) return 'del mediodía'
  if (hour === 0 || hour >= 20) return 'de la noche'
  return hour < 12 ? 'de la mañana' : 'de la tarde'
}

function wordsOf(language: string): Words {
  return language.toLowerCase().startsWith('es') ? SPANISH : ENGLISH
}

/**
 * The clock time of an instant, short: "1:30 am", "01:30", "1:30 a. m.". In an hour that happens twice it says which:
 * "1:30 am (after clock change)". A language without words of its own gets English.
 */
export function clockText(at: Instant, zone: string, style: ClockStyle, language: string): string {
  const { twelveHours } = wordsOf(language)
  const whole = style === '24h' ? clock24 : (parts: LocalParts) => twelveHours(clock12(parts), parts.hour, parts.minute)
  return withPass(whole(localParts(at, zone)), at, zone, language)
}

/** A clock time that ends with the period of "a. m." takes the period of its sentence with it. */
export const withOnePeriod = (sentence: string): string => sentence.replace(/([ap]\. m\.)\.(?!\.)/g, '$1')

/** The same as it stands in a sentence: "1:30 am"; in Spanish with its article, "la 1:30 de la mañana", "las 02:10". */
export function clockSaid(at: Instant, zone: string, style: ClockStyle, language: string): string {
  const parts = localParts(at, zone)
  const clock = style === '24h' ? clock24(parts) : clock12(parts)
  return withPass(wordsOf(language).said(clock, style, parts.hour, parts.minute), at, zone, language)
}

function withPass(text: string, at: Instant, zone: string, language: string): string {
  const pass = repeatedPass(at, zone)
  if (pass === undefined) return text
  const words = wordsOf(language)
  return `${text} (${pass === 'first' ? words.firstPass : words.secondPass})`
}

/** In an hour that the clock shows twice: which time round `at` is. Otherwise undefined. */
export function repeatedPass(at: Instant, zone: string): 'first' | 'second' | undefined {
  const passes = localInstants(localParts(at, zone), zone)
  const second = passes[1]
  if (second === undefined) return undefined
  return at < second ? 'first' : 'second'
}

/** "today", "yesterday", "tomorrow", seen from another instant; any other day as "Sunday 1 March", with the year where it differs. */
export function dayText(at: Instant, zone: string, seenFrom: Instant, language: string): string {
  const words = wordsOf(language)
  const day = localParts(at, zone)
  const seen = localParts(seenFrom, zone)
  switch (dayNumber(day) - dayNumber(seen)) {
    case 0:
      return words.today
    case -1:
      return words.yesterday
    case 1:
      return words.tomorrow
    default: {
      const format = day.year === seen.year ? words.date : `${words.date} yyyy`
      return DateTime.fromMillis(at, { zone, locale: words.locale }).toFormat(format)
    }
  }
}

/** Day of the week in a zone: 0 Sunday to 6 Saturday. */
export function weekdayAt(at: Instant, zone: string): number {
  return weekdayOf(localParts(at, zone)) % 7
}

const two = (value: number): string => String(value).padStart(2, '0')

function clock24({ hour, minute }: LocalParts): string {
  return `${two(hour)}:${two(minute)}`
}

function clock12({ hour, minute }: LocalParts): string {
  return `${hour % 12 === 0 ? 12 : hour % 12}:${two(minute)}`
}
