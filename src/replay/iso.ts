import { DateTime } from 'luxon'

/** An instant as other systems read it: ISO 8601 in UTC, with milliseconds. */
export const isoOf = (at: number): string => DateTime.fromMillis(at, { zone: 'utc' }).toISO() ?? ''
