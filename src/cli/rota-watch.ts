import { existsSync, readFileSync, rmSync } from 'node:fs'
import { z } from 'zod'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import type { CalendarNamed } from '../config/calendar-copy.ts'
import { writeWhole } from '../config/clinic-save.ts'
import { fitPageText } from '../pagers/page-text.ts'
import type { Pager } from '../pagers/pager.ts'
import type { Clock, Random } from '../runtime/clock.ts'
import type { OnFault } from '../runtime/fault.ts'
import type { Log } from '../runtime/log.ts'
import { type CoverTold, type WatchCoverDependencies, watchCover } from '../runtime/watch-cover.ts'
import { DOUBTS, type Doubt } from '../runtime/watch-health.ts'
import { instant } from '../time/instant.ts'
import { holeSentence } from './board-view.ts'
import { type CalendarFeeds, calendarFeeds } from './calendar-feeds.ts'

/** What the running bot does for the rota: looks for holes in the coming week, and looks at live calendars. */
export interface RotaWatch {
  /** Live calendars; undefined where none are looked at. */
  readonly feeds: CalendarFeeds | undefined
  doubts(): readonly Doubt[]
  start(): void
  stop(): void
}

export function rotaWatch(deps: {
  /** The clinic's folder; left out, live calendars are not looked at. */
  readonly clinicDir?: string
  readonly line: () => Line
  readonly calendars: () => readonly CalendarNamed[]
  readonly clock: Clock
  readonly random: Random
  readonly pagerOf: (id: string) => Pager | undefined
  readonly wording: Wording
  readonly link: () => string
  readonly toldFile: string
  readonly log: Log
  readonly onFault: OnFault
}): RotaWatch {
  const { clinicDir, line, wording } = deps
  const clinic = () => line().clinic
  const feeds = clinicDir === undefined ? undefined : calendarFeeds({ ...deps, clinicDir, clinic })
  const cover = watchCover({
    ...deps,
    clinic,
    others: () => feeds?.doubts() ?? [],
    textOf: (found, isLastDay) => [
      `${wording(isLastDay ? 'rota-mail-today' : 'rota-mail-soon')}.`,
      ...found.map(one => `${holeSentence(line(), one, wording)}.`),
      wording('rota-mail-look'),
    ],
    fitPage: fitPageText,
    told: toldIn(deps.toldFile),
  })
  return {
    feeds,
    doubts: () => cover.doubts(),
    start() {
      feeds?.start()
      cover.start()
    },
    stop() {
      feeds?.stop()
      cover.stop()
    },
  }
}

const moment = z.number().int().positive().transform(instant)
const hole = z.object({
  what: z.enum(DOUBTS),
  role: z.string().optional(),
  from: moment.optional(),
  until: moment.optional(),
})
const shape = z.object({ at: moment, onLastDayAt: moment.optional(), holes: z.array(hole) })

/** When people were last told. A file that is damaged counts as none: they are told once more. */
function toldIn(file: string): WatchCoverDependencies['told'] {
  return {
    read() {
      if (!existsSync(file)) return undefined
      try {
        return shape.parse(JSON.parse(readFileSync(file, 'utf8'))) as CoverTold
      } catch {
        return undefined
      }
    },
    write(told: CoverTold | undefined) {
      if (told === undefined) rmSync(file, { force: true })
      else writeWhole(file, `${JSON.stringify(told)}\n`)
    },
  }
}
