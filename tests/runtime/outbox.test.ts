import { describe, expect, it } from 'vitest'
import type { Clinician } from '../../src/case/event.ts'
import type { Incoming, Outgoing } from '../../src/case/message.ts'
import type { Delivery } from '../../src/channels/channel.ts'
import type { Store } from '../../src/store/store.ts'
import { hours, minutes, seconds } from '../../src/time/instant.ts'
import { type MemoryStore, memoryStore } from '../support/memory-store.ts'
import { CHAT, NIGHT, type World, wordsOf, world } from '../support/world.ts'

const amara: Clinician = { id: 'amara', name: 'Nurse Amara Osei', role: 'feeding nurse' }

/** Tries of replies or pages: seconds since the start of the night. */
const secondsOf = (tries: readonly { readonly second: number }[]) => tries.map(each => each.second)

/** Notes the second of every try and answers as told. */
function scripted<T, R>(night: World, answers: (tried: T, nth: number) => R) {
  const tries: { readonly second: number; readonly tried: T }[] = []
  const answer = async (tried: T): Promise<R> => {
    tries.push({ second: (night.clock.now() - NIGHT) / 1_000, tried })
    return answers(tried, tries.length)
  }
  return { tries, answer }
}

const message = (deliveryId: string, text: string, { clock }: World): Incoming => ({
  ...CHAT,
  deliveryId,
  at: clock.now(),
  body: { kind: 'text', text },
})

const never = <T>() => new Promise<T>(() => undefined)
const failed: Delivery = { kind: 'failed', reason: 'http-500' }
const unknown: Delivery = { kind: 'unknown', reason: 'timeout' }

describe('pages and replies wait for nobody else', () => {
  it('a page goes out at once while a chat is stuck', async () => {
    const night = await world().start()
    night.deliver = never
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd2',
      at: night.clock.now(),
      body: { kind: 'text', text: 'danger' },
    })
    await night.advance(0)
    expect(night.tries).toHaveLength(1)
    expect(night.paged.map(page => page.address).sort()).toEqual(['amara-1', 'amara-2'])
  })

  it('a page goes out at once while hundreds of chats are stuck', async () => {
    const night = await world().start()
    night.deliver = never
    for (let n = 0; n < 400; n += 1) {
      await night.runtime.receive({
        channel: 'web',
        chat: `stuck-${n}`,
        deliveryId: `s${n}`,
        at: night.clock.now(),
        body: { kind: 'text', text: 'the tube is out' },
      })
    }
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'danger' },
    })
    await night.advance(0)
    expect(night.paged).toHaveLength(2)
  })

  it('one slow chat holds up no other chat', async () => {
    const night = await world().start()
    night.deliver = async outgoing => (outgoing.chat === 'slow' ? never() : { kind: 'delivered' })
    await night.runtime.receive({
      channel: 'web',
      chat: 'slow',
      deliveryId: 's1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.advance(0)
    expect(night.delivered.map(each => each.chat)).toEqual([CHAT.chat])
  })

  it('replies of one chat stay in order while the first is tried again', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) => (nth <= 2 ? failed : { kind: 'delivered' }))
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.say('one')
    await night.say('two')
    await night.advance(seconds(60))
    expect(night.delivered.map(wordsOf)).toEqual([
      ['hold', 'ask 1'],
      ['thanks', 'ask 2'],
      ['thanks', 'ask 3'],
    ])
  })
})

