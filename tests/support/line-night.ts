import type { Answer } from '../../src/case/answer.ts'
import type { CaseEvent } from '../../src/case/event.ts'
import type { Line } from '../../src/case/line.ts'
import type { CaseState } from '../../src/case/state.ts'
import type { Clinic } from '../../src/oncall/clinic.ts'
import { lineMachine } from '../../src/runtime/line-machine.ts'
import type { Store } from '../../src/store/store.ts'
import { type Instant, instant, minutes } from '../../src/time/instant.ts'
import { answerOf, PLAIN, type Said } from './case-talk.ts'
import { handClock } from './hand-clock.ts'
import { type World, world } from './world.ts'

/** Everybody of the demonstration, reached by a pager of the test. */
export function reachable(clinic: Clinic): Clinic {
  const byBeeper = <T extends { readonly id: string; readonly pageAt: readonly unknown[] }>(each: T): T => ({
    ...each,
    pageAt: each.pageAt.length === 0 ? [] : [{ pager: 'beeper', address: each.id }],
  })
  return { ...clinic, people: clinic.people.map(byBeeper), desks: clinic.desks.map(byBeeper) }
}

export interface Happened {
  readonly event: CaseEvent
  readonly at: number
  readonly monotonicMs: number
  readonly set: readonly { readonly name: string; readonly due: number }[]
  readonly cancelled: readonly string[]
  readonly state: CaseState
}

export interface Night extends World {
  readonly happened: Happened[]
  readonly talk: () => Promise<CaseState>
  readonly act: (event: CaseEvent) => Promise<void>
  /** Answers each question that opens as listed; stops at one that is not. */
  readonly answers: (listed: Readonly<Record<string, Said>>) => Promise<void>
}

/** A night of the real line: everything that was stepped is written down with both clocks. */
export async function aNight(line: Line, startAt?: Instant): Promise<Night> {
  const happened: Happened[] = []
  const through = (store: Store): Store => ({
    ...store,
    async commit(step) {
      const done = await store.commit(step)
      if (done === 'committed')
        happened.push({
          event: JSON.parse(step.event) as CaseEvent,
          at: step.at,
          monotonicMs: night.clock.monotonicMs(),
          set: step.alarms.set,
          cancelled: step.alarms.cancel,
          state: JSON.parse(step.state) as CaseState,
        })
      return done
    },
  })
  const night = world({
    machine: lineMachine(line),
    clinic: line.clinic,
    through,
    ...(startAt === undefined ? {} : { clock: handClock(startAt) }),
  })
  await night.start()
  await night.say('the tube is out')
  const talk = async () => (await night.state()) as unknown as CaseState
  const act = async (event: CaseEvent) => {
    await night.runtime.act(await night.caseId(), event)
    await night.runtime.idle()
  }
  async function answers(listed: Readonly<Record<string, Said>>): Promise<void> {
    for (let count = 0; count < 40; count += 1) {
      const { open } = await talk()
      const said = open === undefined ? undefined : listed[open.fact]
      if (open === undefined || said === undefined) return
      const answer = answerOf(line, open.fact, said)
      await act({ kind: 'answerGiven', serial: open.serial, fact: open.fact, answer, said: 'as said' })
    }
  }
  return Object.assign(night, { happened, talk, act, answers })
}

/** Ten minutes ago, by the clock that labels messages. */
const out = (night: World): Answer => ({
  kind: 'moment',
  earliest: instant(night.runtime.now() - minutes(10)),
  latest: instant(night.runtime.now() - minutes(5)),
})
export const plain = (night: World): Readonly<Record<string, Said>> => ({ ...PLAIN, 'out-since': out(night) })
export const upTo = async (night: Night, fact: string): Promise<void> => {
  const { [fact]: _not, ...before } = plain(night)
  await night.answers(before)
}

/** What became of every alarm that was set: fired, moved, cancelled, or still standing. */
export function alarmsOf(happened: readonly Happened[]) {
  const standing = new Map<string, { readonly due: number; readonly lengthMs: number; readonly setMs: number }>()
  const fired: { name: string; due: number; lengthMs: number; tookMs: number; setMs: number }[] = []
  for (const { event, at, monotonicMs, set, cancelled } of happened) {
    if (event.kind === 'alarmDue') {
      const alarm = standing.get(event.name)
      if (alarm !== undefined && alarm.due === event.due)
        fired.push({
          name: event.name,
          due: event.due,
          lengthMs: alarm.lengthMs,
          setMs: alarm.setMs,
          tookMs: monotonicMs - alarm.setMs,
        })
    }
    for (const name of cancelled) standing.delete(name)
    for (const { name, due } of set) standing.set(name, { due, lengthMs: due - at, setMs: monotonicMs })
  }
  return { standing, fired }
}
