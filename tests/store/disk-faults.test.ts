import { spawnSync } from 'node:child_process'
import {
  chmodSync,
  closeSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  rmSync,
  statSync,
  truncateSync,
  writeFileSync,
  writeSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync, StatementSync } from 'node:sqlite'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { addClinicKey, readClinicKeys } from '../../src/store/clinic-keys.ts'
import { openCaseKeys } from '../../src/store/sqlite/case-keys.ts'
import { openSqliteStore, type SqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import { alarms, at, night, row, step } from './step-record.ts'

let folder = ''
let file = ''
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'disk-'))
  file = join(folder, 'cases.db')
})
afterEach(() => {
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true, force: true })
})

const wordsOfOpening = (): string => {
  try {
    void openSqliteStore({ file, busyTimeoutMs: 20 }).close()
    return 'opened'
  } catch (error) {
    return (error as Error).message
  }
}

/** Fails the nth call to the database from now on, of any kind, once. `before`: nothing was done; `after`: it was, and nobody hears. */
function failNth(nth: number, when: 'before' | 'after'): { readonly passed: () => number } {
  let calls = 0
  for (const call of ['run', 'get', 'all'] as const) {
    const real = StatementSync.prototype[call] as (...values: unknown[]) => unknown
    vi.spyOn(StatementSync.prototype, call).mockImplementation(function (this: unknown, ...values: unknown[]) {
      calls += 1
      const fails = calls === nth
      if (fails && when === 'before') throw new Error('disk I/O error')
      const answer = real.apply(this, values)
      if (fails) throw new Error('disk I/O error')
      return answer as never
    })
  }
  return { passed: () => calls }
}

/** A short night: what a worker and an outbox do to a store. Everything is done again until it is answered, as they do. */
async function shortNight(store: SqliteStore): Promise<void> {
  const again = async <T>(work: () => Promise<T>): Promise<T> => {
    try {
      return await work()
    } catch {
      return work()
    }
  }
  const seqOf = async () => (await again(() => store.load('sun')))?.seq ?? 0
  const first = step('sun', 0, {
    delivery: { channel: 'web', deliveryId: 'm1' },
    outbox: [row('sun.1.0', 'chat'), row('sun.1.1.0', 'page', { lane: 'page' })],
    alarms: alarms({ check: at(60) }),
  })
  expect(['committed', 'duplicate']).toContain(await again(() => store.commit(first)))
  expect(await seqOf()).toBe(1)
  const beside = [step('moon', 0), step('dew', 0, { outbox: [row('dew.1.0', 'd')] })]
  await Promise.all(beside.map(one => again(() => store.commit(one))))
  const claim = () => store.claim('family', night, 60_000, 9)
  // A claim whose answer was lost holds its lease; the next start would release it.
  if ((await again(claim)).length < 2) {
    await again(() => store.releaseLeases())
    expect(await again(claim)).toHaveLength(2)
  }
  await again(() => store.rendered('sun.1.0', 'Cover it', at(1)))
  await again(() => store.settle('sun.1.0', { kind: 'sent', at: at(2) }))
  const second = step('sun', 1, { alarms: alarms({ leave: at(90) }, ['check']) })
  expect(['committed', 'conflict']).toContain(await again(() => store.commit(second)))
  expect(await seqOf()).toBe(2)
}

describe('an error of the disk at one call', () => {
  // The way SQLite is tested by its authors: fail the first call, the second, and so on, until none fails any more
  // (sqlite.org/testing.html, "I/O Error Testing").
  test.each(['before', 'after'] as const)(
    'loses nothing that was answered and leaves nothing in part, whichever call it is (%s it was done)',
    async when => {
      let nth = 0
      for (let isHit = true; isHit; ) {
        nth += 1
        const own = join(folder, `${when}-${nth}.db`)
        const store = openSqliteStore({ file: own })
        const { passed } = failNth(nth, when)
        await shortNight(store)
        isHit = passed() >= nth
        vi.restoreAllMocks()
        await store.close()
        const after = openSqliteStore({ file: own })
        expect((await after.history('sun')).map(({ seq }) => seq)).toEqual([1, 2])
        expect((await after.outboxOf('sun')).map(one => [one.effectId, one.status, one.content])).toEqual([
          ['sun.1.0', 'sent', 'Cover it'],
          ['sun.1.1.0', 'waiting', undefined],
        ])
        expect((await after.outboxOf('dew')).map(one => one.status)).toEqual(['waiting'])
        expect([(await after.load('moon'))?.seq, (await after.load('dew'))?.seq]).toEqual([1, 1])
        expect(await after.due(at(99), 9)).toEqual([{ caseId: 'sun', name: 'leave', due: at(90) }])
        await after.close()
      }
      expect(nth).toBeGreaterThan(40)
      console.log(`an error ${when} each of ${nth - 1} calls to the database: 0 lost, 0 in part`)
    },
    60_000,
  )
})