describe('tries of a reply', () => {
  it('wait two, four, eight seconds and so on, at most five minutes, of which the upper half is drawn', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, () => failed)
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.advance(minutes(40))
    const at = secondsOf(script.tries)
    const waits = at.slice(1).map((second, n) => second - (at[n] ?? 0))
    for (const [n, wait] of waits.entries()) {
      const whole = Math.min(300, 2 * 2 ** n)
      expect(wait).toBeGreaterThanOrEqual(whole / 2)
      expect(wait).toBeLessThanOrEqual(whole + 1)
    }
    expect(waits.length).toBeGreaterThan(10)
    expect(new Set(waits.slice(-6)).size).toBeGreaterThan(1)
  })

  // RFC 9110 section 10.2.3: Retry-After says how long to wait before the next request.
  it('never come before the channel said it may be asked again', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) =>
      nth === 1 ? { kind: 'failed', reason: 'too-many', retryAfterMs: 37_000 } : { kind: 'delivered' },
    )
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.advance(seconds(60))
    expect(secondsOf(script.tries)).toEqual([0, 37])
  })

  it('whose outcome is not known send the same text again after twenty seconds, labelled', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) => (nth === 1 ? unknown : { kind: 'delivered' }))
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.say('one')
    await night.advance(seconds(30))
    const [first, again] = script.tries.map(each => each.tried)
    expect(secondsOf(script.tries).slice(0, 2)).toEqual([0, 20])
    expect(first?.repeated).toBe(false)
    expect(again).toMatchObject({ repeated: true, effectId: first?.effectId, at: first?.at })
    expect(again?.parts).toEqual([{ kind: 'notice', id: 'repeat-label', text: 'Sent again' }, ...(first?.parts ?? [])])
  })

  it('carry no label when every earlier one is known to have failed', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) => (nth < 3 ? failed : { kind: 'delivered' }))
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.advance(seconds(30))
    expect(script.tries.map(each => each.tried.repeated)).toEqual([false, false, false])
    expect(script.tries[2]?.tried.parts).toEqual(script.tries[0]?.tried.parts)
  })

  it('more than five minutes after it was worked out say what holds now', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) =>
      nth === 1 ? { kind: 'failed', reason: 'down', retryAfterMs: minutes(6) } : { kind: 'delivered' },
    )
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.advance(minutes(7))
    const [first, again] = script.tries.map(each => each.tried)
    expect(again?.at).toBe((first?.at ?? 0) + minutes(6))
    expect(again?.parts).not.toEqual(first?.parts)
  })

  it('end after a day, and the case hears of it', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, () => ({
      kind: 'failed',
      reason: 'down',
      retryAfterMs: hours(1),
    }))
    night.deliver = script.answer
    await night.say('the tube is out')
    for (let hour = 0; hour < 25; hour += 1) {
      night.clock.setWallBy(hours(1))
      await night.advance(seconds(3))
    }
    const rows = (await night.store.outboxOf(await night.caseId())).filter(row => row.seq === 1)
    expect(rows.map(row => row.status)).toEqual(['given-up'])
    expect((await night.state()).heard).toContain('replyGivenUp')
  }, 60_000)

  it('end at once where the channel refuses, and the next reply goes out', async () => {
    const night = await world().start()
    const script = scripted<Outgoing, Delivery>(night, (_, nth) =>
      nth === 1 ? { kind: 'refused', reason: 'blocked' } : { kind: 'delivered' },
    )
    night.deliver = script.answer
    await night.say('the tube is out')
    await night.say('one')
    expect((await night.state()).heard).toEqual(['replyGivenUp', 'one'])
    expect(night.delivered.map(wordsOf)).toEqual([['thanks', 'ask 2']])
  })

  it('that hang count as unknown after half a minute', async () => {
    const night = await world().start()
    let nth = 0
    night.deliver = async () => {
      nth += 1
      return nth === 1 ? never() : { kind: 'delivered' }
    }
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.clock.advance(seconds(55))
    expect(night.delivered.map(each => each.repeated)).toEqual([true])
  })

  it('by an adapter that throws against its promise count as unknown', async () => {
    const night = await world().start()
    let nth = 0
    night.deliver = async () => {
      nth += 1
      if (nth === 1) throw new Error('against the contract')
      return { kind: 'delivered' }
    }
    await night.say('the tube is out')
    await night.advance(seconds(25))
    expect(night.delivered.map(each => each.repeated)).toEqual([true])
  })
})

