import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { peopleThere } from '../oncall/clinic.ts'
import { isOpen } from '../oncall/opening.ts'
import { rolesOf } from '../oncall/rota.ts'
import { stretches } from '../oncall/timeline.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Runtime } from '../runtime/runtime.ts'
import { after, type Instant, minutes } from '../time/instant.ts'
import type { DeskFile } from './desk-file.ts'
import { type NowSources, nightLine, nightOf, untakenOf } from './now-view.ts'

/** What is urgent and nobody's so long after the clinic opened goes to whoever leads it. Our own figure, no source. */
export const UNTAKEN_MS = minutes(30)
const LOOK_EVERY_MS = minutes(1)

export interface DayWatchOptions {
  readonly clock: Clock
  readonly now: () => Instant
  readonly line: () => Line
  readonly sources: () => Promise<NowSources>
  readonly desk: DeskFile
  readonly tellPeople: Runtime['tellPeople']
  readonly wording: Wording
  /** Where whoever is told can name somebody. */
  readonly link: () => string
  readonly onFault: (error: unknown) => void
}

/**
 * Tells the clinic's leads, once for a night, which cases of it were sent to hospital or told to ring an ambulance and are
 * nobody's half an hour after the clinic opened. Where nobody has the role, everybody who keeps the clinic's file. At the opening those
 * who had the night get one line about it.
 */
export function dayWatch(options: DayWatchOptions): { start(): void; look(): Promise<void>; stop(): void } {
  const { clock, now, desk, wording } = options
  let cancel = () => {}
  let stopped = false

  async function look(): Promise<void> {
    const at = now()
    const night = nightOf(options.line(), at)
    const { until } = night
    if (until === undefined || !isOpen(options.line().clinic, at)) return
    await tellLine(night.from, until)
    if (at < after(until, UNTAKEN_MS)) return
    if (desk.read().dayTold === night.from) return
    const untaken = await untakenOf(await options.sources())
    if (untaken.length === 0) return
    const pieces = [wording('day-untaken', { code: untaken.join(', ') })]
    const key = `day.${night.from}`
    await options.tellPeople({ to: leadsIn(options.line()), pieces, key, urgency: 'set-out', link: options.link })
    desk.change({ dayTold: night.from })
  }

  /** One line to whoever had the night, once, with where each page is judged. */
  async function tellLine(from: Instant, until: Instant): Promise<void> {
    if (desk.read().lineTold === from) return
    const line = await nightLine(await options.sources())
    desk.change({ lineTold: from })
    if (line === undefined) return
    const { clinic } = options.line()
    const duties = rolesOf(clinic).flatMap(role =>
      stretches(clinic, role, from, until).flatMap(({ duty }) => duty ?? []),
    )
    const had = new Set(duties.map(({ who }) => who))
    const to = peopleThere(clinic).flatMap(({ id }) => (had.has(id) ? [id] : []))
    const pieces = [wording('day-line-told'), line]
    await options.tellPeople({ to, pieces, key: `night.${from}`, urgency: 'speak', link: options.link })
  }

  function again(): void {
    cancel = clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, () => {
      void look()
        .catch(options.onFault)
        .finally(() => {
          if (!stopped) again()
        })
    })
  }

  return {
    start: again,
    look,
    stop() {
      stopped = true
      cancel()
    },
  }
}

/** Ids of those who lead; else of administrators; else of everybody who can be reached. */
function leadsIn({ clinic }: Line): readonly string[] {
  const there = peopleThere(clinic).filter(({ pageAt }) => pageAt.length > 0)
  for (const role of ['lead', 'administrator'] as const) {
    const found = there.filter(({ roles = [] }) => roles.includes(role))
    if (found.length > 0) return found.map(({ id }) => id)
  }
  return there.map(({ id }) => id)
}
