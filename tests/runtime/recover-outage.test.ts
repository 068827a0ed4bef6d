import { describe, expect, it } from 'vitest'
import type { CaseState } from '../../src/case/state.ts'
import { days, hours, instant, minutes, seconds } from '../../src/time/instant.ts'
import { aLine, demoClinic } from '../support/a-line.ts'
import { AMARA } from '../support/case-talk.ts'
import { aNight, reachable, upTo } from '../support/line-night.ts'
import type { World } from '../support/world.ts'

/** The line was down: what a start does with what came due meanwhile, with the shipped flow and the demonstration's clinic. */
const line = aLine({}, { clinic: reachable(demoClinic()) })

const idsIn = (night: World): string[] =>
  night.delivered.flatMap(({ parts }) => parts.flatMap(part => ('id' in part ? [part.id] : [])))
const textOf = (night: World, id: string): string[] =>
  night.delivered.flatMap(({ parts }) =>
    parts.flatMap(part => ('id' in part && part.id === id && 'text' in part ? [part.text] : [])),
  )
const pagedTo = (night: World): string[] => night.paged.map(({ to, kind }) => `${to.id} ${kind}`)
const caseOf = async (night: World) => (await night.state()) as unknown as CaseState

async function paged(): Promise<World> {
  const night = await aNight(line)
  await upTo(night, 'ring-back')
  expect(pagedTo(night)).toEqual(['amara page'])
  return night
}

describe('an outage over the whole ladder', () => {
  it.each([
    ['eleven minutes', minutes(11)],
    ['three hours', hours(3)],
  ])('of %s pages everyone at the start, and tells the family once that nobody has answered', async (_name, down) => {
    const night = await (await paged()).restart(down)
    await night.advance(seconds(2))
    expect(pagedTo(night).sort()).toEqual(['amara repeat', 'ingrid page', 'ward-desk page'])
    expect(idsIn(night).filter(id => id === 'nobody-answered')).toHaveLength(1)
    expect(idsIn(night)).toContain('out-of-touch')
    await night.advance(minutes(9))
    expect(pagedTo(night)).toHaveLength(3)
  })

  it('of four minutes goes on with the rung that was due', async () => {
    const night = await (await paged()).restart(minutes(4))
    await night.advance(seconds(2))
    expect(pagedTo(night)).toEqual(['amara repeat'])
    expect(idsIn(night)).not.toContain('nobody-answered')
  })

  it('over a promised call tells the family unasked, pages whoever promised and the next', async () => {
    const before = await paged()
    const by = instant(before.runtime.now() + minutes(15))
    await before.runtime.act(await before.caseId(), {
      kind: 'pageAcknowledged',
      by: AMARA,
      doing: { kind: 'ringing-by', by },
    })
    const night = await before.restart(minutes(45))
    await night.advance(seconds(2))
    expect(idsIn(night)).toContain('promise-broken')
    expect(pagedTo(night).sort()).toEqual(['amara repeat', 'ingrid page'])
  })

  it('calls no family silent that could not be heard: asks again, and pages for silence when that is not answered', async () => {
    const night = await (await paged()).restart(minutes(45))
    await night.advance(minutes(8))
    expect(idsIn(night)).not.toContain('are-you-there')
    expect(idsIn(night)).not.toContain('silence-paged')
    await night.advance(minutes(3))
    expect(idsIn(night)).toContain('are-you-there')
    await night.advance(minutes(10))
    expect(idsIn(night)).toContain('silence-paged')
  })

  it('names no time that is past in a reply that could not leave before', async () => {
    const before = await aNight(line)
    before.deliver = async () => ({ kind: 'failed', reason: 'away' })
    await upTo(before, 'ring-back')
    before.deliver = async () => ({ kind: 'delivered' })
    const night = await before.restart(minutes(45))
    await night.advance(minutes(6))
    const [text] = textOf(night, 'leave-by-time')
    expect(text).toMatch(/^Leave for .+ now\.$/)
  })
})

describe('a wall clock that was set back while nothing ran', () => {
  it('leaves no alarm waiting for it: time goes on from what is written down', async () => {
    const before = await paged()
    const { latestSeenAt } = await caseOf(before)
    before.clock.setWallBy(-hours(1))
    const night = await before.restart(minutes(1))
    expect(night.runtime.now()).toBeGreaterThanOrEqual(latestSeenAt)
    expect(night.faults.map(({ code }) => code)).toEqual(['clock-stepped'])
    await night.advance(minutes(3) / 0.99 + 2_000)
    expect(pagedTo(night)).toEqual(['amara repeat'])
    await night.advance(minutes(7) / 0.99 + 2_000)
    expect(idsIn(night)).toContain('nobody-answered')
    expect((await caseOf(night)).clockDoubtMs).toBeGreaterThanOrEqual(minutes(58))
  })

  it('is taken as it is where no case is open', async () => {
    const before = await aNight(line)
    await before.runtime.act(await before.caseId(), {
      kind: 'outcomeSet',
      by: AMARA,
      outcome: 'replaced',
      doNotWrite: false,
    })
    await before.advance(days(1) + hours(1))
    expect((await caseOf(before)).closed).toBe(true)
    before.clock.setWallBy(-hours(1))
    const night = await before.restart(minutes(1))
    expect(night.runtime.now()).toBe(night.clock.now())
    expect(night.faults).toEqual([])
  })

  it('by days is not followed but reported, with the case that waits for it', async () => {
    const before = await paged()
    before.clock.setWallBy(-days(3))
    const night = await before.restart(minutes(1))
    expect(night.runtime.now()).toBe(night.clock.now())
    expect(night.faults).toMatchObject([{ code: 'clock-behind-case', caseId: await night.caseId() }])
  })
})

describe('an alarm a month away', () => {
  it('comes in its minute, also on a machine that sleeps most of the month', async () => {
    const before = await aNight(line)
    await before.runtime.act(await before.caseId(), {
      kind: 'outcomeSet',
      by: AMARA,
      outcome: 'replaced',
      doNotWrite: false,
    })
    const step = await before.store.load(await before.caseId())
    if (step === undefined) throw new Error('no case')
    const due = instant(before.runtime.now() + days(40))
    const state = { ...JSON.parse(step.state), alarms: { close: { due, late: 'recompute' } } }
    await before.store.commit({
      ...step,
      from: step.seq,
      at: before.runtime.now(),
      closed: false,
      state: JSON.stringify(state),
      event: '{"kind":"familyRungSaid"}',
      effects: '[]',
      outbox: [],
      alarms: { set: [{ name: 'close', due }], cancel: [] },
    })
    for (let day = 0; day < 39; day += 1) {
      before.clock.setWallBy(days(1) - seconds(10))
      await before.advance(seconds(10))
    }
    await before.advance(minutes(10))
    expect((await caseOf(before)).closed).toBe(false)
    before.clock.setWallBy(days(1) - minutes(11))
    await before.advance(minutes(1) - seconds(1))
    expect((await caseOf(before)).closed).toBe(false)
    await before.advance(seconds(2))
    expect((await caseOf(before)).closed).toBe(true)
  })
})
