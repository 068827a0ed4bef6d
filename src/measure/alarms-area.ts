import { casesWithAlarms, LEAD_MS, latenessOfLoop } from './alarm-rounds.ts'
import { figureOf, type Measured, median, percentile } from './figure.ts'
import { interleaved } from './rounds.ts'
import { seeded } from './seeded.ts'
import type { AreaContext } from './subject.ts'

const CASES = 10_000
/** Alarms of each case that stay outstanding all the time. */
const OUTSTANDING_EACH = 10
/** All alarms of a busy round fall due within this. */
const BUSY_MS = 1_000
/** Alarms of a quiet round, one each {@link QUIET_EVERY_MS}. */
const QUIET = 150
const QUIET_EVERY_MS = 20

/**
 * How late alarms fire, through the loop, the store and the clock that serve. What firing does here is the least that is
 * honest: one sealed step that writes the event and takes the row away, durable before it counts as fired. The flow's
 * own step, and the replies and pages it leads to, come on top.
 */
export async function alarmsArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const store = await subject.openStore(folder)
  progress.says(`alarms: setting ${CASES * OUTSTANDING_EACH} that stay outstanding`)
  const cases = await casesWithAlarms(store, subject.clock.now(), { cases: CASES, each: OUTSTANDING_EACH })
  const random = seeded(7)
  const busyDues = () => Array.from({ length: CASES }, () => random.int(BUSY_MS))
  const quietDues = () => Array.from({ length: QUIET }, (_, place) => place * QUIET_EVERY_MS)
  const loop = (dues: readonly number[]) => latenessOfLoop(store, subject.clock, cases, dues)

  const busy = await interleaved(
    { ours: () => loop(busyDues()), peer: () => latenessOfTimers(busyDues()) },
    { what: `alarms, ${CASES} due within a second`, progress },
  )
  const quiet = await interleaved(
    { ours: () => loop(quietDues()), peer: () => latenessOfTimers(quietDues()) },
    { what: 'alarms, one due now and then', progress },
  )
  await store.close()
  ground.removeFolder(folder)

  const beside = (peer: readonly number[]) =>
    `node ${process.versions.node} setTimeout, which forgets when the process ends: ${median(peer).toPrecision(3)} milliseconds in this run`
  const shared = { area: 'alarms', unit: 'milliseconds', bound: 'most' } as const
  return [
    figureOf(
      {
        ...shared,
        name: `lateness, ${CASES} due within a second, ${CASES * OUTSTANDING_EACH} more outstanding, 99th of 100`,
        target: 15,
        against: beside(busy.peer),
      },
      busy.ours,
    ),
    figureOf(
      {
        ...shared,
        name: `lateness, one due each ${QUIET_EVERY_MS} milliseconds, 99th of 100`,
        target: 10,
        against: beside(quiet.peer),
      },
      quiet.ours,
    ),
  ]
}

/** The same moments with timers of the platform. */
async function latenessOfTimers(dues: readonly number[]): Promise<number> {
  const start = performance.now() + LEAD_MS
  const late = await Promise.all(
    dues.map(
      due =>
        new Promise<number>(resolve => {
          setTimeout(() => resolve(performance.now() - start - due), start + due - performance.now())
        }),
    ),
  )
  return percentile(late, 0.99)
}
