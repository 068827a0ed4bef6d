import { type ChildProcess, spawn } from 'node:child_process'
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

export const root = fileURLToPath(new URL('../..', import.meta.url))
const node = join(root, 'node_modules/.bin/node')
const laterClock = fileURLToPath(new URL('./later-clock.js', import.meta.url))

/** The bot as a clinic runs it: a process of its own, with a port and a data folder. */
export interface Served {
  readonly origin: string
  readonly pid: number
  /** Ends it as a power cut does: no signal handler runs. Resolves when it is gone. */
  kill(): Promise<void>
  /** Ends it as Ctrl-C does; the exit code. */
  stop(): Promise<number | null>
  /** Resolves when the process is gone, however it ended. */
  readonly gone: Promise<number | null>
  /** Everything it has written so far. */
  output(): string
}

export interface ServeOptions {
  readonly data: string
  readonly clinic?: string
  /** What its wall clock shows at the start; default {@link NIGHT}. It runs on from there. */
  readonly at?: number
  /** Default: a free one. */
  readonly port?: number
  /** Modules loaded before the bot, in place of the clock that starts at `at`; what they read from the environment. */
  readonly preload?: readonly string[]
  readonly env?: Readonly<Record<string, string>>
  /** The folder that holds the program. Default: this clone. */
  readonly from?: string
}

const START_MS = process.env.LONG === '1' ? 90_000 : 45_000

/** Sunday, 2:10 in the morning in New York: the demonstration's clinic is closed and Amara Osei is first on call. */
export const NIGHT = Date.parse('2026-03-01T07:10:00Z')

/** Starts `smallhours serve` on a free port and waits for the address it prints. */
export async function serve(options: ServeOptions): Promise<Served> {
  const clinic = options.clinic === undefined ? [] : ['--clinic', options.clinic]
  const args = ['src/cli/main.ts', 'serve', '--port', String(options.port ?? 0), '--data', options.data, ...clinic]
  const preload = (options.preload ?? [laterClock]).flatMap(file => ['--import', file])
  const child = spawn(node, [...preload, ...args], {
    cwd: options.from ?? root,
    env: { ...process.env, CLOCK_AHEAD_MS: String((options.at ?? NIGHT) - Date.now()), ...options.env },
    stdio: ['ignore', 'pipe', 'pipe'],
  })
  let written = ''
  for (const stream of [child.stdout, child.stderr]) stream.setEncoding('utf8').on('data', text => (written += text))
  const gone = new Promise<number | null>(resolve => child.once('exit', resolve))
  const origin = await addressOf(child, () => written)
  const end = (signal: NodeJS.Signals): Promise<number | null> => {
    child.kill(signal)
    return gone
  }
  return {
    origin,
    pid: child.pid ?? 0,
    kill: async () => {
      await end('SIGKILL')
    },
    stop: () => end('SIGTERM'),
    gone,
    output: () => written,
  }
}

async function addressOf(child: ChildProcess, written: () => string): Promise<string> {
  for (let waited = 0; waited < START_MS; waited += 20) {
    const families = /^(?:Families|Listening): +(http:\/\/localhost:\d+)\/$/m.exec(written())?.[1]
    const clinicians = /^Clinicians: +(http:\/\/localhost:\d+)\/board$/m.exec(written())?.[1]
    const isOwnClinic = /^Clinicians: by the link in each page$/m.test(written())
    if (families !== undefined && (isOwnClinic || families === clinicians) && /Stop with Ctrl-C/.test(written()))
      return families
    if (child.exitCode !== null || child.signalCode !== null) break
    await pause(20)
  }
  child.kill('SIGKILL')
  throw new Error(`serve printed no addresses within ${START_MS / 1000} s; it wrote: ${written()}`)
}

/** A new empty folder, and its removal. */
export function newFolder(): { readonly path: string; remove(): void } {
  const path = mkdtempSync(join(tmpdir(), 'smallhours-whole-'))
  return { path, remove: () => rmSync(path, { recursive: true, force: true, maxRetries: 3 }) }
}

/** The demonstration's clinic folder, copied, with its settings section replaced and `edit` made to the rest. */
export function clinicWith(folder: string, settings: string, edit: (yaml: string) => string = yaml => yaml): string {
  cpSync(join(root, 'deploy/demo-clinic'), folder, { recursive: true })
  const file = join(folder, 'clinic.yaml')
  const before = readFileSync(file, 'utf8')
  const changed = before.replace(/^settings:\n(?: {2}.*\n)*/m, `settings:\n${settings}`)
  if (changed === before) throw new Error(`${file}: no "settings:" section was found to replace`)
  writeFileSync(file, edit(changed))
  return folder
}

export const pause = (ms: number): Promise<void> => new Promise(resolve => setTimeout(resolve, ms))

/** Asks again every `everyMs` until `found` gives something, at most `withinMs`; then throws with `what`. */
export async function eventually<T>(
  what: string,
  found: () => Promise<T | undefined | false>,
  withinMs = 20_000,
  everyMs = 50,
): Promise<T> {
  const until = performance.now() + withinMs
  for (;;) {
    const value = await found()
    if (value !== undefined && value !== false) return value
    if (performance.now() > until) throw new Error(`not within ${withinMs / 1000} s: ${what}`)
    await pause(everyMs)
  }
}
