import type { Finding } from './finding.ts'
import { CORE, isPageScript, unitOf } from './imports.ts'
import type { Scan } from './source-scan.ts'

const PURE = new Set([...CORE, 'understand', 'modelcheck', 'replay', 'review'])

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

/** Which clocks, timers and chance a file may use directly, and why. */
export type ClockReaders = Readonly<Record<string, { readonly uses: readonly string[]; readonly because: string }>>

export const CLOCK_READERS: ClockReaders = {
  'src/runtime/system-clock.ts': {
    uses: ['Date.now', 'setTimeout', 'setInterval', 'randomUUID', 'Math.random'],
    because: 'the one clock, and the one source of chance',
  },
  'src/pagers/smtp.ts': { uses: ['setTimeout'], because: 'cuts off an attempt that hangs; the outbox tries again' },
  'src/pagers/webhook.ts': { uses: ['setTimeout'], because: 'cuts off an attempt that hangs; the outbox tries again' },
  'src/sms/centre.ts': {
    uses: ['setTimeout', 'setInterval'],
    because: 'cuts off an attempt that hangs, connects again, and looks whether the line still lives',
  },
  'src/sms/joining.ts': { uses: ['setTimeout'], because: 'waits no longer for parts that never come' },
  'src/store/redis/nodes.ts': { uses: ['setTimeout'], because: 'rests between two tries of a call that got no answer' },
  'src/store/redis/shares.ts': { uses: ['setInterval'], because: 'renews leases, which run on the clock of Redis' },
  'src/channels/webchat/webchat.ts': { uses: ['setInterval'], because: 'keeps the line to an open page alive' },
  'src/measure/alarms-area.ts': { uses: ['setTimeout'], because: "the peer: the platform's own timers" },
  'src/measure/review-area.ts': { uses: ['setTimeout'], because: 'looks again for figures that are worked out beside' },
  'src/measure/process.ts': {
    uses: ['setTimeout', 'setInterval'],
    because: 'gives up on a process that never says where it listens; looks at how much memory one holds',
  },
  'src/http/server.ts': { uses: ['setTimeout'], because: 'cuts off lines still open after the bot was told to stop' },
}

const AMBIENT: readonly (readonly [pattern: RegExp, instead: string])[] = [
  [/\bDate\.now\b|\bnew Date\(\s*\)|\bDateTime\.(now|local\(\s*\)|utc\(\s*\))/g, 'use the Clock that is passed in'],
  [/(?<!\.)\bset(Timeout|Interval)\b|\bglobalThis\b/g, 'use the Clock that is passed in, or a stored alarm'],
  [/\bMath\.random\b|\brandomUUID\b/g, 'use the chance that is passed in'],
]

/** Clocks, timers and chance used directly, beyond what `allowed` lists. Scripts that run in a page are not meant. */
export function ambientClocks(files: readonly Scan[], allowed: ClockReaders): Finding[] {
  return files
    .filter(file => !PURE.has(unitOf(file.path)) && !isPageScript(file.path))
    .flatMap(file => matches(file, AMBIENT, ' outside runtime/system-clock.ts', allowed[file.path]?.uses))
}

function matches(
  file: Scan,
  patterns: readonly (readonly [pattern: RegExp, instead: string])[],
  where: string,
  allowed: readonly string[] = [],
): Finding[] {
  return patterns.flatMap(([pattern, instead]) =>
    [...file.code.matchAll(pattern)]
      .filter(found => !allowed.includes(found[0]))
      .map(found => ({
        path: file.path,
        line: file.lineOf(found.index),
        found: `"${found[0]}"${where}`,
        instead,
      })),
  )
}
