import { nearestId } from '../flow/problem.ts'

/** What is wrong with a zone, and the zone probably meant. */
export interface ZoneFault {
  readonly code: 'ZONE_UNKNOWN' | 'ZONE_FIXED'
  readonly expected: string
  readonly nearest?: string
}

const places = Intl.supportedValuesOf('timeZone').filter(zone => zone.includes('/') && !zone.startsWith('Etc/'))

/**
 * Checks the clinic's zone: a name of the IANA tz database that stands for a place. A fixed offset (`UTC-5`, `+01:00`,
 * `EST`, `Etc/GMT+5`) is refused: it does not follow the clock changes, so for half the year each shift would be an hour off.
 */
export function zoneFault(zone: string): ZoneFault | undefined {
  const expected = 'a zone named for a place, like America/New_York'
  const nearest = placeMeant(zone)
  const meant = nearest === undefined ? {} : { nearest }
  if (isFixed(zone))
    return { code: 'ZONE_FIXED', expected: `${expected}: a fixed offset does not follow clock changes`, ...meant }
  if (!isKnown(zone)) return { code: 'ZONE_UNKNOWN', expected, ...meant }
  return undefined
}

function isKnown(zone: string): boolean {
  if (!zone.includes('/')) return false
  try {
    return new Intl.DateTimeFormat('en-US', { timeZone: zone }).resolvedOptions().timeZone !== ''
  } catch {
    return false
  }
}

function isFixed(zone: string): boolean {
  return (
    /^(utc|gmt|z|zulu|uct|universal|greenwich)?([+-]?\d{1,2}(:?\d{2})?)?$/i.test(zone) ||
    /^(etc\/|[A-Z]{1,2}[SD]?T$|EST5EDT|CST6CDT|MST7MDT|PST8PDT)/i.test(zone)
  )
}

/** The place whose city was written, else the zone that differs by the fewest letters. */
function placeMeant(zone: string): string | undefined {
  const city = zone.trim().replaceAll(' ', '_').toLowerCase()
  const named = places.find(place => place.toLowerCase() === city || place.toLowerCase().endsWith(`/${city}`))
  return named ?? nearestId(zone, places)
}
