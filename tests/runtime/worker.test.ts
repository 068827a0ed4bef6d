import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Clinician } from '../../src/case/event.ts'
import type { Incoming } from '../../src/case/message.ts'
import { Busy, NotStored } from '../../src/runtime/fault.ts'
import { caseIdOf } from '../../src/runtime/worker.ts'
import type { Store } from '../../src/store/store.ts'
import { minutes } from '../../src/time/instant.ts'
import { fakeMachine } from '../support/fake-line.ts'
import { type MemoryStore, memoryStore } from '../support/memory-store.ts'
import { CHAT, NIGHT, type World, wordsOf, world } from '../support/world.ts'

const amara: Clinician = { id: 'amara', name: 'Nurse Amara Osei', role: 'feeding nurse' }
const ben: Clinician = { id: 'ben', name: 'Nurse Ben Adeyemi', role: 'feeding nurse' }

const text = (deliveryId: string, words: string, chat = CHAT.chat): Incoming => ({
  ...CHAT,
  chat,
  deliveryId,
  at: NIGHT,
  body: { kind: 'text', text: words },
})

describe('one chat, in order', () => {
  it('opens a case at the first message and answers it', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    expect(night.delivered.map(wordsOf)).toEqual([['hold', 'ask 1']])
  })

  it('takes messages sent at the same moment in the order they arrived', async () => {
    const night = await world().start()
    const said = Array.from({ length: 30 }, (_, n) => `answer ${n}`)
    const all = ['the tube is out', ...said].map((words, n) => night.runtime.receive(text(`d${n}`, words)))
    await Promise.all(all)
    expect((await night.state()).heard).toEqual(said)
  })

  it('reads the cases of the chat once for a message, none of them a second time, and has each loop look once', async () => {
    const asked: string[] = []
    const counted = <K extends keyof Store>(store: MemoryStore, ...calls: K[]) =>
      Object.fromEntries(
        calls.map(call => [
          call,
          (...given: never[]) => {
            asked.push(call)
            return (store[call] as (...all: never[]) => unknown)(...given)
          },
        ]),
      )
    const night = await world({
      through: store => ({
        ...store,
        ...counted(store, 'casesOf', 'load', 'commit', 'nextDue', 'due'),
        // Nothing is sent, which would have the lanes look again.
        claim: async () => {
          asked.push('claim')
          return []
        },
      }),
    }).start()
    await night.runtime.receive(text('d0', 'the tube is out'))
    await night.runtime.idle()
    asked.length = 0
    await night.runtime.receive(text('d1', 'one'))
    await night.runtime.idle()
    expect(asked.toSorted()).toEqual(['casesOf', 'claim', 'claim', 'commit', 'nextDue'])
  })

  it('resolves only when what the message led to is committed', async () => {
    const night = await world().start()
    await night.runtime.receive(text('d1', 'the tube is out'))
    const disk = night.store.crash()
    expect(await disk.casesOf(CHAT)).toHaveLength(1)
  })

  it('works on chats side by side: one that waits for the store holds up no other', async () => {
    const held: (() => void)[] = []
    const night = await world({
      through: store => ({
        ...store,
        casesOf: async chat => {
          if (chat.chat === 'stuck') await new Promise<void>(resolve => held.push(resolve))
          return store.casesOf(chat)
        },
      }),
    }).start()
    const stuck = night.runtime.receive(text('s1', 'the tube is out', 'stuck'))
    await night.runtime.receive(text('d1', 'the tube is out'))
    expect((await night.state()).serial).toBe(1)
    for (const release of held) release()
    await stuck
  })

  it('keeps a case its own time when the wall clock was set back between two runs', async () => {
    let night = await world().start()
    await night.say('the tube is out')
    night.clock.setWallBy(-minutes(60))
    night = await night.restart()
    await night.say('one')
    const history = await night.store.history(await night.caseId())
    expect(history.map(event => event.at)).toEqual([...history.map(event => event.at)].sort((a, b) => a - b))
    expect(history.at(-1)?.at).toBeGreaterThanOrEqual(NIGHT)
  })
})

