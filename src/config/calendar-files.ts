import { mkdirSync, readdirSync, rmSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { type CalendarCopy, copyText } from './calendar-copy.ts'
import { CALENDARS, calendarFile } from './calendar-edits.ts'
import { writeWhole } from './clinic-save.ts'

/** Writes a copy into the clinic's folder. It counts once the clinic's file names it. */
export function writeCalendar(clinicDir: string, copy: CalendarCopy): void {
  const file = join(clinicDir, calendarFile(copy))
  mkdirSync(dirname(file), { recursive: true })
  writeWhole(file, copyText(copy), 0o640)
}

/** Removes copies of a role that none of these texts of the clinic's file names. */
export function removeUnnamed(clinicDir: string, role: string, texts: readonly string[]): void {
  const isOfRole = new RegExp(`^${role}-[0-9a-f]{8}\\.json$`)
  for (const name of readdirSync(join(clinicDir, CALENDARS)).filter(each => isOfRole.test(each)))
    if (!texts.some(text => text.includes(`${CALENDARS}/${name}`)))
      rmSync(join(clinicDir, CALENDARS, name), { force: true })
}
