/** Files of this program's own in which it keeps what it worked out, so that it need not be worked out again. */
import { createHash } from 'node:crypto'
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { homedir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { isDeepStrictEqual } from 'node:util'

export const keptPath = (...names: readonly string[]): string =>
  join(process.env.XDG_CACHE_HOME || join(homedir(), '.cache'), 'smallhours', ...names)

export const digest = (text: string): string => createHash('sha256').update(text).digest('hex')

/**
 * Changes with whatever decides what is worked out: the code in some folders of src, what is installed, and Node. Undefined
 * where it is not written down what is installed: then nothing is kept.
 */
export function programMark(folders: readonly string[]): string | undefined {
  try {
    const installed = fileURLToPath(new URL('../../node_modules/.package-lock.json', import.meta.url))
    const code = folders.flatMap(folder => {
      const root = fileURLToPath(new URL(`../${folder}/`, import.meta.url))
      return readdirSync(root, { recursive: true, withFileTypes: true })
        .filter(entry => entry.isFile())
        .map(entry => join(entry.parentPath, entry.name))
        .sort()
    })
    return digest(
      JSON.stringify([process.version, ...[...code, installed].map(path => [path, readFileSync(path, 'utf8')])]),
    )
  } catch {
    return undefined
  }
}

/** What a file holds: a first line with the digest of the rest, then JSON. Undefined where that is not so, or it is not ours. */
export function keptIn(file: string): unknown {
  try {
    if (![file, dirname(file)].every(isOurs)) return undefined
    const text = readFileSync(file, 'utf8')
    const end = text.indexOf('\n')
    const json = text.slice(end + 1)
    return text.slice(0, end) === digest(json) ? JSON.parse(json) : undefined
  } catch {
    return undefined
  }
}

/** Whether a file or folder belongs to the user who starts, and nobody else may write it. True where a system has no users. */
function isOurs(path: string): boolean {
  const uid = process.getuid?.()
  if (uid === undefined) return true
  const { uid: owner, mode } = statSync(path)
  return owner === uid && (mode & 0o022) === 0
}

/** In one go, so that a start meanwhile finds the old file or the new one. A folder that cannot be written costs time, no more. */
export function writeKept(file: string, json: string): void {
  const part = `${file}.${process.pid}`
  try {
    mkdirSync(dirname(file), { recursive: true, mode: 0o700 })
    writeFileSync(part, `${digest(json)}\n${json}`, { mode: 0o600 })
    renameSync(part, file)
  } catch {
    discard(part)
  }
}

export function discard(path: string): void {
  try {
    rmSync(path, { force: true })
  } catch {
    // There is no such folder, or it is not ours to write in.
  }
}

/** Whether JSON gives the value back just as it is. */
export function isJson(value: unknown): boolean {
  const json = JSON.stringify(value)
  return json !== undefined && isDeepStrictEqual(JSON.parse(json), value)
}
