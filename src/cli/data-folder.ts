import { chmodSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { rename, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { Random } from '../runtime/clock.ts'
import { type Instant, instant } from '../time/instant.ts'

/** What a running bot keeps beside its code: the database, its keys, its last sign of life. */
export interface DataFolder {
  readonly databaseFile: string
  /** The wrapped keys of the cases: a file of their own, so that it can be left out of old backups. */
  readonly caseKeysFile: string
  /** The clinic's keys. Not made here: without them nothing that is stored can be read. */
  readonly clinicKeysFile: string
  /** 256 random bits, made at the first start; readable by the owner only. */
  readonly key: Buffer
  readonly lastAlive: { read(): Promise<Instant | undefined>; write(at: Instant): Promise<void> }
}

const KEY_BYTES = 32

export function openDataFolder(folder: string, random: Random): DataFolder {
  mkdirSync(folder, { recursive: true, mode: 0o700 })
  const aliveFile = join(folder, 'last-alive')
  let written = Promise.resolve()
  return {
    databaseFile: join(folder, 'smallhours.sqlite'),
    caseKeysFile: join(folder, 'keys.sqlite'),
    clinicKeysFile: join(folder, 'clinic-keys'),
    key: keyIn(join(folder, 'signing-key'), random),
    lastAlive: {
      async read() {
        if (!existsSync(aliveFile)) return undefined
        const at = Number(readFileSync(aliveFile, 'utf8'))
        return Number.isFinite(at) && at > 0 ? instant(at) : undefined
      },
      // One after the other: two at once would take each other's new file away.
      write(at) {
        const next = written.then(async () => {
          await writeFile(`${aliveFile}.new`, String(at))
          await rename(`${aliveFile}.new`, aliveFile)
        })
        written = next.catch(() => undefined)
        return next
      },
    },
  }
}

function keyIn(file: string, random: Random): Buffer {
  if (!existsSync(file)) writeFileSync(file, `${random.hex(KEY_BYTES)}\n`, { mode: 0o600 })
  chmodSync(file, 0o600)
  const key = Buffer.from(readFileSync(file, 'utf8').trim(), 'hex')
  if (key.length !== KEY_BYTES)
    throw new Error(
      `${file} does not hold a key of ${KEY_BYTES} bytes in hexadecimal digits: put back the saved one, or remove it (links already sent stop working)`,
    )
  return key
}
