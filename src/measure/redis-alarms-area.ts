import { join } from 'node:path'
import { casesWithAlarms, firedASecond, latenessOfLoop } from './alarm-rounds.ts'
import { delayedJobs } from './delayed-jobs.ts'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import { type MeasuredRedis, startRedis } from './redis-server.ts'
import { interleaved } from './rounds.ts'
import { seeded } from './seeded.ts'
import type { AreaContext } from './subject.ts'

const CASES = 10_000
/** Alarms of a busy round: ten thousand a second, as long as that takes. */
const BUSY = 3_000
/** Alarms of each case that stay outstanding all the time. */
const OUTSTANDING_EACH = 10
/** They are all due within this. */
const BUSY_MS = 300
/** Alarms of a quiet round, one each {@link QUIET_EVERY_MS}. */
const QUIET = 100
const QUIET_EVERY_MS = 20
/** Alarms that are overdue when a round of catching up begins. */
const OVERDUE = 2_000
/** Cases that bytes are counted over. */
const COUNTED = 2_000

/**
 * How late alarms fire that lie in Redis, how fast what is overdue is caught up with, and what one takes of its memory. Beside
 * a general-purpose queue of delayed jobs on the same Redis. Firing one of ours is a sealed step that writes its event and
 * takes the row away; a job of the peer's does nothing. The timer alone is the same without the seal: a store without a step
 * of a case cannot let go of an alarm, and that is meant.
 */
export async function redisAlarmsArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const redis = await startRedis(ground, 'everysec', subject.clock)
  const folder = ground.folder()
  const store = await subject.openRedisStore(join(folder, 'data'), redis.port)
  const timers = await subject.openUnsealedRedisStore(redis.port)
  const jobs = delayedJobs(redis.port, subject.clock)
  const bytes = await bytesEach(redis, store, jobs, subject.clock.now())
  progress.says(`alarms on Redis: setting ${CASES * OUTSTANDING_EACH} that stay outstanding, on both sides`)
  const cases = await casesWithAlarms(store, subject.clock.now(), { cases: CASES, each: OUTSTANDING_EACH })
  const timerCases = await casesWithAlarms(timers, subject.clock.now(), { cases: CASES, each: 0 })
  await jobs.outstanding(CASES * OUTSTANDING_EACH)
  const random = seeded(7)
  const busyDues = () => Array.from({ length: BUSY }, () => random.int(BUSY_MS))
  const quietDues = Array.from({ length: QUIET }, (_, place) => place * QUIET_EVERY_MS)

  const late = (dues: readonly number[]) => latenessOfLoop(store, subject.clock, cases, dues)
  const quiet = await interleaved(
    { ours: () => late(quietDues), peer: () => jobs.lateness(quietDues) },
    { what: 'alarms on Redis, one due now and then', progress },
  )
  const overdue = await interleaved(
    {
      ours: () => firedASecond(store, subject.clock, cases, OVERDUE),
      timer: () => firedASecond(timers, subject.clock, timerCases, OVERDUE),
      peer: () => jobs.caughtUpASecond(OVERDUE),
    },
    { what: `alarms on Redis, ${OVERDUE} overdue`, progress },
  )
  const busy = await interleaved(
    { ours: () => late(busyDues()), peer: () => jobs.lateness(busyDues()) },
    { what: `alarms on Redis, ${BUSY} due within ${BUSY_MS} ms`, progress },
  )
  await jobs.close()
  await Promise.all([store.close(), timers.close()])
  redis.stop()
  ground.removeFolder(folder)

  const beside = (own: readonly number[], peers: readonly number[], unit: string) =>
    `${jobs.name}, 100 at a time, ${redis.name}: ${median(own).toPrecision(3)} ${unit} beside ${median(peers).toPrecision(3)}`
  const times = { area: 'redis-alarms', unit: 'times', bound: 'least' } as const
  return [
    figureOf(
      {
        ...{ ...times, target: 10 },
        name: `as late, 99th of 100, one due each ${QUIET_EVERY_MS} milliseconds, ${CASES * OUTSTANDING_EACH} more outstanding`,
        against: beside(quiet.ours, quiet.peer, 'milliseconds'),
      },
      ratios(quiet.peer, quiet.ours),
    ),
    figureOf(
      {
        ...{ ...times, target: 10 },
        name: `as late, 99th of 100, ${BUSY} due within ${BUSY_MS} milliseconds`,
        against: beside(busy.ours, busy.peer, 'milliseconds'),
      },
      ratios(busy.peer, busy.ours),
    ),
    figureOf(
      {
        ...{ ...times, target: 8 },
        name: `overdue alarms caught up with a second, ${OVERDUE} of them`,
        against: beside(overdue.ours, overdue.peer, 'a second'),
      },
      ratios(overdue.ours, overdue.peer),
    ),
    figureOf(
      {
        ...{ ...times, target: 8 },
        name: `overdue alarms caught up with a second, ${OVERDUE} of them, the timer alone`,
        against: beside(overdue.timer, overdue.peer, 'a second'),
      },
      ratios(overdue.timer, overdue.peer),
    ),
    figureOf(
      {
        ...{ area: 'redis-alarms', unit: 'times', bound: 'most', target: 1 / 3 },
        name: 'bytes of an outstanding alarm',
        against: beside([bytes.ours], [bytes.peer], 'bytes'),
      },
      [bytes.ours / bytes.peer],
    ),
  ]
}

/** What one more alarm takes: cases with some, less as many cases with none. */
async function bytesEach(
  redis: MeasuredRedis,
  store: Parameters<typeof casesWithAlarms>[0],
  jobs: ReturnType<typeof delayedJobs>,
  now: Parameters<typeof casesWithAlarms>[1],
) {
  const grown = async (work: () => Promise<unknown>): Promise<number> => {
    const before = await redis.usedBytes()
    await work()
    return (await redis.usedBytes()) - before
  }
  const bare = await grown(() => casesWithAlarms(store, now, { cases: COUNTED, each: 0, named: '7' }))
  const alarms = { cases: COUNTED, each: OUTSTANDING_EACH, named: '8' }
  const full = await grown(() => casesWithAlarms(store, now, alarms))
  const count = COUNTED * OUTSTANDING_EACH
  const peer = await grown(() => jobs.outstanding(count))
  return { ours: (full - bare) / count, peer: peer / count }
}