describe('tries of a page', () => {
  it('go to every address of whoever is paged, and the case hears once that it was accepted', async () => {
    const night = await world().start()
    await night.say('danger')
    expect(night.paged.map(page => page.address).sort()).toEqual(['amara-1', 'amara-2'])
    expect(new Set(night.paged.map(page => page.key)).size).toBe(2)
    expect((await night.state()).heard).toEqual(['page amara accepted'])
  })

  it('go on at one address while the other has long accepted, and never go to that one again', async () => {
    const night = await world().start()
    let mails = 0
    night.page = async page => {
      if (page.address === 'amara-1') return { kind: 'accepted' }
      mails += 1
      return mails < 3 ? { kind: 'failed', reason: 'smtp-421' } : { kind: 'accepted' }
    }
    await night.say('danger')
    await night.advance(seconds(30))
    expect(night.pageTries.filter(page => page.address === 'amara-1')).toHaveLength(1)
    expect(night.paged.map(page => page.address)).toEqual(['amara-1', 'amara-2'])
  })

  it('end after four, within a minute, and the ladder moves at once', async () => {
    const night = await world().start()
    night.page = async page => (page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'failed', reason: 'http-500' })
    await night.say('danger')
    await night.advance(seconds(60))
    expect(night.pageTries.filter(page => page.address === 'amara-1')).toHaveLength(4)
    expect(night.pageTries.filter(page => page.address === 'amara-2')).toHaveLength(4)
    expect((await night.state()).heard).toEqual(['page amara given-up', 'page ben accepted'])
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
  })

  it('end at once where every address refuses', async () => {
    const night = await world().start()
    night.page = async page => (page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'refused', reason: 'gone' })
    await night.say('danger')
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
    expect((await night.state()).heard).toEqual(['page amara given-up', 'page ben accepted'])
  })

  it('are not given up while one of two addresses accepted', async () => {
    const night = await world().start()
    night.page = async page => (page.address === 'amara-2' ? { kind: 'refused', reason: 'gone' } : { kind: 'accepted' })
    await night.say('danger')
    await night.advance(seconds(90))
    expect((await night.state()).heard).toEqual(['page amara accepted'])
    expect(night.faults.map(fault => fault.code)).toEqual(['page-given-up'])
  })

  it('that would have to wait past the minute are given up without waiting for it', async () => {
    const night = await world().start()
    night.page = async page =>
      page.to.id === 'ben' ? { kind: 'accepted' } : { kind: 'failed', reason: 'too-many', retryAfterMs: 90_000 }
    await night.say('danger')
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
  })

  it('whose outcome is not known are repeated after ten seconds under the same key, labelled', async () => {
    const night = await world().start()
    let nth = 0
    night.page = async page => {
      if (page.address !== 'amara-1') return { kind: 'accepted' }
      nth += 1
      return nth === 1 ? { kind: 'unknown', reason: 'timeout' } : { kind: 'accepted' }
    }
    await night.say('danger')
    await night.advance(seconds(11))
    const tries = night.pageTries.filter(page => page.address === 'amara-1')
    expect(tries.map(page => page.repeated)).toEqual([false, true])
    expect(new Set(tries.map(page => [page.key, page.text].join())).size).toBe(1)
  })

  it('to somebody without any address are given up at once', async () => {
    const { aClinic } = await import('../support/world.ts')
    const people = aClinic.people.map(each => (each.id === 'amara' ? { ...each, pageAt: [] } : each))
    const night = await world({ clinic: { ...aClinic, people } }).start()
    await night.say('danger')
    expect(night.paged.map(page => page.to.id)).toEqual(['ben'])
  })
})

describe('a process killed', () => {
  it('between commit and send: the reply goes out once after the restart, unlabelled', async () => {
    let night = await world().start()
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    expect(night.tries).toHaveLength(0)
    night = await night.restart()
    await night.advance(seconds(60))
    expect(night.delivered.map(each => [wordsOf(each), each.repeated])).toEqual([[['hold', 'ask 1'], false]])
  })

  it('between send and settle: it goes out again, and says that it is a repeat', async () => {
    const store = memoryStore()
    let night = await world({ store }).start()
    store.plan({ call: 'settle', nth: 1, how: 'silent' })
    await night.runtime.receive({
      ...CHAT,
      deliveryId: 'd1',
      at: night.clock.now(),
      body: { kind: 'text', text: 'the tube is out' },
    })
    await night.clock.advance(0)
    expect(night.delivered).toHaveLength(1)
    const first = night.delivered[0]
    night = await night.restart()
    await night.advance(seconds(60))
    expect(night.delivered).toHaveLength(1)
    expect(night.delivered[0]).toMatchObject({ repeated: true, effectId: first?.effectId })
    expect(wordsOf(night.delivered[0] as Outgoing)[0]).toBe('repeat-label')
  })

  it.each(['before', 'after'] as const)(
    'just %s any single store call: every reply and page arrives, and a second arrival is always labelled',
    async when => {
      let points = 0
      for (const call of ['casesOf', 'load', 'commit', 'claim', 'rendered', 'settle', 'outboxOf'] as const) {
        for (let nth = 1; ; nth += 1) {
          const kill = killAt(call, nth, when)
          const night = await world({ through: kill.through }).start()
          for (const [n, text] of ['danger', 'one'].entries()) {
            night.runtime.receive(message(`d${n}`, text, night)).catch(() => undefined)
            await night.clock.advance(seconds(1))
          }
          await night.clock.advance(seconds(2))
          if (!kill.isDone()) break
          points += 1
          kill.disarm()
          const after = await night.restart(seconds(5))
          for (const [n, text] of ['danger', 'one'].entries())
            await after.runtime.receive(message(`d${n}`, text, after))
          await after.advance(seconds(90))
          expectAllArrived([night, after], `${call} ${nth}`)
        }
      }
      expect(points).toBeGreaterThan(20)
    },
    60_000,
  )
})