describe('the same delivery again', () => {
  it('changes nothing, however often and in whatever order deliveries come again', async () => {
    const script = ['the tube is out', 'one', 'two', 'person please', 'three', 'danger']
    const once = await world().start()
    for (const [n, words] of script.entries()) await once.runtime.receive(text(`d${n}`, words))
    await once.runtime.idle()
    const said = async (night: World) => (await night.state()).heard.filter(each => !each.startsWith('page '))
    const expected = await said(once)

    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.tuple(fc.nat({ max: script.length - 1 }), fc.integer({ min: 1, max: 40 })), { maxLength: 12 }),
        fc.integer(),
        async (again, seed) => {
          const night = await world({ seed }).start()
          const sent: Promise<void>[] = []
          for (const [n, words] of script.entries()) {
            await night.runtime.receive(text(`d${n}`, words))
            for (const [which, times] of again) {
              const repeat = Math.min(which, n)
              for (let i = 0; i < times; i += 1)
                sent.push(night.runtime.receive(text(`d${repeat}`, script[repeat] ?? '')))
            }
          }
          await Promise.all(sent)
          await night.runtime.idle()
          expect(await said(night)).toEqual(expected)
          expect(await night.store.casesOf(CHAT)).toHaveLength(1)
          expect(night.delivered).toHaveLength(once.delivered.length)
          expect(night.paged.map(page => page.address)).toEqual(once.paged.map(page => page.address))
        },
      ),
      { numRuns: 40 },
    )
  })

  it('opens one case when the opening message comes twice at once', async () => {
    const night = await world().start()
    await Promise.all([1, 2, 3].map(() => night.runtime.receive(text('d1', 'the tube is out'))))
    expect(await night.store.casesOf(CHAT)).toHaveLength(1)
  })

  it('derives the case id from the delivery, and shows nothing of the chat in it', () => {
    const hash = (words: string) => Buffer.from(words).toString('hex').padEnd(64, '0')
    const a = caseIdOf(hash, text('d1', 'x'))
    expect(a).toBe(caseIdOf(hash, text('d1', 'y')))
    expect(a).toHaveLength(32)
    expect(caseIdOf(hash, { ...text('1', 'x'), chat: '23' })).not.toBe(
      caseIdOf(hash, { ...text('31', 'x'), chat: '2' }),
    )
  })

  it('counts a clinician who taps twice once', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    const caseId = await night.caseId()
    const event = { kind: 'clinicianWrote', by: amara, text: 'I will ring you.' } as const
    expect(await night.runtime.act(caseId, event, 'form-1')).toEqual({ kind: 'done' })
    expect(await night.runtime.act(caseId, event, 'form-1')).toEqual({ kind: 'duplicate' })
    await night.runtime.idle()
    expect(night.delivered.filter(each => wordsOf(each).includes('I will ring you.'))).toHaveLength(1)
  })
})

describe('two at once on one case', () => {
  /** Another process commits first, `times` times. */
  const contended =
    (times: number) =>
    (store: MemoryStore): Store => {
      let left = times
      return {
        ...store,
        commit: async step => {
          if (step.from > 0 && left > 0) {
            left -= 1
            return 'conflict'
          }
          return store.commit(step)
        },
      }
    }

  it('reloads and steps again after a conflict', async () => {
    const night = await world({ through: contended(4) }).start()
    await night.say('the tube is out')
    await night.say('one')
    expect((await night.state()).heard).toEqual(['one'])
    expect(night.faults).toEqual([])
  })

  it('asks for the message again after five conflicts running, and says so', async () => {
    const night = await world({ through: contended(5) }).start()
    await night.say('the tube is out')
    await expect(night.runtime.receive(text('d2', 'one'))).rejects.toBeInstanceOf(NotStored)
    expect(night.faults.map(fault => fault.code)).toContain('case-contended')
    await night.runtime.receive(text('d2', 'one'))
    expect((await night.state()).heard).toEqual(['one'])
  })

  it('steps from what another process wrote, not from what it had loaded', async () => {
    const disk = memoryStore()
    const one = await world({ store: disk }).start()
    await one.say('the tube is out')
    const other = await world({ store: disk, clock: one.clock }).start()
    await Promise.all([one.runtime.receive(text('a', 'left')), other.runtime.receive(text('b', 'right'))])
    expect([...(await one.state()).heard].sort()).toEqual(['left', 'right'])
  })

  it('lets one clinician take a case: the second is told who has it', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    const caseId = await night.caseId()
    const take = (by: Clinician) =>
      night.runtime.act(caseId, { kind: 'pageAcknowledged', by, doing: { kind: 'ringing-now' } })
    const both = await Promise.all([take(amara), take(ben)])
    expect(both).toEqual([{ kind: 'done' }, { kind: 'already-taken-by', by: amara }])
    expect(await take(amara)).toEqual({ kind: 'done' })
  })

  it('tells a clinician when there is no such case, or it is closed', async () => {
    const night = await world().start()
    const take = { kind: 'pageAcknowledged', by: amara, doing: { kind: 'ringing-now' } } as const
    expect(await night.runtime.act('nowhere', take)).toEqual({ kind: 'no-such-case' })
    await night.say('the tube is out')
    const caseId = await night.caseId()
    await night.runtime.act(caseId, { kind: 'outcomeSet', by: amara, outcome: 'replaced', doNotWrite: false })
    expect(await night.runtime.act(caseId, take)).toEqual({ kind: 'closed' })
  })
})

