/** What is wrong with a calendar, or with one of its events; nothing of it may be used as it stands. */
export class CalendarRefused extends Error {
  override readonly name = 'CalendarRefused'
  readonly code: CalendarCode
  readonly line: number
  /** What the calendar says there, where that helps to find it. */
  readonly quoted: string | undefined

  constructor(code: CalendarCode, message: string, line = 1, quoted?: string) {
    super(message)
    this.code = code
    this.line = line
    this.quoted = quoted
  }
}

export type CalendarCode =
  | 'CALENDAR_UNREADABLE'
  | 'CALENDAR_TOO_LARGE'
  | 'CALENDAR_ZONE'
  | 'CALENDAR_TIME'
  | 'CALENDAR_RULE'
  | 'CALENDAR_WHO'
