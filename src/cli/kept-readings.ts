/** What was read of the flows and found in them, kept between starts, so that a start in the night need not do it again. */
import type { Findings } from '../flow/load.ts'
import { placedLater, readYaml, type YamlReader } from '../flow/yaml-places.ts'
import { digest, isJson, keptIn, keptPath, programMark, writeKept } from './kept-file.ts'

export interface KeptReadings {
  /** As `readYaml`, with the same answer. A text that was kept is not read again, unless a place in it is asked for. */
  readonly read: YamlReader
  /** What `look` finds, which depends on nothing but what it is `about`. Looked again where it stands in the way of serving. */
  findings(about: readonly unknown[], look: () => Findings): Findings
  /**
   * Keeps what was read and found since the folder was opened, beside what other starts kept, the latest `KEPT_MOST_BYTES` of
   * it. A folder that cannot be written costs the next start its time, no more.
   */
  keep(): void
}

/** Three clinics' own flows and more. What one start read is kept whole, however much it is. */
export const KEPT_MOST_BYTES = 3_000_000

let own: KeptReadings | undefined

/** This program's own, one for all that it reads, so that a second reading does not push out what the first kept. */
export const ownReadings = (): KeptReadings => {
  own ??= keptReadings(keptReadingsFile())
  return own
}

/** Beside the compiled code, where only this user writes. */
export function keptReadingsFile(): string {
  return keptPath('readings')
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
  const program = programMark(['flow'])
  const found = program === undefined ? {} : ((keptIn(file) as Readonly<Record<string, unknown>> | undefined) ?? {})
  const used = new Map<string, unknown>()
  let isNew = false

  /** The value kept under a key; undefined where there is none: no reading is undefined. */
  function kept(key: string): unknown {
    if (used.has(key)) return used.get(key)
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
      if (isNew && program !== undefined) writeKept(file, besideOthers(file, used))
      isNew = false
    },
  }
}

/** What this start used, and as much of the latest that others kept as there is room for: the oldest first in the file. */
function besideOthers(file: string, used: ReadonlyMap<string, unknown>): string {
  const others = Object.entries((keptIn(file) as Readonly<Record<string, unknown>> | undefined) ?? {})
  const entryOf = ([key, value]: readonly [string, unknown]) => `${JSON.stringify(key)}:${JSON.stringify(value)}`
  const entries = [...used].map(entryOf)
  let room = KEPT_MOST_BYTES - entries.reduce((sum, { length }) => sum + length, 0)
  for (const other of others.filter(([key]) => !used.has(key)).reverse()) {
    const entry = entryOf(other)
    room -= entry.length
    if (room < 0) break
    entries.unshift(entry)
  }
  return `{${entries.join(',')}}`
}