const writer = fileURLToPath(new URL('./sqlite-writer.ts', import.meta.url))

describe('a full disk', () => {
  // A limit on the size of a file stands for it; the writes fail with the system's own error, in the middle of a group.
  test.each([130, 250, 400, 900, 2_100])(
    'after %i blocks keeps what was answered, and says what is wrong',
    async blocks => {
      const made = openSqliteStore({ file })
      await made.close()
      const args = [
        '-c',
        `ulimit -f ${blocks}; exec "$@"`,
        'sh',
        process.execPath,
        writer,
        file,
        'full',
        'until-killed',
      ]
      const { stdout } = spawnSync('sh', args, { encoding: 'utf8', timeout: 60_000 })
      const lines = stdout.split('\n').slice(0, -1)
      const acked = lines.filter(line => line.startsWith('ack ')).map(line => line.slice(4))
      expect(lines.filter(line => /^refused .*(disk I\/O error|full)/.test(line)).length).toBeGreaterThan(0)
      const store = openSqliteStore({ file })
      for (const caseId of acked) {
        expect(await store.history(caseId)).toHaveLength(1)
        expect(await store.outboxOf(caseId)).toHaveLength(1)
      }
      await store.close()
      const db = new DatabaseSync(file)
      const count = (table: string) => db.prepare(`SELECT count(*) AS n FROM ${table}`).get()?.n
      expect([count('event'), count('outbox'), count('alarm'), count('delivery')]).toEqual(
        Array(4).fill(count('case_')),
      )
      expect(Number(count('case_'))).toBeGreaterThanOrEqual(acked.length)
      db.close()
    },
  )
})

describe('a power cut', () => {
  /** Steps one after the other, with the length of the log after each. */
  async function written(steps: number): Promise<readonly number[]> {
    const store = openSqliteStore({ file })
    const lengths: number[] = []
    for (let n = 0; n < steps; n += 1) {
      await store.commit(step('sun', n, { outbox: [row(`sun.${n + 1}.0`, 'q')], state: 'x'.repeat(900) }))
      lengths.push(statSync(`${file}-wal`).size)
    }
    copyFileSync(file, join(folder, 'cut.db'))
    copyFileSync(`${file}-wal`, join(folder, 'cut.db-wal'))
    await store.close()
    return lengths
  }
  /** Events of the case after a start over what is left; case, events and outbox agree. */
  async function left(name: string): Promise<number> {
    const store = openSqliteStore({ file: join(folder, name) })
    const seq = (await store.load('sun'))?.seq ?? 0
    expect((await store.history('sun')).map(one => one.seq)).toEqual(Array.from({ length: seq }, (_, n) => n + 1))
    expect(await store.outboxOf('sun')).toHaveLength(seq)
    await store.close()
    return seq
  }
  const cutAt = async (length: number, harm?: (wal: string) => void): Promise<number> => {
    for (const end of ['', '-wal', '-shm']) rmSync(join(folder, `torn.db${end}`), { force: true })
    copyFileSync(join(folder, 'cut.db'), join(folder, 'torn.db'))
    copyFileSync(join(folder, 'cut.db-wal'), join(folder, 'torn.db-wal'))
    truncateSync(join(folder, 'torn.db-wal'), length)
    harm?.(join(folder, 'torn.db-wal'))
    return left('torn.db')
  }

  // SQLite documentation, "WAL-mode File Format": a frame whose checksum does not hold ends the log there.
  test('that tears the log anywhere leaves exactly the steps whose sync had ended, each whole', async () => {
    const lengths = await written(24)
    const whole = (length: number) => lengths.filter(one => one <= length).length
    let between = 0
    for (const length of lengths) {
      for (const cut of [length, length - 1, length - 2_000, length + 10, length + 4_000]) {
        const kept = Math.min(cut, lengths.at(-1) ?? 0)
        if (!lengths.includes(kept)) between += 1
        expect(await cutAt(kept), `cut at ${kept}`).toBe(whole(kept))
      }
    }
    expect(between).toBeGreaterThan(40)
  })

  test('that leaves rubbish in the log ends it before the step the rubbish is in', async () => {
    const lengths = await written(12)
    for (let n = 1; n < lengths.length; n += 1) {
      const [from = 0, to = 0] = [lengths[n - 1], lengths[n]]
      const place = from + Math.floor((to - from) / 2)
      const scratched = await cutAt(lengths.at(-1) ?? 0, wal => {
        const opened = openSync(wal, 'r+')
        writeSync(opened, Buffer.from('rubbish'), 0, 7, place)
        closeSync(opened)
      })
      expect(scratched).toBe(n)
    }
  })
})

