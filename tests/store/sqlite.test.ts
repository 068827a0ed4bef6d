import { type ChildProcess, spawn } from 'node:child_process'
import { subscribe, unsubscribe } from 'node:diagnostics_channel'
import { once } from 'node:events'
import { existsSync, mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync, StatementSync } from 'node:sqlite'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { POINT_CHANNEL, type Point } from '../../src/points/points.ts'
import { schemaVersion } from '../../src/store/sqlite/database.ts'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import { storeContract } from './contract/store-contract.ts'
import { storeAgreesWithModel } from './contract/store-model.ts'
import { at, row, step } from './step-record.ts'

const open = async () => {
  const folder = mkdtempSync(join(tmpdir(), 'store-'))
  const file = join(folder, 'cases.db')
  let store = openSqliteStore({ file })
  return {
    store,
    reopen: async () => {
      await store.close()
      store = openSqliteStore({ file })
      return store
    },
    discard: async () => {
      await store.close()
      rmSync(folder, { recursive: true })
    },
  }
}

storeContract('the SQLite store', open)
storeAgreesWithModel('the SQLite store', open, 60)

let folder = ''
let file = ''
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'store-'))
  file = join(folder, 'sub', 'cases.db')
})
afterEach(() => rmSync(folder, { recursive: true }))

const answerOf = (sql: string): unknown => {
  const db = new DatabaseSync(file)
  try {
    return Object.values(db.prepare(sql).get() ?? {})[0]
  } finally {
    db.close()
  }
}

describe('the SQLite file', () => {
  test('is in write-ahead mode, of strict tables, and its owner’s alone, log files too', async () => {
    const store = openSqliteStore({ file })
    await store.commit(step('sun', 0))
    for (const name of [file, `${file}-wal`, `${file}-shm`]) expect(statSync(name).mode & 0o777).toBe(0o600)
    await store.close()
    expect(answerOf('PRAGMA journal_mode')).toBe('wal')
    expect(
      answerOf(
        `SELECT count(*) FROM pragma_table_list WHERE strict = 0 AND schema = 'main' AND name NOT LIKE 'sqlite%'`,
      ),
    ).toBe(0)
    expect(answerOf('PRAGMA user_version')).toBe(schemaVersion)
    expect(existsSync(`${file}-wal`)).toBe(false)
  })

  test('of a newer schema is refused in words, and left as it is', async () => {
    await openSqliteStore({ file }).close()
    const db = new DatabaseSync(file)
    db.exec('PRAGMA user_version = 99')
    db.close()
    expect(() => openSqliteStore({ file })).toThrow(/schema 99 is newer than schema 2 .* start the newer program/)
    expect(answerOf('PRAGMA user_version')).toBe(99)
  })

  test('of another program, or no database at all, is refused', async () => {
    await openSqliteStore({ file }).close()
    rmSync(file)
    const db = new DatabaseSync(file)
    db.exec('CREATE TABLE theirs (a)')
    db.close()
    expect(() => openSqliteStore({ file })).toThrow(/another program/)
    writeFileSync(file, 'hello, this is no database at all. '.repeat(50))
    expect(() => openSqliteStore({ file })).toThrow(/cannot be opened/)
  })

  test('has to be a file: memory forgets', () => {
    for (const name of [':memory:', '', 'file:x?mode=memory']) {
      expect(() => openSqliteStore({ file: name })).toThrow(/path of a file/)
    }
  })
})

