import { existsSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { rename, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { Random } from '../runtime/clock.ts'
import { type Instant, instant } from '../time/instant.ts'

/** What a running bot keeps beside its code: the database, its keys, its last sign of life. */
export interface DataFolder {
  readonly databaseFile: string
  /** The wrapped keys of the cases: a file of their own, so that it can be left out of old backups. */
  readonly caseKeysFile: string
  /** How people of the clinic sign in, and who did what: a file of its own. */
  readonly accountsFile: string
  /** The clinic's keys. Not made here: without them nothing that is stored can be read. */
  readonly clinicKeysFile: string
  /** What is known of cases in figures, draws and scores: a file of its own. */
  readonly reviewsFile: string
  /** Locked by the process that serves the folder. */
  readonly servingFile: string
  /** What the clinic's people set for the whole line. */
  readonly deskFile: string
  /** Test call-outs, and who answered them. */
  readonly testCalloutsFile: string
  /** Pages by text message whose receipts are waited for. */
  readonly smsReceiptsFile: string
  /** Calendars that were given on a page and are not saved yet. */
  readonly calendarDraftsFolder: string
  /** Photos of families, sealed. */
  readonly photosFolder: string
  /** Accounts linked on Telegram, and where live messages stand. */
  readonly telegramFile: string
  /** Processes that share a Redis and work from this folder: a small file each. */
  readonly lineMembersFolder: string
  /** When people were last told of holes in the rota. */
  readonly coverToldFile: string
  /** 256 random bits, made at the first start; readable by the owner only. */
  readonly key: Buffer
  readonly lastAlive: { read(): Promise<Instant | undefined>; write(at: Instant): Promise<void> }
}

const KEY_BYTES = 32

/** The data folder cannot be used. The message says why and what to do; it holds no key. */
export class DataFolderUnusable extends Error {
  override readonly name = 'DataFolderUnusable'
}

/** Where each thing lies in a data folder. */
export function dataFiles(folder: string) {
  return {
    databaseFile: join(folder, 'smallhours.sqlite'),
    caseKeysFile: join(folder, 'keys.sqlite'),
    accountsFile: join(folder, 'accounts.sqlite'),
    reviewsFile: join(folder, 'reviews.sqlite'),
    clinicKeysFile: join(folder, 'clinic-keys'),
    servingFile: join(folder, 'serving'),
    signingKeyFile: join(folder, 'signing-key'),
    aliveFile: join(folder, 'last-alive'),
    photosFolder: join(folder, 'photos'),
    smsReceiptsFile: join(folder, 'sms-receipts.json'),
    calendarDraftsFolder: join(folder, 'calendar-drafts'),
    deskFile: join(folder, 'desk.json'),
    testCalloutsFile: join(folder, 'test-callouts.json'),
    coverToldFile: join(folder, 'rota-told.json'),
    telegramFile: join(folder, 'telegram.sqlite'),
    lineMembersFolder: join(folder, 'line-members'),
  }
}

/** When a bot last lived on a folder; undefined where none did. */
export function lastAliveIn(folder: string): Instant | undefined {
  const { aliveFile } = dataFiles(folder)
  if (!existsSync(aliveFile)) return undefined
  const at = Number(readFileSync(aliveFile, 'utf8'))
  return Number.isFinite(at) && at > 0 ? instant(at) : undefined
}

/**
 * Opens a data folder, and makes what a new one lacks. A clinic's is looked at before, by the guards: there nothing is made.
 *
 * @throws DataFolderUnusable
 */
export function openDataFolder(folder: string, random: Random): DataFolder {
  mkdirSync(folder, { recursive: true, mode: 0o700 })
  const { aliveFile, signingKeyFile, ...files } = dataFiles(folder)
  let written = Promise.resolve()
  return {
    ...files,
    key: keyIn(signingKeyFile, random),
    lastAlive: {
      read: async () => lastAliveIn(folder),
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
  const mode = statSync(file).mode & 0o777
  if ((mode & 0o077) !== 0) {
    throw new DataFolderUnusable(
      `${file}: others on this machine may read it (mode ${mode.toString(8).padStart(3, '0')}, expected 600). Run "chmod 600 ${file}"; ` +
        'if others could read it, remove it: a new one is made, and links already sent stop working',
    )
  }
  const fault = signingKeyFault(file)
  if (fault !== undefined)
    throw new DataFolderUnusable(`${fault}: put back the saved one, or remove it (links already sent stop working)`)
  return Buffer.from(readFileSync(file, 'utf8').trim(), 'hex')
}

/** What is wrong with the content of a signing key; undefined where nothing is. */
export function signingKeyFault(file: string): string | undefined {
  const isWhole = new RegExp(`^[0-9a-f]{${KEY_BYTES * 2}}$`).test(readFileSync(file, 'utf8').trim())
  return isWhole ? undefined : `${file} does not hold a key of ${KEY_BYTES} bytes in hexadecimal digits`
}
