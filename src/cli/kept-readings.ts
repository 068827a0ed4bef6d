/** What was read of the flows and found in them, kept between starts, so that a start in the night need not do it again. */
import { createHash } from 'node:crypto'
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { homedir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { isDeepStrictEqual } from 'node:util'
import type { Findings } from '../flow/load.ts'
import { placedLater, readYaml, type YamlReader } from '../flow/yaml-places.ts'

export interface KeptReadings {
  /** As `readYaml`, with the same answer. A text that was kept is not read again, unless a place in it is asked for. */
  readonly read: YamlReader
  /** What `look` finds, which depends on nothing but what it is `about`. Looked again where it stands in the way of serving. */
  findings(about: readonly unknown[], look: () => Findings): Findings
  /** Keeps what was read and found since the folder was opened. A folder that cannot be written costs the next start its time, no more. */
  keep(): void
}

let own: KeptReadings | undefined

/** This program's own, one for all that it reads, so that a second reading does not push out what the first kept. */
export const ownReadings = (): KeptReadings => {
  own ??= keptReadings(keptReadingsFile())
  return own
}

/** Beside the compiled code, where only this user writes. */
export function keptReadingsFile(): string {
  return join(process.env.XDG_CACHE_HOME || join(homedir(), '.cache'), 'smallhours', 'readings')
}

/**
 * Readings kept in `file`: under the digest of what was read or looked through, of all code that reads and looks, and of
 * the versions of all packages, so that none is ever taken for another text's or another program's. A file that is damaged,
 * of another user, or writable by others is not looked at. Texts with faults are not kept, findings that refuse a flow are
 * not, and neither is what JSON would not give back as it was.
 *
 * Only for texts that may lie in a second place: flows, never a clinic's file with its private numbers.
 */
export function keptReadings(file: string): KeptReadings {
  const program = programMark()
  const found = program === undefined ? {} : readingsIn(file)
  const used = new Map<string, unknown>()
  let isNew = false

  /** The value kept under a key; undefined where there is none: no reading is undefined. */
  function kept(key: string): unknown {
    if (!Object.hasOwn(found, key)) return undefined
    used.set(key, found[key])
    return found[key]
  }

  function use(key: string, value: unknown): void {
    if (!isJson(value)) return
    used.set(key, value)
    isNew = true
  }

  function read(name: string, text: string): ReturnType<YamlReader> {
    const key = digest(`${program}\ntext\n${text}`)
    const value = kept(key)
    if (value !== undefined) return { yaml: placedLater(name, text, value), problems: [] }
    const answer = readYaml(name, text)
    if (answer.yaml !== undefined && answer.problems.length === 0) use(key, answer.yaml.value)
    return answer
  }

  function findings(about: readonly unknown[], look: () => Findings): Findings {
    const key = digest(`${program}\nfindings\n${JSON.stringify(about)}`)
    const before = kept(key)
    if (before !== undefined) return before as Findings
    const now = look()
    if (now.problems.every(({ severity }) => severity === 'warning')) use(key, now)
    return now
  }

  return {
    read,
    findings,
    keep() {
      if (isNew && program !== undefined) write(file, JSON.stringify(Object.fromEntries(used)))
      isNew = false
    },
  }
}

const digest = (text: string): string => createHash('sha256').update(text).digest('hex')

/**
 * Changes with whatever decides how a text is read and what is found in it: the code of the flows, which stands on packages
 * alone, what is installed, and Node. Undefined where it is not written down what is installed: then nothing is kept.
 */
function programMark(): string | undefined {
  try {
    const code = fileURLToPath(new URL('../flow/', import.meta.url))
    const installed = fileURLToPath(new URL('../../node_modules/.package-lock.json', import.meta.url))
    const files = [
      ...readdirSync(code)
        .sort()
        .map(name => join(code, name)),
      installed,
    ]
    return digest(JSON.stringify([process.version, ...files.map(path => [path, readFileSync(path, 'utf8')])]))
  } catch {
    return undefined
  }
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
