import { describe, expect, it } from 'vitest'
import { minutes, seconds } from '../../src/time/instant.ts'
import { memoryStore } from '../support/memory-store.ts'
import { CHAT, wordsOf, world } from '../support/world.ts'

describe('a start after an outage', () => {
  it('asks the open question again when both outage and question are at least 150 s old', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    night = await night.restart(seconds(150))
    expect(night.delivered.map(wordsOf)).toEqual([['out-of-touch', 'ask 1']])
  })

  it('asks it again also where a press of that age would become too old before it is heard', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    await night.advance(minutes(5))
    night = await night.restart(seconds(125))
    expect(night.delivered.map(wordsOf)).toEqual([['out-of-touch', 'ask 1']])
  })

  it('asks nothing again after a short restart, when every press still arrives', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    await night.advance(minutes(5))
    night = await night.restart(seconds(20))
    expect(night.delivered).toEqual([])
  })

  it('asks nothing again where the question is younger than that: its presses still arrive', async () => {
    let night = await world().start()
    await night.advance(seconds(19))
    await night.say('the tube is out')
    night = await night.restart(seconds(112))
    expect(night.delivered).toEqual([])
  })

  it('asks nothing where no question is open, or the case is closed', async () => {
    let night = await world().start()
    await night.say('hello')
    await night.say('the tube is out', { chat: 'other' })
    const by = { id: 'amara', name: 'Nurse Amara Osei', role: 'feeding nurse' }
    await night.runtime.act(await night.caseId('other'), {
      kind: 'outcomeSet',
      by,
      outcome: 'replaced',
      doNotWrite: false,
    })
    await night.runtime.idle()
    night = await night.restart(minutes(4))
    expect(night.delivered).toEqual([])
  })

  it('that never wrote a sign of life counts the outage from the last thing that happened', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    night.lastAlive = undefined
    night = await night.restart(minutes(4))
    expect(night.delivered.map(wordsOf)).toEqual([['out-of-touch', 'ask 1']])
  })

  it('gives no new case the code of one it found', async () => {
    let night = await world({ seed: 9 }).start()
    for (let n = 0; n < 60; n += 1) await night.say('the tube is out', { chat: `a-${n}`, deliveryId: `a${n}` })
    night = await night.restart()
    for (let n = 0; n < 60; n += 1) await night.say('the tube is out', { chat: `b-${n}`, deliveryId: `b${n}` })
    const codes = (await night.store.recent(night.clock.now())).map(
      each => (JSON.parse(each.state) as { code: string }).code,
    )
    expect(new Set(codes).size).toBe(120)
  })

  it('tells a case of a page given up while the process died before saying so: the ladder moves', async () => {
    const store = memoryStore()
    let night = await world({ store }).start()
    night.page = async page => (page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'refused', reason: 'gone' })
    store.plan({ call: 'outboxOf', nth: 1, how: 'silent' })
    store.plan({ call: 'outboxOf', nth: 2, how: 'silent' })
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'danger' },
    })
    await night.clock.advance(seconds(1))
    expect(night.paged).toEqual([])
    night = await night.restart(seconds(5))
    await night.advance(seconds(5))
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
    night = await night.restart(seconds(5))
    await night.advance(seconds(30))
    expect((await night.state()).heard.filter(each => each === 'page amara given-up')).toHaveLength(1)
    expect(night.paged).toEqual([])
  })

  it('fires alarms, sends what waited and asks again, all from one disk', async () => {
    let night = await world().start()
    night.deliver = async () => ({ kind: 'failed', reason: 'down' })
    await night.say('the tube is out')
    night.deliver = async () => ({ kind: 'delivered' })
    night = await night.restart(minutes(30))
    await night.advance(seconds(60))
    expect(night.delivered.map(wordsOf)).toEqual([
      ['hold', 'ask 1'],
      ['out-of-touch', 'ask 1'],
      ['alarm', 'ask 1'],
    ])
  })
})

describe('a stop', () => {
  it('ends what is under way, takes up nothing new, and writes a last sign of life', async () => {
    const night = await world().start()
    const release: (() => void)[] = []
    night.deliver = () => new Promise(resolve => release.push(() => resolve({ kind: 'delivered' })))
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.clock.advance(seconds(2))
    let stopped = false
    const stopping = night.runtime.stop().then(() => {
      stopped = true
    })
    await night.clock.advance(seconds(3))
    expect(stopped).toBe(false)
    for (const one of release) one()
    await night.clock.advance(0)
    await stopping
    const [row] = await night.store.outboxOf(await night.caseId())
    expect(row?.status).toBe('sent')
    expect(night.lastAlive).toBe(night.clock.now())
    expect(night.clock.waiting).toBe(0)
  })

  it('does not wait past its grace for a send that hangs, and says so', async () => {
    const night = await world().start()
    night.deliver = () => new Promise(() => undefined)
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.clock.advance(0)
    const stopping = night.runtime.stop(seconds(5))
    await night.clock.advance(seconds(6))
    await stopping
    expect(night.faults.map(fault => fault.code)).toEqual(['stop-timed-out'])
  })

  it('leaves what it did not send for the next start', async () => {
    let night = await world().start()
    night.deliver = async () => ({ kind: 'failed', reason: 'down' })
    await night.say('the tube is out')
    await night.runtime.stop()
    night.deliver = async () => ({ kind: 'delivered' })
    night = await night.restart(seconds(10))
    await night.advance(seconds(10))
    expect(night.delivered.map(wordsOf)).toEqual([['hold', 'ask 1']])
  })
})

describe('figures', () => {
  it('show how long ago each loop looked, and what is under way', async () => {
    const night = await world().start()
    night.deliver = () => new Promise(() => undefined)
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.clock.advance(seconds(5))
    const { sinceLookMs, ...rest } = night.runtime.figures()
    expect(rest).toEqual({ queued: 0, pagesInFlight: 0, repliesInFlight: 1, untold: 0 })
    for (const ms of Object.values(sinceLookMs)) expect(ms).toBeLessThanOrEqual(1_000)
  })
})
