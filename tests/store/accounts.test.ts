import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, rmSync, statSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { afterEach, describe, expect, it } from 'vitest'
import { auditFaults } from '../../src/accounts/audit.ts'
import { openAccountFile } from '../../src/store/sqlite/account-file.ts'
import { instant } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { accountStoreContract } from './account-contract.ts'

const folders: string[] = []
const opened: { close(): Promise<void> }[] = []
afterEach(async () => {
  for (const store of opened.splice(0)) await store.close()
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true })
})
function aFile(): string {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-accounts-'))
  folders.push(folder)
  return join(folder, 'accounts.sqlite')
}
function openKept(file: string) {
  const store = openAccountFile(file)
  opened.push(store)
  return store
}

accountStoreContract(async () => {
  const file = aFile()
  const store = openKept(file)
  return {
    store,
    async again() {
      await store.close()
      return openKept(file)
    },
  }
})

describe('the file of accounts', () => {
  it('is readable by its owner only, and is no other program’s', async () => {
    const file = aFile()
    openKept(file)
    expect(statSync(file).mode & 0o777).toBe(0o600)
    const other = aFile()
    const db = new DatabaseSync(other)
    db.exec('CREATE TABLE x (y); PRAGMA application_id = 1')
    db.close()
    expect(() => openAccountFile(other)).toThrow('another program')
  })

  it('changes and removes no line of the trail, even asked to directly', async () => {
    const file = aFile()
    const store = openKept(file)
    await store.change({ at: instant(1), who: 'amara', did: 'signed-in', on: 's' }, [])
    const db = new DatabaseSync(file)
    expect(() => db.exec("UPDATE audit SET who = 'linh'")).toThrow('never changed')
    expect(() => db.exec('DELETE FROM audit')).toThrow('never removed')
    db.close()
  })

  it('is written by two processes at once without a line lost or a number twice', async () => {
    const file = aFile()
    const one = openKept(file)
    const other = openKept(file)
    for (let i = 0; i < 20; i += 1)
      await (i % 2 === 0 ? one : other).change({ at: instant(i), who: 'amara', did: 'signed-in', on: `${i}` }, [])
    const lines = await one.audit()
    expect(lines.map(({ on }) => on)).toEqual(Array.from({ length: 20 }, (_, i) => `${i}`))
    expect(auditFaults(lines, await one.auditHead())).toEqual([])
  })

  it('killed in the middle of writing keeps every line that was said to be written, and the chain whole', {
    timeout: 60_000,
  }, async () => {
    const file = aFile()
    const script = `
      import { openAccountFile } from ${JSON.stringify(join(ROOT, 'src/store/sqlite/account-file.ts'))}
      const store = openAccountFile(${JSON.stringify(file)})
      for (let i = 1; ; i += 1) {
        await store.change({ at: i, who: 'amara', did: 'signed-in', on: String(i) }, [])
        process.stdout.write(i + '\\n')
      }`
    let said = 0
    for (let round = 1; round <= 3; round += 1) {
      const child = spawn(process.execPath, ['--input-type=module-typescript', '-e', script], {
        stdio: ['ignore', 'pipe', 'inherit'],
      })
      let text = ''
      await new Promise<void>(resolve => {
        child.stdout.on('data', (chunk: Buffer) => {
          text += chunk
          if (text.split('\n').length > 7 * round) resolve()
        })
      })
      const ended = once(child, 'exit')
      child.kill('SIGKILL')
      await ended
      said += text.split('\n').length - 1
      const store = openAccountFile(file)
      const lines = await store.audit()
      expect(lines.length).toBeGreaterThanOrEqual(said)
      expect(lines.length).toBeLessThanOrEqual(said + round)
      expect(auditFaults(lines, await store.auditHead())).toEqual([])
      said = lines.length
      await store.close()
    }
  })
})
