import { type ChildProcess, spawn } from 'node:child_process'
import { cpSync, createWriteStream, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parse, stringify } from 'yaml'

export const root = fileURLToPath(new URL('../..', import.meta.url))
const elsewhere = fileURLToPath(new URL('./receivers-elsewhere.js', import.meta.url))
const START_MS = 30_000

/** The bot as a clinic serves it, on the machine's own clock. */
export interface ServerProcess {
  readonly origin: string
  readonly pid: number
  /** Resident memory, in megabytes of 10^6 bytes. */
  residentMb(): number
  /** Open file descriptors, sockets included. */
  descriptors(): number
  /** Bytes of everything in the data folder. */
  storedBytes(): number
  /** Exit code once it has gone; undefined while it runs. */
  exited(): number | undefined
  /** Lines it wrote that are no greeting: faults, as the log shows them. */
  faults(): readonly string[]
  /** Ends it as a signal to stop does; the exit code. */
  stop(): Promise<number>
}

export interface ServerProcessOptions {
  readonly data: string
  readonly clinic: string
  readonly outputFile: string
  readonly smtpPort: number
  readonly webhookUrl: string
}

export async function startServer(options: ServerProcessOptions): Promise<ServerProcess> {
  const args = ['src/cli/main.ts', 'serve', '--port', '0', '--data', options.data, '--clinic', options.clinic]
  const child = spawn(process.execPath, ['--import', elsewhere, ...args], {
    cwd: root,
    env: {
      ...process.env,
      RECEIVERS_SMTP_PORT: String(options.smtpPort),
      RECEIVERS_WEBHOOK_URL: options.webhookUrl,
    },
    stdio: ['ignore', 'pipe', 'pipe'],
  })
  // Whatever ends the driver ends the server too.
  process.once('exit', () => child.kill('SIGKILL'))
  const output = createWriteStream(options.outputFile)
  child.stdout.pipe(output, { end: false })
  child.stderr.pipe(output, { end: false })
  let code: number | undefined
  const gone = new Promise<number>(resolve =>
    child.once('exit', (exit, signal) => {
      code = exit ?? (signal === null ? 1 : 128)
      resolve(code)
    }),
  )
  const written = (): string => readFileSync(options.outputFile, 'utf8')
  const origin = await addressOf(child, written)
  const pid = child.pid ?? 0
  return {
    origin,
    pid,
    residentMb: () => Number(/^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1]) / 976.5625,
    descriptors: () => readdirSync(`/proc/${pid}/fd`).length,
    storedBytes: () =>
      readdirSync(options.data).reduce((sum, name) => sum + statSync(join(options.data, name)).size, 0),
    exited: () => code,
    faults: () =>
      written()
        .split('\n')
        .filter(line => (line.startsWith('{') ? !isNoFault(line) : /error|warn/i.test(line))),
    stop() {
      child.kill('SIGTERM')
      return gone
    },
  }
}

/** Lines of the log that tell of work done, not of a fault. */
const NO_FAULTS = ['cases-purged']

const isNoFault = (line: string): boolean => NO_FAULTS.some(what => line.includes(`"what":"${what}"`))

async function addressOf(child: ChildProcess, written: () => string): Promise<string> {
  for (let waited = 0; waited < START_MS; waited += 50) {
    await new Promise(resolve => setTimeout(resolve, 50))
    const port = /^Families: +http:\/\/localhost:(\d+)\/$/m.exec(written())?.[1]
    if (port !== undefined && written().includes('Stop with Ctrl-C')) return `http://127.0.0.1:${port}`
    if (child.exitCode !== null) break
  }
  child.kill('SIGKILL')
  throw new Error(`serve printed no address within ${START_MS / 1000} s; it wrote: ${written()}`)
}

interface Reachable {
  'page-at': { pager: string; address?: string }[]
}

/**
 * The demonstration's clinic, copied, with everyone paged by mail and by web call as well as on the board: the mailbox is
 * the person's or desk's own id. Its ladder and all its times are as shipped.
 */
export function clinicFolder(folder: string): string {
  mkdirSync(folder, { recursive: true })
  cpSync(join(root, 'deploy/demo-clinic'), folder, { recursive: true })
  const file = join(folder, 'clinic.yaml')
  const clinic = parse(readFileSync(file, 'utf8')) as Record<'people' | 'desks', Record<string, Reachable>>
  for (const reachables of [clinic.people, clinic.desks])
    for (const [id, reachable] of Object.entries(reachables))
      reachable['page-at'] = [
        { pager: 'board' },
        { pager: 'smtp', address: `${id}@harbourlights.example.test` },
        { pager: 'webhook', address: 'demo:' },
      ]
  writeFileSync(file, stringify(clinic))
  return folder
}
