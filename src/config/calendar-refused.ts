/** What is wrong with a calendar as a whole; nothing of it may be used. */
export class CalendarRefused extends Error {
  override readonly name = 'CalendarRefused'
  readonly code: CalendarCode
  readonly line: number

  constructor(code: CalendarCode, message: string, line = 1) {
    super(message)
    this.code = code
    this.line = line
  }
}

export type CalendarCode =
  | 'CALENDAR_UNREADABLE'
  | 'CALENDAR_TOO_LARGE'
  | 'CALENDAR_ZONE'
  | 'CALENDAR_TIME'
  | 'CALENDAR_RULE'
  | 'CALENDAR_WHO'
