import { chmodSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant } from '../../src/time/instant.ts'

let folder = ''
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-data-'))
})
afterEach(() => rmSync(folder, { recursive: true }))

test('signs of life written all at once are all kept, the last one stands, nothing is left beside', async () => {
  const data = openDataFolder(folder, systemRandom())
  await Promise.all(Array.from({ length: 40 }, (_, i) => data.lastAlive.write(instant(1_000 + i))))
  expect(await data.lastAlive.read()).toBe(1_039)
  expect(readdirSync(folder).toSorted()).toEqual(['last-alive', 'signing-key'])
})

test('the key is made once, read again, and readable by its owner only', () => {
  const { key } = openDataFolder(folder, systemRandom())
  expect(openDataFolder(folder, systemRandom()).key).toEqual(key)
  expect(statSync(join(folder, 'signing-key')).mode & 0o777).toBe(0o600)
})

test('a key that was cut short is refused by its file, not replaced in silence', () => {
  const data = openDataFolder(folder, systemRandom())
  const file = join(folder, 'signing-key')
  writeFileSync(file, readFileSync(file, 'utf8').slice(0, 20))
  expect(() => openDataFolder(folder, systemRandom())).toThrow(/signing-key does not hold a key of 32 bytes/)
  expect(data.key.length).toBe(32)
})

test('a key that others may read is refused with the command that mends it, not mended in silence', () => {
  openDataFolder(folder, systemRandom())
  const file = join(folder, 'signing-key')
  for (const mode of [0o644, 0o640, 0o601]) {
    chmodSync(file, mode)
    expect(() => openDataFolder(folder, systemRandom())).toThrow(`Run "chmod 600 ${file}"`)
    expect(statSync(file).mode & 0o777).toBe(mode)
  }
  chmodSync(file, 0o400)
  expect(openDataFolder(folder, systemRandom()).key.length).toBe(32)
})

test('a sign of life that cannot be read is none', async () => {
  const data = openDataFolder(folder, systemRandom())
  expect(await data.lastAlive.read()).toBeUndefined()
  writeFileSync(join(folder, 'last-alive'), 'half')
  expect(await data.lastAlive.read()).toBeUndefined()
})