describe('two children in one chat', () => {
  async function twoChildren(): Promise<World> {
    const night = await world().start()
    await night.send({ kind: 'control', control: 'new-child', subject: 'Ana' })
    await night.advance(1_000)
    await night.send({ kind: 'control', control: 'new-child', subject: 'Ben' })
    return night
  }
  const heardBy = async (night: World) =>
    Object.fromEntries(
      (await night.store.casesOf(CHAT)).map(each => {
        const { nickname, heard } = JSON.parse(each.state) as { nickname: string; heard: string[] }
        return [nickname, heard]
      }),
    )

  it('gives words to the child asked about last', async () => {
    const night = await twoChildren()
    await night.say('it is a button')
    expect(await heardBy(night)).toEqual({ Ana: [], Ben: ['it is a button'] })
  })

  it('gives words to the child they name, however it is written', async () => {
    const night = await twoChildren()
    await night.say('ÁNA has a button')
    expect(await heardBy(night)).toEqual({ Ana: ['ÁNA has a button'], Ben: [] })
  })

  it('takes no answer from words that name both', async () => {
    const night = await twoChildren()
    await night.say('ana a button, ben a long tube')
    expect(await heardBy(night)).toEqual({ Ana: [], Ben: ['notUnderstood:ana a button, ben a long tube'] })
  })

  it('acts on danger at once even when words name both', async () => {
    const night = await twoChildren()
    await night.say('ben in danger, ana not')
    expect((await heardBy(night)).Ben).toEqual(expect.arrayContaining(['dangerSaid']))
    expect(night.paged.some(page => page.urgency === 'ambulance')).toBe(true)
  })

  it('never asks two children under one number, and gives a tap to the child it was asked about', async () => {
    const night = await twoChildren()
    const serials = night.delivered.flatMap(each =>
      each.parts.flatMap(part => (part.kind === 'question' ? [part.serial] : [])),
    )
    expect(new Set(serials).size).toBe(serials.length)
    const [anas] = serials
    await night.send({ kind: 'choice', serial: anas ?? -1, values: ['button'] })
    expect(await heardBy(night)).toEqual({ Ana: ['button'], Ben: [] })
  })

  it('keeps a tap about the child whose talk is over out of the record of the other, and answers it', async () => {
    const night = await twoChildren()
    const [anas] = night.delivered.flatMap(each =>
      each.parts.flatMap(part => (part.kind === 'question' ? [part.serial] : [])),
    )
    const ana = (await night.store.casesOf(CHAT)).find(each => each.state.includes('"Ana"'))
    const outcome = { kind: 'outcomeSet', by: amara, outcome: 'replaced', doNotWrite: false } as const
    await night.runtime.act(ana?.caseId ?? '', outcome)
    await night.runtime.idle()
    const before = night.delivered.length
    await night.send({ kind: 'choice', serial: anas ?? -1, values: ['button'] })
    expect((await heardBy(night)).Ben).toEqual([])
    expect((await heardBy(night)).Ana?.join()).toContain('button')
    expect(night.delivered.length).toBe(before + 1)
  })

  it('takes no answer from a tap on a question nobody asked', async () => {
    const night = await twoChildren()
    await night.send({ kind: 'choice', serial: 77, values: ['button'] })
    expect(await heardBy(night)).toEqual({ Ana: [], Ben: ['staleAnswer:button'] })
  })
})

