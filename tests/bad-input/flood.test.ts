import { describe, expect, test } from 'vitest'
import type { Incoming } from '../../src/case/message.ts'
import { Busy } from '../../src/runtime/fault.ts'
import type { MemoryStore } from '../support/memory-store.ts'
import { NIGHT, world } from '../support/world.ts'

/** A store whose reads of a chat wait until it is let go, so that messages pile up. */
function heldStore() {
  let letGo: () => void = () => undefined
  const gate = new Promise<void>(resolve => {
    letGo = resolve
  })
  const through = (store: MemoryStore): MemoryStore =>
    new Proxy(store, {
      get(target, name, receiver) {
        if (name !== 'casesOf') return Reflect.get(target, name, receiver)
        return async (...given: Parameters<MemoryStore['casesOf']>) => {
          await gate
          return target.casesOf(...given)
        }
      },
    })
  return { through, letGo: () => letGo() }
}

const message = (chat: string, number: number, text: string): Incoming => ({
  channel: 'web',
  chat,
  deliveryId: `${chat}-${number}`,
  at: NIGHT,
  body: { kind: 'text', text },
})

describe('a chat that floods', () => {
  test('is asked to come back when 40 wait; danger, the wish for a person, and other chats are taken', async () => {
    const { through, letGo } = heldStore()
    const night = world({ through })
    const sent = Array.from({ length: 50 }, (_, i) => night.runtime.receive(message('loud', i, `answer ${i}`)))
    const ends = Promise.allSettled(sent)
    const danger = night.runtime.receive(message('loud', 98, 'danger'))
    const person = night.runtime.receive(message('loud', 99, 'person please'))
    const other = night.runtime.receive(message('quiet', 0, 'the tube is out'))
    // The same delivery again takes no place and fares as the first.
    const again = night.runtime.receive(message('loud', 3, 'answer 3'))
    letGo()
    await Promise.all([danger, person, other, again])
    const refused = (await ends).flatMap((end, i) =>
      end.status === 'rejected' ? [{ i, why: end.reason as unknown }] : [],
    )
    expect(refused.map(({ i }) => i)).toEqual([40, 41, 42, 43, 44, 45, 46, 47, 48, 49])
    for (const { why } of refused) expect(why).toBeInstanceOf(Busy)
    expect(night.faults).toEqual([])
  })
})