describe('a file that cannot serve is refused at the start, with what to do', () => {
  async function filled(): Promise<void> {
    const store = openSqliteStore({ file })
    await Promise.all(Array.from({ length: 120 }, (_, n) => store.commit(step(`c${n}`, 0, { state: 'x'.repeat(900) }))))
    await store.close()
  }

  test.each([0.25, 0.5, 0.9])('cut to %f of its length', async part => {
    await filled()
    truncateSync(file, Math.floor((statSync(file).size * part) / 4096) * 4096)
    expect(wordsOfOpening()).toMatch(/malformed\. Keep it as it is, and restore the newest backup/)
  })

  test('with a page overwritten in its middle', async () => {
    await filled()
    const opened = openSync(file, 'r+')
    writeSync(opened, Buffer.alloc(4096, 'rubbish'), 0, 4096, Math.floor(statSync(file).size / 8192) * 4096)
    closeSync(opened)
    expect(wordsOfOpening()).toMatch(
      /is damaged: .*Keep it as it is, and restore the newest backup|malformed\. Keep it/,
    )
  })

  test('that is no database at all, or a folder', () => {
    writeFileSync(file, 'hello, this is no database at all. '.repeat(50))
    expect(wordsOfOpening()).toMatch(/not a database\. Keep it as it is/)
    rmSync(file)
    mkdirSync(file)
    expect(wordsOfOpening()).toMatch(/unable to open database file\. Look whether the folder is there/)
  })

  test('held by another process that is making it', () => {
    const other = new DatabaseSync(file)
    other.exec('BEGIN EXCLUSIVE; CREATE TABLE t (a)')
    expect(wordsOfOpening()).toMatch(/locked\. Another process holds it: stop that one/)
    other.close()
  })

  test('on a disk, or of an owner, that may not be written', async () => {
    await filled()
    chmodSync(file, 0o444)
    chmodSync(folder, 0o555)
    // Whoever may do everything may write here too: such a user tries it as nobody.
    const opens = `import { openSqliteStore } from ${JSON.stringify(new URL('../../src/store/sqlite/sqlite-store.ts', import.meta.url).href)}
      try { openSqliteStore({ file: ${JSON.stringify(file)} }); console.log('opened') } catch (error) { console.log(error.name + ': ' + error.message) }`
    const nobody = process.getuid?.() === 0 ? { uid: 65_534, gid: 65_534 } : {}
    const { stdout } = spawnSync(process.execPath, ['--input-type=module', '-e', opens], {
      encoding: 'utf8',
      ...nobody,
    })
    chmodSync(folder, 0o755)
    expect(stdout).toMatch(
      /^StoreUnusable: store file .*\. (The file, its folder or the disk is read-only|Look whether)/,
    )
    chmodSync(file, 0o600)
    expect(wordsOfOpening()).toBe('opened')
  })

  test('the file of wrapped keys too: of a newer program, of another, or damaged', () => {
    const [path, clinic] = [join(folder, 'keys.sqlite'), join(folder, 'clinic-keys')]
    addClinicKey(clinic)
    const open = () => void openCaseKeys({ file: path, clinicKeys: () => readClinicKeys(clinic, 'refused') }).close()
    open()
    const db = new DatabaseSync(path)
    db.exec('PRAGMA user_version = 7')
    db.close()
    expect(open).toThrow(/schema 7 is newer than schema 1 of this program; start the newer program/)
    copyFileSync(path, file)
    expect(wordsOfOpening()).toMatch(/database of another program/)
    truncateSync(path, 3_000)
    expect(open).toThrow(/Keep it as it is, and restore the newest backup/)
    expect(existsSync(path)).toBe(true)
  })
})
