import { describe, expect, test } from 'vitest'
import { memoryStore } from '../support/memory-store.ts'
import { storeContract } from './contract/store-contract.ts'
import { storeAgreesWithModel } from './contract/store-model.ts'
import { alarms, at, night, row, step } from './step-record.ts'

const open = async () => {
  let store = memoryStore()
  return {
    store,
    reopen: async () => {
      await store.close()
      store = store.crash()
      return store
    },
    discard: () => store.close(),
  }
}

storeContract('the memory store', open)
storeAgreesWithModel('the memory store', open, 300)

describe('the memory store loses power', () => {
  test('a step not yet synced is gone with its outbox and alarms, and its caller hears nothing', async () => {
    const store = memoryStore()
    await store.commit(step('sun', 0))
    let heard = false
    const said = () => {
      heard = true
    }
    store.commit(step('sun', 1, { outbox: [row('a', 'a')], alarms: alarms({ c: at(1) }) })).then(said, said)
    const next = store.crash()
    await new Promise(setImmediate)
    await new Promise(setImmediate)
    expect(heard).toBe(false)
    expect((await next.load('sun'))?.seq).toBe(1)
    expect(await next.outboxOf('sun')).toEqual([])
    expect(await next.nextDue()).toBeUndefined()
    await expect(store.load('sun')).rejects.toThrow(/killed/)
  })

  test('the first of the pending writes may have reached the disk unacknowledged', async () => {
    const store = memoryStore()
    void store.commit(step('sun', 0))
    void store.commit(step('moon', 0))
    const next = store.crash(1)
    expect((await next.load('sun'))?.seq).toBe(1)
    expect(await next.load('moon')).toBeUndefined()
  })
})

describe('the memory store fails at a planned call', () => {
  test('refused: nothing is written', async () => {
    const store = memoryStore({ faults: [{ call: 'commit', nth: 2, how: 'refused' }] })
    expect(await store.commit(step('sun', 0))).toBe('committed')
    await expect(store.commit(step('sun', 1))).rejects.toThrow(/planned fault/)
    expect((await store.load('sun'))?.seq).toBe(1)
    expect(await store.commit(step('sun', 1))).toBe('committed')
  })

  test('answer lost: the step is there although its caller was rejected', async () => {
    const store = memoryStore()
    store.plan({ call: 'commit', nth: 1, how: 'answer-lost' })
    const delivery = { channel: 'web', deliveryId: '1' }
    await expect(store.commit(step('sun', 0, { delivery }))).rejects.toThrow(/lost/)
    expect(await store.commit(step('sun', 0, { delivery }))).toBe('duplicate')
  })

  test('calls are counted over a crash', async () => {
    const store = memoryStore({ faults: [{ call: 'claim', nth: 2, how: 'refused' }] })
    await store.claim('page', night, 1, 1)
    await expect(store.crash().claim('page', night, 1, 1)).rejects.toThrow(/planned fault/)
  })
})
