import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { openBot } from '../../src/cli/bot.ts'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { openSealedData, type SealedData } from '../../src/cli/sealed-data.ts'
import { loadClinic } from '../../src/config/clinic-file.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { actForAll, movableRedis } from '../../src/store/redis/moving.ts'
import { openRedisStore } from '../../src/store/redis/redis-store.ts'
import { openMovableFile } from '../../src/store/sqlite/moving.ts'
import type { Content } from '../../src/store/store.ts'
import { carryOver, type Movable } from '../../src/store/whole-chat.ts'
import { alarms, at, night, row, step } from '../store/step-record.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { smallhours } from '../support/smallhours.ts'

let server: RedisServer
let folder = ''
let lines = 0
beforeAll(async () => {
  server = await redisServer()
})
afterAll(() => server.discard())
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'carrying-'))
  lines += 1
})
afterEach(() => rmSync(folder, { recursive: true }))
const inFolder = (...names: readonly string[]) => join(folder, ...names)

/** The demonstration's clinic, with its cases in a Redis. */
function clinicOnRedis(line = `m${lines}-`): string {
  const clinic = inFolder(`clinic-${line}`)
  cpSync(DEMO_CLINIC, clinic, { recursive: true })
  appendFileSync(join(clinic, 'clinic.yaml'), `\nstore:\n  redis: redis://127.0.0.1:${server.port}\n  line: ${line}\n`)
  return clinic
}

function opened(data: string, clinic?: string): Promise<SealedData> {
  const route = clinic === undefined ? undefined : loadClinic(clinic, night).store
  return openSealedData({
    data: openDataFolder(data, systemRandom()),
    store: route,
    mode: 'demonstration',
    onUnreadable: ({ error }) => {
      throw error
    },
    onFault: error => {
      throw error
    },
  })
}

const family = { channel: 'web', chat: 'family' }

/** A night with everything in it: two cases of one chat, one erased, rows in every state, alarms, deliveries. */
async function aNight({ store }: SealedData): Promise<void> {
  const delivery = (deliveryId: string) => ({ channel: 'web', deliveryId })
  await store.commit(
    step('sun', 0, {
      chat: family,
      delivery: delivery('d1'),
      outbox: [row('sun/1/0', 'family'), row('sun/1/1', 'p', { lane: 'page' })],
    }),
  )
  await store.commit(step('moon', 0, { chat: family, delivery: delivery('d2'), outbox: [row('moon/1/0', 'family')] }))
  await store.commit(
    step('sun', 1, { chat: family, outbox: [row('sun/2/0', 'family')], alarms: alarms({ check: at(9) }) }),
  )
  await store.commit(step('star', 0, { closed: true, at: at(2), alarms: alarms({ late: at(99) }) }))
  await store.commit(step('gone', 0, { closed: true, at: at(3), outbox: [row('gone/1/0', 'g')] }))
  await store.erase('gone', at(3))
  const [first] = await store.claim('family', night, 60_000, 1)
  await store.rendered(first?.effectId ?? '', 'Cover it', at(1))
  await store.settle(first?.effectId ?? '', { kind: 'sent', at: at(2) }, 1)
  await store.claim('page', night, 60_000, 1)
  await store.rendered('sun/1/1', 'Call Sun 4719', at(1))
}

/** All that can be asked of it. */
async function everything({ store }: SealedData) {
  const cases = await store.recent(night)
  return {
    cases,
    heads: await store.recentHeads(night),
    histories: await Promise.all(cases.map(({ caseId }) => store.history(caseId))),
    outboxes: await Promise.all(cases.map(({ caseId }) => store.outboxOf(caseId))),
    erased: await store.load('gone'),
    alarms: await Promise.all(
      ['check', 'late'].map(name => Promise.all(['sun', 'star'].map(id => store.alarmOf(id, name)))),
    ),
  }
}

/** The same, though a lease of the old place is over in the new one: what it had may have arrived. */
const leasesOver = (all: Awaited<ReturnType<typeof everything>>) => ({
  ...all,
  outboxes: all.outboxes.map(rows =>
    rows.map(one => (one.effectId === 'sun/1/1' ? { ...one, outcomeUnknown: true } : one)),
  ),
})

