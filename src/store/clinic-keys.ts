import { createHash } from 'node:crypto'
import {
  chmodSync,
  closeSync,
  existsSync,
  fsyncSync,
  openSync,
  readFileSync,
  renameSync,
  statSync,
  writeSync,
} from 'node:fs'
import { dirname } from 'node:path'
import { type ClinicKey, type ClinicKeys, KEY_BYTES, newKey } from './seal.ts'

/** The file of the clinic's keys cannot be used. The message says why and what to do; it holds no key. */
export class ClinicKeysUnusable extends Error {
  override readonly name = 'ClinicKeysUnusable'
}

/** Digits of a key's id. */
const ID_LENGTH = 8

/**
 * Reads the file of the clinic's keys: one a line, `id key` in hexadecimal digits, the newest last. The id is the start of
 * the key's SHA-256, so that a wrong digit is noticed here and not at the first case.
 *
 * @param readableByOthers  `refused`, or `mended` (a demonstration): the file is then made its owner's alone
 * @throws ClinicKeysUnusable
 */
export function readClinicKeys(file: string, readableByOthers: 'refused' | 'mended'): ClinicKeys {
  if (!existsSync(file)) {
    throw new ClinicKeysUnusable(
      `${file}: the file of the clinic's keys is missing. Put back the saved copy; in a new data folder make it with "npx smallhours records rotate"`,
    )
  }
  const mode = statSync(file).mode & 0o777
  if ((mode & 0o077) !== 0) {
    if (readableByOthers === 'refused') {
      throw new ClinicKeysUnusable(
        `${file}: others on this machine may read it (mode ${mode.toString(8)}, expected 600). Run "chmod 600 ${file}", then make a new key with "npx smallhours records rotate", since somebody may have copied this one`,
      )
    }
    chmodSync(file, 0o600)
  }
  const keys = linesOf(file).map((line, index) => keyIn(line, `${file}:${index + 1}`))
  const newest = keys.at(-1)
  if (newest === undefined) {
    throw new ClinicKeysUnusable(`${file}: holds no key. Put back the saved copy; without it no case can be read`)
  }
  const byId = new Map(keys.map(key => [key.id, key]))
  return { newest, of: id => byId.get(id), ids: [...byId.keys()] }
}

/** Makes a key and writes it as the newest, durably and all at once; makes the file when it is missing. Its id. */
export function addClinicKey(file: string): string {
  const key = newKey()
  const id = idOf(key)
  const before = existsSync(file) ? linesOf(file) : []
  writeLines(file, [...before, `${id} ${key.toString('hex')}`])
  return id
}

/** Takes keys out of the file. The caller knows that nothing is locked with them; the newest always stays. */
export function removeClinicKeys(file: string, ids: ReadonlySet<string>): void {
  const lines = linesOf(file)
  writeLines(
    file,
    lines.filter((line, index) => index === lines.length - 1 || !ids.has(line.slice(0, ID_LENGTH))),
  )
}

function linesOf(file: string): string[] {
  return readFileSync(file, 'utf8')
    .split('\n')
    .map(line => line.trim())
    .filter(line => line !== '' && !line.startsWith('#'))
}

function keyIn(line: string, place: string): ClinicKey {
  const [id = '', digits = '', ...rest] = line.split(/\s+/)
  const key = Buffer.from(digits, 'hex')
  if (rest.length > 0 || key.length !== KEY_BYTES || digits.length !== 2 * KEY_BYTES) {
    throw new ClinicKeysUnusable(
      `${place}: expected an id of ${ID_LENGTH} and a key of ${2 * KEY_BYTES} hexadecimal digits. Put back the saved copy`,
    )
  }
  if (idOf(key) !== id) {
    throw new ClinicKeysUnusable(
      `${place}: the key is not the one its id stands for: a digit is wrong. Put back the saved copy`,
    )
  }
  return { id, key }
}

const idOf = (key: Uint8Array): string =>
  createHash('sha256').update('clinic-key').update(key).digest('hex').slice(0, ID_LENGTH)

/** Written beside, synced, then put in place: a power cut leaves the old file or the new one. */
function writeLines(file: string, lines: readonly string[]): void {
  const beside = `${file}.new`
  const opened = openSync(beside, 'w', 0o600)
  try {
    chmodSync(beside, 0o600)
    writeSync(opened, `${lines.join('\n')}\n`)
    fsyncSync(opened)
  } finally {
    closeSync(opened)
  }
  renameSync(beside, file)
  const folder = openSync(dirname(file), 'r')
  try {
    fsyncSync(folder)
  } finally {
    closeSync(folder)
  }
}