describe('what a message begins', () => {
  it('a tapped concern opens its flow', async () => {
    const night = await world().start()
    await night.send({ kind: 'choice', serial: 0, values: ['tube-out'] })
    expect(night.delivered.map(wordsOf)).toEqual([['hold', 'ask 1']])
  })

  it('danger opens the only flow with its signs, and pages', async () => {
    const night = await world().start()
    await night.say('danger')
    expect(night.paged.map(page => page.to.id)).toEqual(['amara', 'amara'])
    expect(wordsOf(night.delivered[0] as never)).toContain('hold')
  })

  it.each(['hello', 'it leaks', 'a person please', 'break the reader'])(
    '"%s", which no flow is for, gets the numbers and pages the first on call',
    async words => {
      const night = await world().start()
      await night.say(words)
      expect(night.delivered.map(wordsOf)).toEqual([['fallback']])
      expect(night.paged.map(page => page.to.id)).toEqual(['amara', 'amara'])
      expect(night.paged[0]?.text).toMatch(/^PARKED no-flow Sun \d{4} /)
    },
  )

  it('pages everyone when nobody takes such a case within five minutes, and stops when one does', async () => {
    const night = await world().start()
    await night.say('hello')
    await night.advance(minutes(5) + 1_000)
    expect(new Set(night.paged.map(page => page.to.id))).toEqual(new Set(['amara', 'ben']))
    const took = await night.runtime.act(await night.caseId(), {
      kind: 'pageAcknowledged',
      by: ben,
      doing: { kind: 'ringing-now' },
    })
    expect(took).toEqual({ kind: 'done' })
    const before = night.paged.length
    await night.advance(minutes(60))
    expect(night.paged).toHaveLength(before)
  })

  it('goes on to a flow as soon as the family names one', async () => {
    const night = await world().start()
    await night.say('hello')
    await night.say('the tube is out')
    expect(night.delivered.map(wordsOf)).toEqual([['fallback'], ['hold', 'ask 1001']])
  })

  it('where wanting a person has a flow, a concern named later is heard by the same case, and so is danger', async () => {
    const night = await world({ machine: fakeMachine(['tube-out', 'someone']) }).start()
    await night.say('hello')
    await night.say('danger')
    expect(await night.store.casesOf(CHAT)).toHaveLength(1)
    expect((await night.state()).heard).toContain('dangerSaid')
    await night.say('the tube is out')
    expect(await night.store.casesOf(CHAT)).toHaveLength(1)
    expect((await night.state()).heard).toContain('the tube is out')
  })

  it('gives no two cases of the same night one code', async () => {
    const night = await world({ seed: 5 }).start()
    for (let n = 0; n < 120; n += 1) await night.say('the tube is out', { chat: `family-${n}`, deliveryId: `d${n}` })
    const cases = await night.store.recent(NIGHT)
    expect(new Set(cases.map(each => (JSON.parse(each.state) as { code: string }).code)).size).toBe(120)
  })
})

describe('after the end', () => {
  async function ended(doNotWrite: boolean): Promise<World> {
    const night = await world().start()
    await night.say('the tube is out')
    await night.runtime.act(await night.caseId(), { kind: 'outcomeSet', by: amara, outcome: 'replaced', doNotWrite })
    await night.runtime.idle()
    return night
  }

  it('thanks are answered by the closed case and page nobody', async () => {
    const night = await ended(false)
    await night.say('thank you all')
    expect(await night.store.casesOf(CHAT)).toHaveLength(1)
    expect(night.delivered.at(-1)?.parts).not.toHaveLength(0)
    expect(night.paged).toEqual([])
  })

  it('says nothing where a clinician stopped every word to the family', async () => {
    const night = await ended(true)
    const before = night.delivered.length
    await night.send({ kind: 'control', control: 'they-rang' })
    expect(night.delivered).toHaveLength(before)
  })

  it('a tube out again opens another case', async () => {
    const night = await ended(false)
    await night.say('the tube is out again')
    expect(await night.store.casesOf(CHAT)).toHaveLength(2)
  })
})

