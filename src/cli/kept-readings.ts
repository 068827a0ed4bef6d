/** What was read of the flows, kept between starts, so that a start after a fault in the night need not read YAML again. */
import { createHash } from 'node:crypto'
import { mkdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { homedir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { isDeepStrictEqual } from 'node:util'
import { placedLater, readYaml, type YamlReader } from '../flow/yaml-places.ts'

export interface KeptReadings {
  /** As `readYaml`, with the same answer. A text that was kept is not read again, unless a place in it is asked for. */
  readonly read: YamlReader
  /** Keeps what was read since the folder was opened. A folder that cannot be written costs the next start its time, no more. */
  keep(): void
}

/** Beside the compiled code, where only this user writes. */
export function keptReadingsFile(): string {
  return join(process.env.XDG_CACHE_HOME || join(homedir(), '.cache'), 'smallhours', 'readings')
}

/**
 * Readings kept in `file`: under the digest of each text, of the reader's own code and of the version of its parser, so
 * that none is ever taken for another text or another reader's. A file that is damaged, of another user, or writable by
 * others is not looked at. Texts with faults are not kept, and neither is what JSON would not give back as it was.
 *
 * Only for texts that may lie in a second place: flows, never a clinic's file with its private numbers.
 */
export function keptReadings(file: string): KeptReadings {
  const reader = readerMark()
  const found = readingsIn(file)
  const used = new Map<string, unknown>()
  let isNew = false

  function read(name: string, text: string): ReturnType<YamlReader> {
    const key = digest(`${reader}\n${text}`)
    if (Object.hasOwn(found, key)) {
      const value = found[key]
      used.set(key, value)
      return { yaml: placedLater(name, text, value), problems: [] }
    }
    const answer = readYaml(name, text)
    if (answer.yaml !== undefined && answer.problems.length === 0 && isJson(answer.yaml.value)) {
      used.set(key, answer.yaml.value)
      isNew = true
    }
    return answer
  }

  return {
    read,
    keep() {
      if (isNew) write(file, JSON.stringify(Object.fromEntries(used)))
      isNew = false
    },
  }
}

const digest = (text: string): string => createHash('sha256').update(text).digest('hex')

/** Changes with whatever decides how a text is read: the reader's code and the version of the parser below it. */
function readerMark(): string {
  const code = readFileSync(fileURLToPath(new URL('../flow/yaml-places.ts', import.meta.url)), 'utf8')
  const { version } = createRequire(import.meta.url)('yaml/package.json') as { version: string }
  return digest(`${version}\n${code}`)
}

/** A first line with the digest of the rest, then one JSON map; empty where that is not so. */
function readingsIn(file: string): Readonly<Record<string, unknown>> {
  try {
    if (![file, dirname(file)].every(isOurs)) return {}
    const text = readFileSync(file, 'utf8')
    const end = text.indexOf('\n')
    const json = text.slice(end + 1)
    return text.slice(0, end) === digest(json) ? (JSON.parse(json) as Record<string, unknown>) : {}
  } catch {
    return {}
  }
}

/** Whether a file or folder belongs to the user who starts, and nobody else may write it. True where a system has no users. */
function isOurs(path: string): boolean {
  const uid = process.getuid?.()
  if (uid === undefined) return true
  const { uid: owner, mode } = statSync(path)
  return owner === uid && (mode & 0o022) === 0
}

/** In one go, so that a start meanwhile finds the old file or the new one. */
function write(file: string, json: string): void {
  const part = `${file}.${process.pid}`
  try {
    mkdirSync(dirname(file), { recursive: true, mode: 0o700 })
    writeFileSync(part, `${digest(json)}\n${json}`, { mode: 0o600 })
    renameSync(part, file)
  } catch {
    discard(part)
  }
}

function discard(path: string): void {
  try {
    rmSync(path, { force: true })
  } catch {
    // There is no such folder, or it is not ours to write in.
  }
}

/** Whether JSON gives the value back just as it is. */
function isJson(value: unknown): boolean {
  const json = JSON.stringify(value)
  return json !== undefined && isDeepStrictEqual(JSON.parse(json), value)
}
