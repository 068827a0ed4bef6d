import { mkdirSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { type CalendarCopy, copyText, readCopy } from '../config/calendar-copy.ts'
import { writeWhole } from '../config/clinic-save.ts'
import type { Random } from '../runtime/clock.ts'
import { hours } from '../time/instant.ts'

/** A calendar as somebody gave it on a page, and as it was read. */
export interface CalendarGiven {
  readonly role: string
  /** Address of a live one. */
  readonly from?: string
  readonly onlyPublic: boolean
  readonly ignores: readonly string[]
  readonly text: string
  readonly copy: CalendarCopy
  /** Each of its events is a shift of somebody: it may be saved. */
  readonly isWhole: boolean
  readonly wholeDays: number
  readonly withoutZone: number
}

/**
 * Calendars that somebody gave on a page and has not saved yet, in the data folder: a proxy may send the next press to another
 * process of the line. Eight are kept, for an hour. Holds no family.
 */
export interface CalendarDrafts {
  /** Keeps it, and gives its id. */
  keep(given: CalendarGiven): string
  of(id: string): CalendarGiven | undefined
  remove(id: string): void
}

const KEPT_MS = hours(1)
const KEPT_MOST = 8

const shape = z.object({
  role: z.string(),
  from: z.string().optional(),
  onlyPublic: z.boolean(),
  ignores: z.array(z.string()),
  text: z.string(),
  copy: z.string(),
  isWhole: z.boolean(),
  wholeDays: z.number(),
  withoutZone: z.number(),
})

export function calendarDrafts(folder: string, random: Random): CalendarDrafts {
  const fileOf = (id: string) => join(folder, `${id}.json`)

  function tidy(): void {
    const found = readdirSync(folder)
      .map(name => ({ name, at: statSync(join(folder, name)).mtimeMs }))
      .toSorted((a, b) => b.at - a.at)
    const newest = found[0]?.at ?? 0
    for (const [index, { name, at }] of found.entries())
      if (index >= KEPT_MOST || at < newest - KEPT_MS) rmSync(join(folder, name), { force: true })
  }

  return {
    keep({ copy, ...rest }) {
      mkdirSync(folder, { recursive: true, mode: 0o700 })
      const id = random.hex(16)
      writeWhole(fileOf(id), JSON.stringify({ ...rest, copy: copyText(copy) }))
      tidy()
      return id
    },
    of(id) {
      if (!/^[0-9a-f]{32}$/.test(id)) return undefined
      try {
        const { copy, from, ...rest } = shape.parse(JSON.parse(readFileSync(fileOf(id), 'utf8')))
        const read = readCopy(Buffer.from(copy))
        return read === undefined ? undefined : { ...rest, copy: read, ...(from === undefined ? {} : { from }) }
      } catch {
        return undefined
      }
    },
    remove: id => void (/^[0-9a-f]{32}$/.test(id) && rmSync(fileOf(id), { force: true })),
  }
}