describe('moving from the file to Redis', () => {
  test('carries everything, keeps order and what was taken, and leaves nothing that could be served twice', async () => {
    const data = inFolder('data')
    const before = await opened(data)
    await aNight(before)
    const owed = leasesOver(await everything(before))
    await before.store.close()
    const clinic = clinicOnRedis()
    const moved = await smallhours('move', '--clinic', clinic, '--data', data)
    expect(moved).toMatchObject({ code: 0, err: '' })
    expect(moved.out).toMatch(/4 cases of 3 chats are in Redis/)
    expect([existsSync(join(data, 'smallhours.sqlite')), existsSync(join(data, 'smallhours.sqlite.moved'))]).toEqual([
      ...[false, true],
    ])
    const after = await opened(data, clinic)
    expect(await everything(after)).toEqual(owed)
    await after.store.sharing?.start()
    expect(
      await after.store.commit(step('sun', 2, { chat: family, delivery: { channel: 'web', deliveryId: 'd1' } })),
    ).toBe('duplicate')
    const next = async () => (await after.store.claim('family', at(5), 1_000, 9)).map(one => [one.effectId, one.tries])
    expect(await next()).toEqual([['moon/1/0', 1]])
    await after.store.settle('moon/1/0', { kind: 'sent', at: at(6) })
    expect(await next()).toEqual([['sun/2/0', 1]])
    expect(await after.store.claim('page', at(5), 1_000, 9)).toMatchObject([
      { content: 'Call Sun 4719', outcomeUnknown: true },
    ])
    expect(await after.store.commit(step('sun', 2, { chat: family }))).toBe('committed')
    expect(await after.store.due(at(99), 9)).toHaveLength(2)
    await after.store.close()
    expect((await smallhours('move', '--clinic', clinic, '--data', data)).err).toMatch(/were moved before/)
  })

  test('goes on where it was cut off', async () => {
    const data = inFolder('data')
    const before = await opened(data)
    for (let n = 0; n < 20; n += 1)
      await before.store.commit(step(`case ${n}`, 0, { outbox: [row(`case ${n}/1/0`, `q${n}`)] }))
    await before.store.close()
    const clinic = clinicOnRedis()
    const redis = await openRedisStore<Content>({
      addresses: [{ host: '127.0.0.1', port: server.port }],
      ...{ durability: 'always' as const, line: `m${lines}-` },
    })
    await actForAll(redis)
    const [from, into] = [openMovableFile(join(data, 'smallhours.sqlite')), movableRedis(redis)]
    let left = 8
    const cut: Movable = {
      ...into,
      put: chat => (left-- > 0 ? into.put(chat) : Promise.reject(new Error('cut off'))),
    }
    await expect(carryOver(from, cut, () => undefined)).rejects.toThrow('cut off')
    await from.close()
    await redis.close()
    const moved = await smallhours('move', '--clinic', clinic, '--data', data, '--json')
    expect(JSON.parse(moved.out)).toEqual({ chats: 20, carried: 12, cases: 20 })
    const after = await opened(data, clinic)
    await after.store.sharing?.start()
    expect(await after.store.recentHeads(night)).toHaveLength(20)
    expect(await after.store.claim('family', night, 1_000, 99)).toHaveLength(20)
    await after.store.close()
  })

  test('is refused while the line runs on the file, or another process on the Redis', async () => {
    const [data, clinic] = [inFolder('data'), clinicOnRedis()]
    const serving = await openSealedData({
      ...{ data: openDataFolder(data, systemRandom()), mode: 'demonstration', isServing: true },
      ...{ onUnreadable: () => undefined, onFault: () => undefined },
    })
    const refused = await smallhours('move', '--clinic', clinic, '--data', data)
    expect(refused).toMatchObject({ code: 1 })
    expect(refused.err).toMatch(/serves this data folder/)
    await serving.store.close()
    const other = await opened(inFolder('other'), clinic)
    await other.store.sharing?.start()
    expect((await smallhours('move', '--clinic', clinic, '--data', data)).err).toMatch(
      /another process serves this line/,
    )
    await other.store.close()
    expect(await smallhours('move', '--clinic', clinic, '--data', data)).toMatchObject({ code: 0 })
  })
})

describe('a backup', () => {
  test.each(['the file', 'Redis'])('of %s is made while the line runs, and restored it holds the same', async where => {
    const [data, copy, again] = [inFolder('data'), inFolder('backup'), inFolder('again')]
    const clinic = where === 'Redis' ? clinicOnRedis() : DEMO_CLINIC
    const onRedis = where === 'Redis' ? clinic : undefined
    const line = await opened(data, onRedis)
    await line.store.sharing?.start()
    await aNight(line)
    const owed = leasesOver(await everything(line))
    const made = await smallhours('backup', '--to', copy, '--clinic', clinic, '--data', data)
    expect(made).toMatchObject({ code: 0, err: '' })
    expect(made.out).toMatch(/4 cases of 3 chats/)
    await line.store.commit(step('later', 0))
    await line.store.close()
    // Without the clinic's keys nothing in it can be read.
    expect(readdirSync(copy).sort()).toEqual(['keys.sqlite', 'smallhours.sqlite'])
    const elsewhere = where === 'Redis' ? clinicOnRedis(`r${lines}-`) : DEMO_CLINIC
    expect(await smallhours('restore', '--from', copy, '--clinic', elsewhere, '--data', again)).toMatchObject({
      code: 0,
      err: '',
    })
    writeFileSync(join(again, 'clinic-keys'), readFileSync(join(data, 'clinic-keys')), { mode: 0o600 })
    const restored = await opened(again, where === 'Redis' ? elsewhere : undefined)
    const found = await everything(restored)
    expect(where === 'Redis' ? found : leasesOver(found)).toEqual(owed)
    await restored.store.close()
  })

  test('never overwrites another, and is not restored over cases', async () => {
    const [data, copy] = [inFolder('data'), inFolder('backup')]
    await (await opened(data)).store.close()
    expect(await smallhours('backup', '--to', copy, '--data', data)).toMatchObject({ code: 0 })
    expect((await smallhours('backup', '--to', copy, '--data', data)).err).toMatch(/name a new one for each backup/)
    expect((await smallhours('restore', '--from', copy, '--data', data)).err).toMatch(/this folder keeps cases/)
    expect((await smallhours('restore', '--from', inFolder('none'), '--data', data)).err).toMatch(
      /not there; a backup holds/,
    )
  })
})

test('a conversation to try something out takes nobody’s case: it does not join the line that the clinic file names', async () => {
  const clinic = clinicOnRedis()
  const { loaded } = loadLine({ clinicDir: clinic, at: night })
  if (loaded === undefined) throw new Error('the clinic is read')
  const options = {
    ...{ loaded, dataDir: inFolder('data'), clock: handClock(night), random: systemRandom() },
    ...{ log: () => undefined, origin: () => 'http://localhost' },
  }
  const alone = await openBot(options)
  expect(alone.store.sharing).toBeUndefined()
  await alone.stop()
  const joined = await openBot({ ...options, dataDir: inFolder('other'), joinsLine: true })
  expect(joined.store.sharing).toBeDefined()
  await joined.stop()
})
