import { alarmsLoop } from '../runtime/alarms.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Fault } from '../runtime/fault.ts'
import type { AlarmRow, StepRecord, Store } from '../store/store.ts'
import { after, days, type Instant, instant, milliseconds, minutes } from '../time/instant.ts'
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
/** From the moment the loop runs to the first alarm. */
const LEAD_MS = 100
/** A round that has not ended by then never will. */
const GIVEN_UP_MS = 60_000

const ALARM = 'measured'
const CHAT = { channel: 'web', chat: 'measured' } as const

/**
 * How late alarms fire, through the loop, the store and the clock that serve. What firing does here is the least that is
 * honest: one sealed step that writes the event and takes the row away, durable before it counts as fired. The flow's
 * own step, and the replies and pages it leads to, come on top.
 */
export async function alarmsArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const store = await subject.openStore(folder)
  progress.says(`alarms: setting ${CASES * OUTSTANDING_EACH} that stay outstanding`)
  const cases = await casesWithAlarms(store, subject.clock.now())
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

/** Event numbers of the cases, by id. */
type Cases = Map<string, number>

async function casesWithAlarms(store: Store, now: Instant): Promise<Cases> {
  const cases: Cases = new Map()
  const set = Array.from({ length: OUTSTANDING_EACH }, (_, place) => ({
    name: `later-${place}`,
    due: after(now, days(30 + place)),
  }))
  const ids = Array.from({ length: CASES }, (_, place) => `${place}`.padStart(32, '0'))
  for (let from = 0; from < ids.length; from += 500) {
    await Promise.all(
      ids.slice(from, from + 500).map(id => committed(store, cases, stepOf(id, 0, now, { set, cancel: [] }))),
    )
  }
  return cases
}

function stepOf(caseId: string, from: number, at: Instant, alarms: StepRecord['alarms']): StepRecord {
  const event = JSON.stringify({ kind: 'alarmDue', name: ALARM, due: at })
  return { caseId, chat: CHAT, from, at, closed: false, state: '{}', event, effects: '[]', outbox: [], alarms }
}

async function committed(store: Store, cases: Cases, step: StepRecord): Promise<void> {
  const result = await store.commit(step)
  if (result !== 'committed') throw new Error(`measure: a step came back as "${result}"; "committed" was expected`)
  cases.set(step.caseId, step.from + 1)
}

/**
 * Sets one alarm a case, lets the loop fire them, and says how late 99 of 100 were. They are set an hour ahead, and then the
 * clock is put forward: how long the setting takes does not count.
 */
async function latenessOfLoop(store: Store, real: Clock, cases: Cases, dues: readonly number[]): Promise<number> {
  let aheadMs = 0
  const clock: Clock = { ...real, now: () => instant(real.now() + aheadMs) }
  const start = after(clock.now(), minutes(60))
  const ids = [...cases.keys()].slice(0, dues.length)
  for (let from = 0; from < ids.length; from += 500) {
    const some = ids.slice(from, from + 500).map((caseId, place) => {
      const due = after(start, milliseconds(dues[from + place] ?? 0))
      const alarms = { set: [{ name: ALARM, due }], cancel: [] }
      return committed(store, cases, stepOf(caseId, cases.get(caseId) ?? 0, clock.now(), alarms))
    })
    await Promise.all(some)
  }
  const late: number[] = []
  const faults: Fault[] = []
  let done = () => {}
  const all = new Promise<void>(resolve => {
    done = resolve
  })
  const fire = async (row: AlarmRow) => {
    const alarms = { set: [], cancel: [row.name] }
    await committed(store, cases, stepOf(row.caseId, cases.get(row.caseId) ?? 0, clock.now(), alarms))
    late.push(clock.now() - row.due)
    if (late.length === dues.length) done()
    return { kind: 'done' } as const
  }
  const loop = alarmsLoop({ store, clock, fire, onFault: fault => faults.push(fault) })
  aheadMs = start - real.now() - LEAD_MS
  loop.start()
  const giveUp = real.wake(real.monotonicMs() + GIVEN_UP_MS, done)
  await all
  giveUp()
  await loop.stop()
  if (late.length < dues.length || faults.length > 0) {
    throw new Error(
      `measure: ${late.length} of ${dues.length} alarms fired within ${GIVEN_UP_MS / 1_000} s, with ${faults.length} faults (${faults[0]?.code ?? 'none'}); all and none were expected`,
    )
  }
  return percentile(late, 0.99)
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
