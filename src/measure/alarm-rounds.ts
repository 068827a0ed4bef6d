import { alarmsLoop } from '../runtime/alarms.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Fault } from '../runtime/fault.ts'
import type { AlarmRow, StepRecord, Store } from '../store/store.ts'
import { after, days, type Instant, instant, milliseconds, minutes } from '../time/instant.ts'
import { percentile } from './figure.ts'
import { committed } from './steps.ts'

/** From the moment the loop runs to the first alarm. */
export const LEAD_MS = 100
/** A round that has not ended by then never will. */
const GIVEN_UP_MS = 60_000

const ALARM = 'measured'
/** Chats that the cases are spread over: a store that keeps them apart by chat has its work. */
const CHATS = 1_000
const chatOf = (caseId: string) => ({ channel: 'web', chat: `measured-${Number(caseId.slice(-9)) % CHATS}` })

/** Event numbers of the cases, by id. */
export type Cases = Map<string, number>

/** New cases, each with so many alarms that are due in a month. */
export async function casesWithAlarms(
  store: Store,
  now: Instant,
  given: { readonly cases: number; readonly each: number; readonly named?: string },
): Promise<Cases> {
  const cases: Cases = new Map()
  const set = Array.from({ length: given.each }, (_, place) => ({
    name: `later-${place}`,
    due: after(now, days(30 + place)),
  }))
  const ids = Array.from({ length: given.cases }, (_, place) => `${given.named ?? '0'}${`${place}`.padStart(31, '0')}`)
  for (let from = 0; from < ids.length; from += 500) {
    await Promise.all(
      ids.slice(from, from + 500).map(id => moved(store, cases, stepOf(id, 0, now, { set, cancel: [] }))),
    )
  }
  return cases
}

function stepOf(caseId: string, from: number, at: Instant, alarms: StepRecord['alarms']): StepRecord {
  const event = JSON.stringify({ kind: 'alarmDue', name: ALARM, due: at })
  return {
    caseId,
    chat: chatOf(caseId),
    from,
    at,
    closed: false,
    state: '{}',
    event,
    effects: '[]',
    outbox: [],
    alarms,
  }
}

async function moved(store: Store, cases: Cases, step: StepRecord): Promise<void> {
  await committed(store, step)
  cases.set(step.caseId, step.from + 1)
}

/**
 * Sets one alarm a case, lets the loop fire them, and says how late 99 of 100 were. They are set an hour ahead, and then the
 * clock is put forward: how long the setting takes does not count.
 */
export async function latenessOfLoop(
  store: Store,
  real: Clock,
  cases: Cases,
  dues: readonly number[],
): Promise<number> {
  return percentile((await firedBy(store, real, cases, dues)).late, 0.99)
}

/** Sets one alarm a case, all due at once, and lets the loop fire them: how many a second. */
export async function firedASecond(store: Store, real: Clock, cases: Cases, alarms: number): Promise<number> {
  const dues = Array.from({ length: alarms }, () => 0)
  return (alarms * 1_000) / Math.max(...(await firedBy(store, real, cases, dues)).late)
}

async function firedBy(store: Store, real: Clock, cases: Cases, dues: readonly number[]) {
  let aheadMs = 0
  const clock: Clock = { ...real, now: () => instant(real.now() + aheadMs) }
  const start = after(clock.now(), minutes(60))
  const ids = [...cases.keys()].slice(0, dues.length)
  for (let from = 0; from < ids.length; from += 500) {
    const some = ids.slice(from, from + 500).map((caseId, place) => {
      const due = after(start, milliseconds(dues[from + place] ?? 0))
      const alarms = { set: [{ name: ALARM, due }], cancel: [] }
      return moved(store, cases, stepOf(caseId, cases.get(caseId) ?? 0, clock.now(), alarms))
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
    await moved(store, cases, stepOf(row.caseId, cases.get(row.caseId) ?? 0, clock.now(), alarms))
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
  return { late }
}
