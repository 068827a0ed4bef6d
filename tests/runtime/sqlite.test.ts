import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, expect, it } from 'vitest'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import { minutes, seconds } from '../../src/time/instant.ts'
import { CHAT, wordsOf, world } from '../support/world.ts'

const folder = mkdtempSync(join(tmpdir(), 'runtime-'))
afterAll(() => rmSync(folder, { recursive: true }))

it('the same runtime on a SQLite file: replies, a page, an alarm, and all of it in the log of the next process', async () => {
  const file = join(folder, 'night.db')
  const first = openSqliteStore({ file })
  const night = await world({ through: () => first }).start()
  await night.say('the tube is out')
  await night.say('one')
  await night.say('person please')
  await night.advance(minutes(10) + seconds(1))
  expect(night.delivered.map(each => wordsOf(each)[0])).toEqual(['hold', 'thanks', 'personWanted', 'alarm'])
  expect(night.paged.map(page => page.address).sort()).toEqual(['amara-1', 'amara-2'])
  expect(night.faults).toEqual([])
  await night.runtime.stop()
  await first.close()

  const second = openSqliteStore({ file })
  const morning = await world({ through: () => second, clock: night.clock }).start()
  const log = await morning.runtime.logOf(CHAT)
  expect(log.filter(line => line.speaker.kind === 'family').map(line => line.said)).toEqual([
    'the tube is out',
    'one',
    'person please',
  ])
  expect(log.every(line => line.reached === 'received' || line.reached === 'delivered')).toBe(true)
  expect(morning.delivered).toEqual([])
  await morning.runtime.stop()
  await second.close()
})