describe('group commit', () => {
  const passed: string[] = []
  let atPoint: (point: string) => void = () => undefined
  const listen = (point: unknown) => {
    passed.push(String(point))
    atPoint(String(point))
  }
  beforeEach(() => {
    passed.length = 0
    atPoint = () => undefined
    subscribe(POINT_CHANNEL, listen)
  })
  afterEach(() => {
    unsubscribe(POINT_CHANNEL, listen)
    vi.restoreAllMocks()
  })

  test('puts at most 32 steps into one transaction', async () => {
    const store = openSqliteStore({ file })
    await Promise.all(Array.from({ length: 70 }, (_, n) => store.commit(step(`c${n}`, 0))))
    const sizes = passed
      .join()
      .split('store.before-commit')
      .map(group => group.split('store.step-written').length - 1)
    expect(sizes).toEqual([32, 32, 6, 0])
    await store.close()
  })

  test('a read started before the answer does not see the step', async () => {
    const store = openSqliteStore({ file })
    const committing = store.commit(step('sun', 0))
    expect(await store.load('sun')).toBeUndefined()
    await committing
    expect(await store.load('sun')).toBeDefined()
    await store.close()
  })

  test('lets timers and sockets run between groups', async () => {
    const store = openSqliteStore({ file })
    let groupsBefore = -1
    setImmediate(() =>
      setImmediate(() => {
        groupsBefore = passed.filter(point => point === 'store.after-commit').length
      }),
    )
    await Promise.all(Array.from({ length: 320 }, (_, n) => store.commit(step(`c${n}`, 0))))
    expect(groupsBefore).toBeGreaterThanOrEqual(0)
    expect(groupsBefore).toBeLessThan(5)
    await store.close()
  })

  test.each(['BEGIN', 'COMMIT'] as const)(
    'acknowledges nothing of a group whose %s fails, then goes on',
    async statement => {
      const store = openSqliteStore({ file })
      const failOnce = () =>
        vi.spyOn(StatementSync.prototype, 'run').mockImplementationOnce(() => {
          throw new Error('disk I/O error')
        })
      atPoint = point => {
        if (point !== 'store.before-commit' || statement !== 'COMMIT') return
        atPoint = () => undefined
        failOnce()
      }
      if (statement === 'BEGIN') failOnce()
      const outcomes = await Promise.allSettled(
        [0, 1, 2].map(n => store.commit(step(`c${n}`, 0, { outbox: [row(`e${n}`, 'q')] }))),
      )
      expect(outcomes.map(one => one.status)).toEqual(['rejected', 'rejected', 'rejected'])
      expect(await store.load('c0')).toBeUndefined()
      expect(await store.outboxOf('c1')).toEqual([])
      expect(await store.commit(step('c0', 0))).toBe('committed')
      await store.close()
      expect(answerOf('SELECT count(*) FROM event')).toBe(1)
    },
  )

  test('a file locked by another process rejects the group and nothing of it is kept', async () => {
    const store = openSqliteStore({ file, busyTimeoutMs: 50 })
    const other = new DatabaseSync(file)
    other.exec('BEGIN IMMEDIATE')
    await expect(store.commit(step('sun', 0))).rejects.toThrow(/locked/)
    other.exec('ROLLBACK')
    other.close()
    expect(await store.commit(step('sun', 0))).toBe('committed')
    await store.close()
  })

  test('two processes on one file commit a case’s step once', async () => {
    const [one, two] = [openSqliteStore({ file }), openSqliteStore({ file })]
    const outcomes = await Promise.all([one.commit(step('sun', 0)), two.commit(step('sun', 0))])
    expect([...outcomes].sort()).toEqual(['committed', 'conflict'])
    expect(await two.load('sun')).toEqual(await one.load('sun'))
    await one.close()
    await two.close()
  })

  test('a group and the folding of the log never share a turn of the event loop', async () => {
    const turns: string[][] = [[]]
    let running = true
    const turn = () => {
      turns.push([])
      if (running) setImmediate(turn)
    }
    const get = StatementSync.prototype.get as (...values: unknown[]) => unknown
    vi.spyOn(StatementSync.prototype, 'get').mockImplementation(function (this: unknown, ...values: unknown[]) {
      const answer = get.apply(this, values)
      if (typeof answer === 'object' && answer !== null && 'checkpointed' in answer) turns.at(-1)?.push('folded')
      return answer as never
    })
    atPoint = point => {
      if (point === 'store.after-commit') turns.at(-1)?.push('group')
    }
    const store = openSqliteStore({ file })
    setImmediate(turn)
    await Promise.all(Array.from({ length: 600 }, (_, n) => store.commit(step(`c${n}`, 0))))
    running = false
    expect(turns.filter(one => one.includes('folded')).length).toBeGreaterThanOrEqual(4)
    expect(turns.filter(one => one.length > 1)).toEqual([])
    await store.close()
  })

  test('the log is folded into the file as it runs', async () => {
    const store = openSqliteStore({ file })
    for (let n = 0; n < 1_000; n += 1) await store.commit(step('sun', n, { at: at(n), state: 'y'.repeat(3000) }))
    // Three pages a step and more: 1,000 steps would be some 13 MB; 128 are under 2.
    expect(statSync(`${file}-wal`).size).toBeLessThan(2_500_000)
    await store.close()
  })
})

