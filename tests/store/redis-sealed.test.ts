import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Redis } from 'ioredis'
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { openSealedData, type SealedData } from '../../src/cli/sealed-data.ts'
import type { StoreRoute } from '../../src/config/store-section.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { addClinicKey } from '../../src/store/clinic-keys.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { alarms, at, night, row, step } from './step-record.ts'

let server: RedisServer
let folder = ''
let lines = 0
beforeAll(async () => {
  server = await redisServer()
})
afterAll(() => server.discard())
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'redis-sealed-'))
  lines += 1
})
afterEach(() => rmSync(folder, { recursive: true }))

const route = (): StoreRoute => ({
  addresses: [{ host: '127.0.0.1', port: server.port }],
  ...{ tls: false, line: `e${lines}-`, mayLoseASecond: false, replicas: 0 },
})
async function opened(
  mode: 'clinic' | 'demonstration' = 'demonstration',
  { from = folder, isServing = false } = {},
): Promise<SealedData> {
  const data = openDataFolder(from, systemRandom())
  const sealed = await openSealedData({
    ...{ data, store: route(), mode, isServing },
    onUnreadable: ({ error }) => {
      throw error
    },
    onFault: error => {
      throw error
    },
  })
  await sealed.store.sharing?.start()
  return sealed
}

/** Every byte that Redis holds. */
async function everyByte(): Promise<string> {
  const redis = new Redis({ host: '127.0.0.1', port: server.port, protocol: 2 })
  const keys = await redis.keys(`{e${lines}-*`)
  const dumped = await Promise.all(keys.map(key => redis.dumpBuffer(key)))
  redis.disconnect()
  return `${keys.join('\n')}\n${dumped.map(one => one?.toString('latin1')).join('\n')}`
}

const WORDS = 'his button came out at the playground'

test('Redis never holds a word of a family, not even in what one process hands another', async () => {
  const { store } = await opened()
  const chat = { channel: 'web', chat: 'digest' }
  const said = { chat, event: WORDS, state: WORDS, effects: WORDS, delivery: { channel: 'web', deliveryId: WORDS } }
  await store.commit(step('sun', 0, { ...said, outbox: [row('sun/1/0', 'q', { effect: WORDS })] }))
  await store.claim('family', night, 1_000, 9)
  await store.rendered('sun/1/0', WORDS, night)
  expect(await store.sharing?.put(chat, 'id-1', JSON.stringify({ said: WORDS }))).toBe('kept')
  expect(await everyByte()).not.toContain('playground')
  expect((await store.history('sun'))[0]?.event).toBe(WORDS)
  expect((await store.sharing?.waiting(9))?.map(({ content }) => content)).toEqual([JSON.stringify({ said: WORDS })])
  await store.close()
})

test('an erased case is gone from what goes on: no alarm, nothing to send, its queue goes on, a step on its way conflicts', async () => {
  const { store, keys } = await opened()
  const chat = { channel: 'web', chat: 'family' }
  await store.commit(
    step('sun', 0, {
      chat,
      outbox: [row('sun/1/0', 'family'), row('sun/1/1', 'p', { lane: 'page' })],
      alarms: alarms({ check: at(5) }),
    }),
  )
  await store.commit(step('moon', 0, { chat, outbox: [row('moon/1/0', 'family')] }))
  const mark = await everyByte()
  await store.claim('page', night, 60_000, 9)
  await store.rendered('sun/1/1', 'Call', night)
  await store.erase('sun', at(3))
  await store.erase('sun', at(4))
  expect(await store.load('sun')).toBeUndefined()
  expect([await store.history('sun'), await store.outboxOf('sun')]).toEqual([[], []])
  expect(await store.nextDue()).toBeUndefined()
  expect(await store.claim('page', at(99), 1_000, 9)).toEqual([])
  expect((await store.claim('family', at(5), 1_000, 9)).map(one => one.effectId)).toEqual(['moon/1/0'])
  expect(await store.commit(step('sun', 1, { chat }))).toBe('conflict')
  expect(keys.find('sun')).toBe('erased')
  // Overwritten, not only locked: what was sealed is no longer there.
  const sealed = /sealed2:[\s\S]{40}/.exec(mark)?.[0] ?? 'nothing'
  expect(mark).toContain(sealed)
  await store.close()
})

test('what is closed and older than the clinic keeps is erased, once, and the rest stays', async () => {
  const { store } = await opened()
  await store.commit(step('old', 0, { at: at(0), closed: true }))
  await store.commit(step('older', 0, { at: at(-9), closed: true }))
  await store.commit(step('open', 0, { at: at(-99) }))
  await store.commit(step('young', 0, { at: at(50), closed: true }))
  expect(await store.purge(at(10), at(60))).toEqual(['older', 'old'])
  expect(await store.purge(at(10), at(60))).toEqual([])
  expect((await store.recent(at(-999))).map(({ caseId }) => caseId)).toEqual(['young', 'open'])
  await store.close()
})

test('a Redis made anew beside keys of cases is refused, with what to do', async () => {
  addClinicKey(join(folder, 'clinic-keys'))
  const before = await opened('clinic')
  await before.store.commit(step('sun', 0))
  await before.store.close()
  await (await opened('clinic')).store.close()
  const redis = new Redis({ host: '127.0.0.1', port: server.port, protocol: 2 })
  await redis.flushall()
  redis.disconnect()
  await expect(opened('clinic')).rejects.toThrow(/keeps no case of the line .* holds keys of 1 cases\. Restore/)
})

test('a second process joins from the same folder, and not from a copy of it: its keys would be others', async () => {
  const one = await opened('demonstration', { isServing: true })
  const two = await opened('demonstration', { isServing: true })
  const copy = join(folder, 'copy')
  mkdirSync(copy)
  for (const name of readdirSync(folder))
    if (name !== 'copy' && name !== 'line-members') cpSync(join(folder, name), join(copy, name), { recursive: true })
  await expect(opened('demonstration', { from: copy, isServing: true })).rejects.toThrow(
    /2 of its processes work from another data folder, or from a copy of this one/,
  )
  await one.store.close()
  await two.store.close()
  expect(readdirSync(join(folder, 'line-members'))).toEqual([])
  const later = await opened('demonstration', { from: copy, isServing: true })
  await later.store.close()
})

test('a line that starts while its Redis is silent waits for it, and says so', { timeout: 20_000 }, async () => {
  const faults: unknown[] = []
  server.signal('SIGSTOP')
  const opening = openSealedData({
    ...{ data: openDataFolder(folder, systemRandom()), store: route(), mode: 'demonstration', isServing: true },
    onUnreadable: ({ error }) => {
      throw error
    },
    onFault: error => {
      faults.push(error)
      server.signal('SIGCONT')
    },
  })
  const { store } = await opening
  expect(await store.load('nobody')).toBeUndefined()
  await store.close()
  expect(String(faults[0])).toMatch(/RedisSilent/)
})
