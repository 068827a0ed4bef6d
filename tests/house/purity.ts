import type { Finding } from './finding.ts'
import { CORE, isPageScript, unitOf } from './imports.ts'
import type { Scan } from './source-scan.ts'

const PURE = new Set([...CORE, 'understand', 'modelcheck', 'replay'])

/** The one Node module a pure folder may use, and where: a flow's hash. */
const PURE_EXCEPTIONS: Readonly<Record<string, readonly string[]>> = { 'src/flow/approval.ts': ['node:crypto'] }

const NOW = 'the instant comes with the event, as a parameter'
const LATER = 'ask for a stored alarm (setAlarm): it comes back as an event'
const EFFECT = 'return an effect; runtime carries it out'

const IMPURE: readonly (readonly [pattern: RegExp, instead: string])[] = [
  [/\basync\b|\bawait\b|\bPromise\b/g, EFFECT],
  [/\bDate\.now\b|\bnew Date\b|\bDate\(|\bperformance\b/g, NOW],
  [/\bDateTime\.now\b|\bDateTime\.local\(\s*\)|\bDateTime\.utc\(\s*\)|\bSettings\.now\b/g, NOW],
  [/\bMath\.random\b|\brandomUUID\b|\brandomBytes\b|\bgetRandomValues\b/g, 'ids are derived; chance is passed in'],
  [/\bset(Timeout|Interval|Immediate)\b|\bqueueMicrotask\b/g, LATER],
  [/\bprocess\b(?!\s*:)|\bglobalThis\b|\bfetch\(|\bconsole\./g, EFFECT],
]

/** Waiting, clocks, chance and the outside world in the folders that decide. */
export function impurities(files: readonly Scan[]): Finding[] {
  return files
    .filter(file => PURE.has(unitOf(file.path)))
    .flatMap(file => {
      const excepted = PURE_EXCEPTIONS[file.path] ?? []
      const modules = file.imports
        .filter(({ from }) => from.startsWith('node:') && !excepted.includes(from))
        .map(({ at, from }) => ({
          path: file.path,
          line: file.lineOf(at),
          found: `imports ${from} in a pure folder`,
          instead: 'read it in config, cli or an adapter, and pass the value in',
        }))
      return [...modules, ...matches(file, IMPURE, ' in a pure folder')]
    })
}

/** Files beside runtime/system-clock.ts that read a clock or draw chance, with the reason. */
export const CLOCK_READERS: Readonly<Record<string, string>> = {
  'src/runtime/system-clock.ts': 'the one clock, and the one source of chance',
}

const AMBIENT: readonly (readonly [pattern: RegExp, instead: string])[] = [
  [/\bDate\.now\b|\bnew Date\(\s*\)|\bDateTime\.(now|local\(\s*\)|utc\(\s*\))/g, 'use the Clock that is passed in'],
  [/\bsetTimeout\b|\bsetInterval\b/g, 'use the Clock that is passed in, or a stored alarm'],
  [/\bMath\.random\b|\brandomUUID\b/g, 'use the chance that is passed in'],
]

/** Clocks, timers and chance used directly anywhere but in the listed files. Scripts that run in a page are not meant. */
export function ambientClocks(files: readonly Scan[], allowed: Readonly<Record<string, string>>): Finding[] {
  return files
    .filter(file => !PURE.has(unitOf(file.path)) && !(file.path in allowed) && !isPageScript(file.path))
    .flatMap(file => matches(file, AMBIENT, ' outside runtime/system-clock.ts'))
}

function matches(
  file: Scan,
  patterns: readonly (readonly [pattern: RegExp, instead: string])[],
  where: string,
): Finding[] {
  return patterns.flatMap(([pattern, instead]) =>
    [...file.code.matchAll(pattern)].map(found => ({
      path: file.path,
      line: file.lineOf(found.index),
      found: `"${found[0]}"${where}`,
      instead,
    })),
  )
}