const writer = fileURLToPath(new URL('./sqlite-writer.ts', import.meta.url))

/** Reads a writer's lines until it is dead. With `killAfterAcks`, SIGKILLs it once so many were read. */
async function linesOf(child: ChildProcess, killAfterAcks = Number.POSITIVE_INFINITY): Promise<readonly string[]> {
  let text = ''
  child.stdout?.setEncoding('utf8')
  child.stdout?.on('data', (more: string) => {
    text += more
    if (text.split('\nack ').length > killAfterAcks) child.kill('SIGKILL')
  })
  await once(child, 'close')
  return text.split('\n').slice(0, -1)
}

/** Every acknowledged step is there whole, and nothing is there in part. Returns how many cases the file holds. */
async function allThere(lines: readonly string[]): Promise<number> {
  const acked = lines.filter(line => line.startsWith('ack ')).map(line => line.slice(4))
  const store = openSqliteStore({ file })
  for (const caseId of acked) {
    expect((await store.load(caseId))?.seq).toBe(1)
    expect(await store.history(caseId)).toHaveLength(1)
    expect(await store.outboxOf(caseId)).toHaveLength(1)
  }
  await store.close()
  const count = (table: string) => Number(answerOf(`SELECT count(*) FROM ${table}`))
  expect([count('event'), count('outbox'), count('alarm')]).toEqual([count('case_'), count('case_'), count('case_')])
  expect(count('case_')).toBeGreaterThanOrEqual(acked.length)
  expect(answerOf('PRAGMA integrity_check')).toBe('ok')
  return count('case_')
}

// What is checked here is promised by the SQLite documentation, "Atomic Commit In SQLite" and "PRAGMA synchronous":
// with FULL, a transaction that committed survives, and one that did not leaves no trace. A kill is not a power cut.
describe('a process killed while it commits', () => {
  test('has lost nothing it acknowledged, at five random instants', async () => {
    const lines: string[] = []
    let held = 0
    for (const killAfter of [1, 40, 333, 700, 1234]) {
      const child = spawn(process.execPath, [writer, file, `run${killAfter}`, 'until-killed'], {
        stdio: ['ignore', 'pipe', 'inherit'],
      })
      const said = await linesOf(child, killAfter)
      expect(child.signalCode).toBe('SIGKILL')
      expect(said.length).toBeGreaterThanOrEqual(killAfter)
      lines.push(...said)
      held = await allThere(lines)
    }
    console.log(`killed 5 times: ${lines.length} steps acknowledged, ${held} in the file, 0 lost`)
  }, 60_000)

  test.each<[Point, number]>([
    ['store.begun', 3],
    ['store.step-written', 13],
    ['store.before-commit', 4],
    ['store.after-commit', 4],
    ['store.before-answer', 4],
  ])('at the point %s (time %i) has lost nothing it acknowledged', async (point, nth) => {
    const child = spawn(process.execPath, [writer, file, 'p', `${point}:${nth}`], {
      stdio: ['ignore', 'pipe', 'inherit'],
    })
    const said = await linesOf(child)
    expect(child.signalCode).toBe('SIGKILL')
    const held = await allThere(said)
    // Killed before COMMIT only acknowledged groups are there; killed after it, one group more.
    const isAfter = point === 'store.after-commit' || point === 'store.before-answer'
    expect(held - said.length).toBe(isAfter ? 8 : 0)
  })

  test('a full disk rejects, acknowledges nothing it cannot keep, and what was acknowledged is there', async () => {
    // A limit on the size of files (in blocks of 512 or 1024 bytes, as the shell counts them) stands for the full disk.
    const command = `ulimit -f 1500; exec "$@"`
    const args = ['-c', command, 'sh', process.execPath, writer, file, 'full', 'until-killed']
    const said = await linesOf(spawn('sh', args, { stdio: ['ignore', 'pipe', 'inherit'] }))
    expect(said.at(-1)).toBe('ended')
    expect(said.filter(line => line.startsWith('refused')).length).toBeGreaterThanOrEqual(5)
    expect(said.filter(line => line.startsWith('ack')).length).toBeGreaterThan(20)
    await allThere(said)
  })
})
