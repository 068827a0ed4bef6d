import { spawn, spawnSync } from 'node:child_process'
import { once } from 'node:events'
import {
  chmodSync,
  copyFileSync,
  existsSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { storedJson } from '../../src/case/stored-json.ts'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { recordsCommand } from '../../src/cli/records.ts'
import { retention } from '../../src/cli/retention.ts'
import { openSealedData } from '../../src/cli/sealed-data.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import type { SealedStore } from '../../src/store/sealed-store.ts'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import { days, hours, type Instant, instant, minutes } from '../../src/time/instant.ts'
import { at, night, row, step } from '../store/step-record.ts'

let folder = ''
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-sealed-'))
})
afterEach(() => {
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

const inFolder = (name: string) => join(folder, name)
const faults: unknown[] = []
const open = (mode: 'clinic' | 'demonstration') =>
  openSealedData({
    data: openDataFolder(folder, systemRandom()),
    mode,
    onUnreadable: ({ error }) => faults.push(error),
    onFault: error => faults.push(error),
  })

describe('a data folder', () => {
  test('holds no text of an erased case in memory, and none at all once old cases are looked for', async () => {
    const { store } = await open('demonstration')
    await store.commit(step('sun', 0))
    const lately = async (caseId: string) => storedJson((await store.load(caseId))?.state ?? 'null')
    const read = await lately('sun')
    expect(await lately('sun')).toBe(read)
    await store.erase('sun', at(5))
    expect(storedJson(JSON.stringify(read))).not.toBe(read)
    await store.commit(step('dew', 0))
    const other = await lately('dew')
    await store.purge(at(-1e6), at(6))
    expect(await lately('dew')).not.toBe(other)
    await store.close()
  })

  test('of a demonstration gets its key at the first start, and the same one opens it again', async () => {
    const first = await open('demonstration')
    await first.store.commit(step('sun', 0))
    await first.store.close()
    const keys = readFileSync(inFolder('clinic-keys'), 'utf8')
    expect(statSync(inFolder('clinic-keys')).mode & 0o777).toBe(0o600)
    expect(statSync(inFolder('keys.sqlite')).mode & 0o777).toBe(0o600)
    const again = await open('demonstration')
    expect((await again.store.load('sun'))?.state).toBe(step('sun', 0).state)
    await again.store.close()
    expect(readFileSync(inFolder('clinic-keys'), 'utf8')).toBe(keys)
  })

  test('of a clinic without its key is refused in words, and no key is made in silence', async () => {
    await expect(open('clinic')).rejects.toThrow(/clinic-keys: .* is missing. Put back the saved copy; in a new data/)
    expect(existsSync(inFolder('clinic-keys'))).toBe(false)
    expect(existsSync(inFolder('keys.sqlite'))).toBe(false)
  })

  test('whose key others may read is refused for a clinic and mended in a demonstration', async () => {
    await (await open('demonstration')).store.close()
    chmodSync(inFolder('clinic-keys'), 0o644)
    await expect(open('clinic')).rejects.toThrow(/others on this machine may read it \(mode 644, expected 600\)/)
    await (await open('demonstration')).store.close()
    expect(statSync(inFolder('clinic-keys')).mode & 0o777).toBe(0o600)
    await (await open('clinic')).store.close()
  })

  test('that lost the clinic’s key is refused, not given a new one, in a demonstration too', async () => {
    const sealed = await open('demonstration')
    await sealed.store.commit(step('sun', 0))
    await sealed.store.close()
    const saved = readFileSync(inFolder('clinic-keys'), 'utf8')
    rmSync(inFolder('clinic-keys'))
    await expect(open('demonstration')).rejects.toThrow(/is missing. Put back the saved copy/)
    const other = mkdtempSync(join(tmpdir(), 'smallhours-other-'))
    const stranger = await openSealedData({
      data: openDataFolder(other, systemRandom()),
      mode: 'demonstration',
      onUnreadable: () => undefined,
      onFault: () => undefined,
    })
    await stranger.store.close()
    writeFileSync(inFolder('clinic-keys'), readFileSync(join(other, 'clinic-keys'), 'utf8'), { mode: 0o600 })
    rmSync(other, { recursive: true })
    await expect(open('demonstration')).rejects.toThrow(
      new RegExp(`the key ${saved.slice(0, 8)} is missing, and 1 cases are locked with it`),
    )
    writeFileSync(inFolder('clinic-keys'), saved)
    await (await open('clinic')).store.close()
  })

  test('that lost its wrapped keys, or is from before sealing, is refused before a family meets it', async () => {
    const plain = openSqliteStore({ file: inFolder('smallhours.sqlite') })
    await plain.commit(step('sun', 0))
    await plain.close()
    const words = /keys.sqlite holds no key, and .*smallhours.sqlite holds 1 cases.*name a new folder with --data/
    await expect(open('demonstration')).rejects.toThrow(words)
    // It let go of both files.
    await expect(open('demonstration')).rejects.toThrow(words)
  })

  test('goes on with the keys in memory while their file cannot be read, and tells', async () => {
    const { store } = await open('clinic').catch(() => open('demonstration'))
    await store.commit(step('sun', 0))
    faults.length = 0
    const keys = readFileSync(inFolder('clinic-keys'))
    rmSync(inFolder('clinic-keys'))
    expect(await store.commit(step('moon', 0))).toBe('committed')
    expect((await store.load('moon'))?.seq).toBe(1)
    expect(faults.map(error => (error as Error).name)).toContain('ClinicKeysUnusable')
    writeFileSync(inFolder('clinic-keys'), keys, { mode: 0o600 })
    await store.close()
  })
})

describe('a data folder that is served', () => {
  const serving = () =>
    openSealedData({
      ...{ data: openDataFolder(folder, systemRandom()), mode: 'demonstration', isServing: true },
      onUnreadable: ({ error }) => faults.push(error),
      onFault: error => faults.push(error),
    })

  test('is refused to a second that would serve it, in words, and free again once the first has stopped', async () => {
    const first = await serving()
    await first.store.commit(step('sun', 0))
    await expect(serving()).rejects.toThrow(
      new RegExp(`serving: another process \\(number ${process.pid}\\) serves this data folder. Stop it first`),
    )
    // Commands beside it look, erase and rotate.
    const beside = await open('demonstration')
    expect((await beside.store.load('sun'))?.seq).toBe(1)
    await beside.store.close()
    expect(await first.store.commit(step('sun', 1))).toBe('committed')
    await first.store.close()
    const second = await serving()
    expect((await second.store.load('sun'))?.seq).toBe(2)
    await second.store.close()
  }, 20_000)

  test('refuses the command that serves in one plain line, and is free at once when whoever held it was killed', async () => {
    await (await open('demonstration')).store.close()
    const lock = new URL('../../src/store/sqlite/serving-lock.ts', import.meta.url).href
    const holds = `import { claimServing } from ${JSON.stringify(lock)}
      claimServing(${JSON.stringify(inFolder('serving'))}, process.pid); globalThis.gc(); console.log('held'); setInterval(() => {}, 1000)`
    const holder = spawn(process.execPath, ['--expose-gc', '--input-type=module', '-e', holds], {
      stdio: ['ignore', 'pipe', 'inherit'],
    })
    try {
      await once(holder.stdout, 'data')
      const main = fileURLToPath(new URL('../../src/cli/main.ts', import.meta.url))
      const second = spawnSync(process.execPath, [main, 'serve', '--data', folder, '--port', '0'], {
        encoding: 'utf8',
        timeout: 15_000,
      })
      expect(second.status).toBe(1)
      expect(second.stderr.trim().split('\n')).toEqual([
        expect.stringMatching(
          new RegExp(
            `^smallhours serve: StoreUnusable: .*\\(number ${holder.pid}\\) serves this data folder\\. Stop it`,
          ),
        ),
      ])
    } finally {
      holder.kill('SIGKILL')
      await once(holder, 'close')
    }
    const next = await serving()
    expect(await next.store.commit(step('sun', 0))).toBe('committed')
    await next.store.close()
  }, 30_000)

  test('is free again at once after a start that was refused for another reason', async () => {
    writeFileSync(inFolder('smallhours.sqlite'), 'no database at all. '.repeat(300))
    await expect(serving()).rejects.toThrow(/cannot be opened/)
    rmSync(inFolder('smallhours.sqlite'))
    await (await serving()).store.close()
  })
})

describe('a data folder put back from a backup', () => {
  const save = (name: string) => copyFileSync(inFolder(name), inFolder(`${name}.saved`))
  const restore = (name: string) => {
    for (const end of ['', '-wal', '-shm']) rmSync(inFolder(`${name}${end}`), { force: true })
    copyFileSync(inFolder(`${name}.saved`), inFolder(name))
  }
  /** The backup holds sun after one step; moon came after it, and sun's second step. */
  async function lived(): Promise<void> {
    const { store } = await open('demonstration')
    await store.commit(
      step('sun', 0, { outbox: [row('sun.1.0', 'q')], delivery: { channel: 'web', deliveryId: 'm1' } }),
    )
    await store.close()
    for (const name of ['smallhours.sqlite', 'keys.sqlite']) save(name)
    const later = await open('demonstration')
    await later.store.commit(step('sun', 1))
    await later.store.commit(step('moon', 0))
    await later.store.close()
    faults.length = 0
  }

  test('both files: goes on from where the backup was', async () => {
    await lived()
    for (const name of ['smallhours.sqlite', 'keys.sqlite']) restore(name)
    const { store } = await open('clinic')
    expect((await store.recent(at(0))).map(({ caseId, seq }) => [caseId, seq])).toEqual([['sun', 1]])
    expect((await store.outboxOf('sun'))[0]?.effect).toBe(row('sun.1.0', 'q').effect)
    const again = { delivery: { channel: 'web', deliveryId: 'm1' } }
    expect(await store.commit(step('sun', 1, again))).toBe('duplicate')
    expect(await store.commit(step('sun', 1))).toBe('committed')
    expect(faults).toEqual([])
    await store.close()
  })

  test('the database alone: what it holds is readable, the case it does not know begins anew', async () => {
    await lived()
    restore('smallhours.sqlite')
    const { store } = await open('clinic')
    expect((await store.load('sun'))?.state).toBe(step('sun', 0).state)
    expect(await store.load('moon')).toBeUndefined()
    expect(await store.commit(step('moon', 0))).toBe('committed')
    expect(faults).toEqual([])
    await store.close()
  })

  test('the wrapped keys alone: the case they do not know is there, does not open, and is told', async () => {
    await lived()
    restore('keys.sqlite')
    const { store } = await open('clinic')
    expect((await store.load('sun'))?.state).toBe(step('sun', 1).state)
    expect(await store.load('moon')).toMatchObject({ seq: 1, state: '' })
    expect(faults.map(error => (error as Error).name)).toEqual(['SealBroken'])
    await store.close()
  })

  test('without its database it is refused, not begun anew in silence', async () => {
    await lived()
    rmSync(inFolder('smallhours.sqlite'))
    await expect(open('clinic')).rejects.toThrow(
      /smallhours.sqlite is missing or empty, and .*keys.sqlite holds keys of 2 cases. Restore the newest backup of both/,
    )
    writeFileSync(inFolder('smallhours.sqlite'), '')
    await expect(open('demonstration')).rejects.toThrow(/is missing or empty/)
  })
})

describe('retention', () => {
  test('purges a minute after the start and then every day, by the wall’s time, and goes on after a failure', async () => {
    const clock = handClock(night)
    const calls: [Instant, Instant][] = []
    let fails = true
    const store = {
      purge: async (olderThan: Instant, now: Instant) => {
        calls.push([olderThan, now])
        if (fails) throw new Error('the disk is full')
        return ['sun', 'moon']
      },
    } as unknown as SealedStore
    const failed: unknown[] = []
    const settled = async () => void (await new Promise(setImmediate))
    const told: number[] = []
    const keeping = retention({
      ...{ store, clock, keep: () => days(90) },
      onPurged: count => told.push(count),
      onFault: error => failed.push(error),
    })
    keeping.start()
    await clock.advance(minutes(0.9), settled)
    expect(calls).toEqual([])
    await clock.advance(minutes(0.1), settled)
    expect(calls).toEqual([[instant(night + 60_000 - 90 * 86_400_000), night + 60_000]])
    expect(failed).toHaveLength(1)
    expect(told).toEqual([])
    fails = false
    await clock.advance(hours(23.9), settled)
    expect(calls).toHaveLength(1)
    await clock.advance(hours(0.2), settled)
    expect(calls).toHaveLength(2)
    // Each time, how many; never which.
    expect(told).toEqual([2])
    await keeping.stop()
    await clock.advance(days(3), settled)
    expect(calls).toHaveLength(2)
  })
})

describe('smallhours records', () => {
  async function run(...words: string[]): Promise<{ code: number; said: string }> {
    let said = ''
    vi.spyOn(process.stdout, 'write').mockImplementation(text => {
      said += text
      return true
    })
    const code = await recordsCommand.run([...words, '--data', folder])
    vi.restoreAllMocks()
    return { code, said }
  }
  async function filled(): Promise<void> {
    const { store } = await open('demonstration')
    const state = (code: string) => JSON.stringify({ code })
    await store.commit(step('sun', 0, { state: state('Amber 1111') }))
    await store.commit(step('dew', 0, { state: JSON.stringify({ code: 'Dew 4444', outcome: { id: 'other' } }) }))
    await store.commit(step('moon', 0, { state: state('Birch 2222'), closed: true }))
    await store.commit(step('star', 0, { state: state('Birch 2222'), closed: true }))
    const closedNow = { state: state('Cedar 3333'), closed: true, at: instant(Date.now()) }
    await store.commit(step('dusk', 0, { ...closedNow, at: instant(Date.now() - 89 * 86_400_000) }))
    await store.commit(step('dawn', 0, { ...closedNow, at: instant(Date.now() - 91 * 86_400_000) }))
    await store.close()
  }
  const left = async () => {
    const { store } = await open('demonstration')
    const ids = (await store.recent(at(-1e9))).map(({ caseId }) => caseId)
    await store.close()
    return ids.toSorted()
  }

  test('erase: by id or code, once for all; not an open case, not one of two, not one that is not there', async () => {
    await filled()
    expect(await run('erase', 'amber 1111')).toMatchObject({ code: 1, said: expect.stringMatching(/is open/) })
    expect(await run('erase', 'Birch 2222')).toMatchObject({ code: 1, said: expect.stringMatching(/More than one/) })
    expect(await run('erase', 'Oak 9999')).toMatchObject({ code: 1, said: expect.stringMatching(/no case/) })
    expect(await run('erase', 'moon')).toMatchObject({ code: 0, said: expect.stringMatching(/^Erased/) })
    expect(await run('erase', 'moon')).toMatchObject({ code: 0, said: expect.stringMatching(/erased before/) })
    expect(await run('erase', 'birch 2222', '--json')).toEqual({ code: 0, said: '{"erased":["star"]}\n' })
    expect(await run('erase', 'Dew 4444')).toMatchObject({ code: 0 })
    expect(await run('erase', 'sun', '--even-open')).toMatchObject({ code: 0 })
    expect(await left()).toEqual(['dawn', 'dusk'])
  })

  test('purge: what the clinic’s file says, 90 days as shipped', async () => {
    await filled()
    const { code, said } = await run('purge', '--json')
    expect([code, JSON.parse(said).erased]).toEqual([0, ['dawn']])
    expect(await left()).toContain('dusk')
  })

  test('rotate, keys, retire: a new key locks every case, the old one goes when nothing needs it', async () => {
    await filled()
    const before = JSON.parse((await run('keys', '--json')).said)
    expect(before).toMatchObject({ keys: [{ cases: 6, newest: true }], erased: 0 })
    expect(JSON.parse((await run('retire', '--json')).said)).toEqual({ retired: [] })
    const rotated = JSON.parse((await run('rotate', '--json')).said)
    expect(rotated).toMatchObject({ rewrapped: 6 })
    expect(rotated.newest).not.toBe(before.keys[0].id)
    expect(JSON.parse((await run('retire', '--json')).said)).toEqual({ retired: [before.keys[0].id] })
    expect(JSON.parse((await run('keys', '--json')).said).keys).toEqual([
      { id: rotated.newest, cases: 6, newest: true },
    ])
    expect(await left()).toHaveLength(6)
  })

  test('called wrongly it says how', async () => {
    await expect(run('burn')).rejects.toThrow(/one of erase, purge, keys, rotate, retire/)
    await expect(run('erase')).rejects.toThrow(/the code or the id/)
    await expect(recordsCommand.run(['keys', '--data', join(folder, 'none')])).rejects.toThrow(/no such folder/)
    expect(existsSync(join(folder, 'none'))).toBe(false)
  })
})