/** A store whose `nth` call of one kind is never answered: the process died `before` it was made, or `after` it was done. */
function killAt(
  call: 'casesOf' | 'load' | 'commit' | 'claim' | 'rendered' | 'settle' | 'outboxOf',
  nth: number,
  when: 'before' | 'after',
) {
  let count = 0
  let isArmed = true
  const through = (store: MemoryStore): Store => {
    const whole = store[call] as (...given: unknown[]) => Promise<unknown>
    const killing = async (...given: unknown[]) => {
      count += 1
      if (!isArmed || count !== nth) return whole(...given)
      if (when === 'after') await whole(...given)
      return never()
    }
    return { ...store, [call]: killing }
  }
  return {
    through,
    isDone: () => count >= nth,
    disarm: () => {
      isArmed = false
    },
  }
}

function expectAllArrived(lives: readonly World[], where: string): void {
  const replies = lives.flatMap(each => each.delivered).filter(each => each.caseId !== '')
  expect(new Set(replies.map(each => each.effectId)).size, where).toBe(2)
  const pages = lives.flatMap(each => each.paged)
  expect(new Set(pages.map(each => each.address)), where).toEqual(new Set(['amara-1', 'amara-2']))
  for (const arrivals of [
    replies.map(each => [each.effectId, each.repeated]),
    pages.map(each => [each.key, each.repeated]),
  ]) {
    const seen = new Set<unknown>()
    for (const [id, isRepeat] of arrivals) {
      expect(seen.has(id) && isRepeat === false, `${where}: ${id} came twice without saying so`).toBe(false)
      seen.add(id)
    }
  }
}

describe('what cannot be rendered', () => {
  it('still goes out: the numbers to the family, a page that says what is known', async () => {
    const { fakeMachine } = await import('../support/fake-line.ts')
    const broken = () => {
      throw new Error('no wording')
    }
    const night = await world({ machine: { ...fakeMachine(), renderReply: broken, renderPage: broken } }).start()
    await night.say('danger')
    // What was said, and what is said when a person is asked for because of it; no circle.
    expect(night.delivered.map(wordsOf)).toEqual([['fallback'], ['fallback']])
    expect(night.paged.map(page => page.text)[0]).toMatch(/^PARKED broken Sun \d{4} https:/)
    expect(new Set(night.faults.map(fault => fault.code))).toEqual(new Set(['render-failed']))
  })
})

describe("a clinician's words", () => {
  it('reach the family as theirs and stand in the log', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    await night.runtime.act(await night.caseId(), { kind: 'clinicianWrote', by: amara, text: 'On my way to a phone.' })
    await night.runtime.idle()
    const log = await night.runtime.logOf(CHAT)
    expect(
      log.map(line => [
        line.speaker.kind,
        line.said ?? line.parts.map(part => ('text' in part ? part.text.split(' ')[0] : ''))[0],
        line.reached,
      ]),
    ).toEqual([
      ['family', 'the tube is out', 'received'],
      ['bot', 'hold', 'delivered'],
      ['clinician', 'On', 'delivered'],
    ])
    expect(log[2]?.speaker).toEqual({ kind: 'clinician', name: amara.name, role: amara.role })
  })

  it.each([
    ['failed', 'waiting'],
    ['unknown', 'unknown'],
    ['refused', 'not-delivered'],
  ] as const)('that were %s are shown as %s', async (kind, reached) => {
    const night = await world().start()
    night.deliver = async () => ({ kind, reason: 'test' })
    await night.say('the tube is out')
    expect((await night.runtime.logOf(CHAT)).map(line => line.reached)).toEqual(['received', reached])
  })
})