describe('a case that cannot go on', () => {
  it('is parked: the family gets the numbers, everyone is paged, and nothing is lost', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    const before = (await night.store.casesOf(CHAT))[0]?.state
    await night.say('break the machine')
    expect(wordsOf(night.delivered.at(-1) as never)).toEqual(['fallback'])
    expect(new Set(night.paged.map(page => page.to.id))).toEqual(new Set(['amara', 'ben']))
    expect(night.paged.every(page => page.text.startsWith('PARKED broken Sun '))).toBe(true)
    expect(night.faults.map(fault => fault.code)).toEqual(['case-parked'])
    const stored = (await night.store.casesOf(CHAT))[0]
    expect((JSON.parse(stored?.state ?? '') as { state: string }).state).toBe(before)
    const history = await night.store.history(stored?.caseId ?? '')
    expect(history.some(event => event.event.includes('break the machine'))).toBe(true)
  })

  it('is parked when what is stored cannot be read', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    const [stored] = await night.store.casesOf(CHAT)
    if (stored === undefined) throw new Error('no case')
    await night.store.commit({
      caseId: stored.caseId, chat: CHAT, from: stored.seq, at: stored.changedAt, closed: false,
      state: '{"torn":', event: '{}', effects: '[]', outbox: [], alarms: { set: [], cancel: [] },
    }) // biome-ignore format: one record
    await night.say('one')
    expect(wordsOf(night.delivered.at(-1) as never)).toEqual(['fallback'])
    expect(night.paged.length).toBeGreaterThan(0)
  })

  it('is parked when it cannot even be opened', async () => {
    const night = await world().start()
    await night.say('the tube is out, break the machine')
    expect(night.delivered.map(wordsOf)).toEqual([['fallback']])
    expect(new Set(night.paged.map(page => page.to.id))).toEqual(new Set(['amara', 'ben']))
  })

  it('answers every later message, reaches its clinician again, and ends when an outcome is set', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    await night.say('break the machine')
    const caseId = await night.caseId()
    const take = { kind: 'pageAcknowledged', by: ben, doing: { kind: 'ringing-now' } } as const
    expect(await night.runtime.act(caseId, take)).toEqual({ kind: 'done' })
    expect(await night.runtime.act(caseId, { ...take, by: amara })).toEqual({ kind: 'already-taken-by', by: ben })
    await night.advance(minutes(3))
    const paged = night.paged.length
    await night.say('are you there')
    expect(wordsOf(night.delivered.at(-1) as never)).toEqual(['fallback'])
    expect(night.paged.slice(paged).map(page => [page.to.id, page.kind])).toEqual([['ben', 'update']])
    await night.runtime.act(caseId, { kind: 'clinicianWrote', by: ben, text: 'I am ringing.' })
    await night.runtime.idle()
    expect(wordsOf(night.delivered.at(-1) as never)).toEqual(['I am ringing.'])
    await night.runtime.act(caseId, { kind: 'outcomeSet', by: ben, outcome: 'spoken', doNotWrite: false })
    expect((await night.store.load(caseId))?.closed).toBe(true)
    await night.advance(minutes(90))
    expect(night.paged.slice(paged)).toHaveLength(1)
  })

  it('a message that cannot be read pages a person and leaves the talk where it is', async () => {
    const night = await world().start()
    await night.say('the tube is out')
    await night.say('break the reader')
    expect((await night.state()).heard.slice(0, 1)).toEqual(['personWanted'])
    await night.say('one')
    expect((await night.state()).heard).toContain('one')
  })
})

describe('when the store fails', () => {
  it('asks for the message again, gives the family the numbers past the outbox, and counts the message once', async () => {
    const store = memoryStore()
    const night = await world({ store }).start()
    store.plan({ call: 'commit', nth: 1, how: 'answer-lost' })
    await expect(night.runtime.receive(text('d1', 'the tube is out'))).rejects.toMatchObject({ retryAfterSeconds: 2 })
    expect(night.tries.some(each => wordsOf(each).includes('fallback'))).toBe(true)
    await night.runtime.receive(text('d1', 'the tube is out'))
    await night.runtime.idle()
    expect((await night.state()).serial).toBe(1)
    expect(night.delivered.filter(each => wordsOf(each).includes('hold'))).toHaveLength(1)
  })

  it('a store that never answers stops no chat for longer than its time limit', async () => {
    const store = memoryStore()
    const night = await world({ store }).start()
    store.plan({ call: 'casesOf', nth: 1, how: 'silent' })
    const first = night.runtime.receive(text('d1', 'the tube is out')).catch((error: unknown) => error)
    await night.clock.advance(8_001)
    expect(await first).toBeInstanceOf(NotStored)
    await night.runtime.receive(text('d1', 'the tube is out'))
    expect((await night.state()).serial).toBe(1)
  })
})

describe('when too much waits', () => {
  it('turns the next message away with when to come back, and loses none it took', async () => {
    const night = await world({ queuedMax: 50 }).start()
    const taken: Promise<void>[] = []
    for (let n = 0; n < 50; n += 1) taken.push(night.runtime.receive(text(`d${n}`, 'the tube is out', `family-${n}`)))
    const refused = await night.runtime
      .receive(text('d50', 'the tube is out', 'family-50'))
      .catch((error: unknown) => error)
    expect(refused).toBeInstanceOf(Busy)
    expect(refused).toMatchObject({ retryAfterSeconds: 1 })
    await Promise.all(taken)
    expect(await night.store.recent(NIGHT)).toHaveLength(50)
    await night.runtime.receive(text('d50', 'the tube is out', 'family-50'))
    expect(await night.store.recent(NIGHT)).toHaveLength(51)
  })
})
