import { type ChildProcess, execFileSync, spawn } from 'node:child_process'
import { existsSync, readFileSync } from 'node:fs'
import { setTimeout as pause } from 'node:timers/promises'
import type { Clock } from '../runtime/clock.ts'
import type { Ground } from './ground.ts'

/** A process that listens: the bot as a clinic starts it, or the peer. */
export interface Listening {
  readonly origin: string
  /** Resident memory now, in megabytes (1,000,000 bytes). */
  residentMb(): number
  /** Ends it as Ctrl-C does and waits until it is gone. */
  stop(): Promise<void>
}

/** Longest wait for a process to say where it listens. Ten thousand open cases are taken up first. */
const START_MS = 180_000
const STOP_MS = 30_000

/** Starts the bot on a free port and waits for the address it prints. */
export function startBot(
  given: { readonly launcher: string; readonly data: string; readonly cache: string },
  ground: Ground,
): Promise<Listening> {
  const args = [given.launcher, 'serve', '--port', '0', '--data', given.data]
  return start(args, /^Families: +(http:\/\/localhost:\d+)\/$/m, /Stop with Ctrl-C/, given.cache, ground)
}

/** The least that answers over HTTP in Node: the peer. */
const BARE_SERVER = `
const server = require('node:http').createServer((request, response) => { request.resume(); response.end('ok') })
server.listen(0, '127.0.0.1', () => console.log('Listening: http://localhost:' + server.address().port + '/'))
process.once('SIGTERM', () => process.exit(0))
`

export function startBare(cache: string, ground: Ground): Promise<Listening> {
  const address = /^Listening: (http:\/\/localhost:\d+)\/$/m
  return start(['--eval', BARE_SERVER], address, address, cache, ground)
}

async function start(
  args: readonly string[],
  address: RegExp,
  ready: RegExp,
  cache: string,
  ground: Ground,
): Promise<Listening> {
  // The cache of compiled code is this measurement's own: cold in the round that does not count, warm in all others.
  const { NODE_OPTIONS: _options, NODE_COMPILE_CACHE: _own, ...env } = process.env
  const child = ground.adopt(
    spawn(process.execPath, args, { env: { ...env, XDG_CACHE_HOME: cache }, stdio: ['ignore', 'pipe', 'pipe'] }),
  )
  const gone = new Promise<void>(resolve => child.once('exit', () => resolve()))
  const origin = await addressOf(child, address, ready)
  return {
    origin,
    residentMb: () => residentBytes(child.pid ?? 0) / 1e6,
    async stop() {
      child.kill('SIGTERM')
      const ended = new AbortController()
      await Promise.race([gone.then(() => ended.abort()), pause(STOP_MS, undefined, ended).catch(() => undefined)])
      if (child.exitCode === null) child.kill('SIGKILL')
    },
  }
}

/** One run of a command to its end. */
export interface Ended {
  readonly minutes: number
  /** Most resident memory it was seen to hold, in megabytes (1,000,000 bytes). */
  readonly mostMb: number
  /** What it printed. */
  readonly out: string
}

const LOOKED_AT_EVERY_MS = 200

/** Runs a command and waits until it ends. @throws when it prints no answer */
export async function ran(args: readonly string[], ground: Ground, told: (line: string) => void): Promise<Ended> {
  const started = performance.now()
  const child = ground.adopt(spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] }))
  let out = ''
  let lastSaid = ''
  let mostMb = 0
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    out += text
  })
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    lastSaid = text.trim()
    told(lastSaid)
  })
  const look = setInterval(() => {
    // One that has just ended holds nothing any more.
    mostMb = Math.max(mostMb, (heldBytes(child.pid ?? 0) || 0) / 1e6)
  }, LOOKED_AT_EVERY_MS)
  await new Promise(resolve => child.once('close', resolve))
  clearInterval(look)
  if (out === '')
    throw new Error(
      `measure: "${args.slice(1, 3).join(' ')}" ended with ${child.exitCode} and printed no answer; it said last: ${lastSaid}`,
    )
  return { minutes: (performance.now() - started) / 60_000, mostMb, out }
}

function addressOf(child: ChildProcess, address: RegExp, ready: RegExp): Promise<string> {
  let written = ''
  return new Promise((resolve, reject) => {
    const fail = (why: string) => {
      child.kill('SIGKILL')
      reject(new Error(`measure: a process ${why} before it said where it listens; it wrote: ${written}`))
    }
    const late = setTimeout(() => fail(`took longer than ${START_MS / 1_000} s`), START_MS)
    child.once('exit', () => {
      clearTimeout(late)
      fail('ended')
    })
    for (const stream of [child.stdout, child.stderr]) {
      stream?.setEncoding('utf8').on('data', (text: string) => {
        written += text
        const found = address.exec(written)?.[1]
        if (found === undefined || !ready.test(written)) return
        clearTimeout(late)
        resolve(found)
      })
    }
  })
}

/** What the system counts as resident, as it counts it: shared pages of the program itself included. */
function residentBytes(pid: number): number {
  const bytes = heldBytes(pid)
  if (!(bytes > 0)) throw new Error(`measure: the system does not say how much memory process ${pid} holds`)
  return bytes
}

/** The same; no number where the process is gone. */
function heldBytes(pid: number): number {
  const status = `/proc/${pid}/status`
  if (existsSync(status)) return Number(/^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(status, 'utf8'))?.[1]) * 1_024
  if (existsSync('/proc/self/status')) return Number.NaN
  return Number(execFileSync('ps', ['-o', 'rss=', '-p', String(pid)], { encoding: 'utf8' }).trim()) * 1_024
}

/** A browser without script: keeps its cookie, posts the form, follows to the page with the reply. */
export interface Browser {
  open(): Promise<string>
  /** Sends words; the page that comes back. */
  say(text: string): Promise<string>
}

export function browser(origin: string): Browser {
  let cookie = ''
  async function page(response: Response): Promise<string> {
    const set = response.headers.get('set-cookie')
    if (set !== null) cookie = set.split(';')[0] ?? ''
    const text = await response.text()
    if (!response.ok) throw new Error(`measure: ${response.url} answered ${response.status}; 200 was expected`)
    return text
  }
  const open = async () => page(await fetch(`${origin}/`, { headers: { cookie } }))
  return {
    open,
    async say(text) {
      const headers = { cookie, origin, 'content-type': 'application/x-www-form-urlencoded' }
      const body = new URLSearchParams({ text }).toString()
      const posted = await fetch(`${origin}/say`, { method: 'POST', headers, body, redirect: 'manual' })
      await posted.arrayBuffer()
      if (posted.status !== 303) throw new Error(`measure: a message was answered ${posted.status}; 303 was expected`)
      return open()
    },
  }
}

/** Opens the page again until it shows what is waited for. */
export async function shown(visitor: Browser, first: string, wanted: RegExp, clock: Clock): Promise<string> {
  const until = clock.monotonicMs() + STOP_MS
  for (let page = first; ; page = await visitor.open()) {
    if (wanted.test(page)) return page
    if (clock.monotonicMs() > until) throw new Error(`measure: no reply within ${STOP_MS / 1_000} s`)
    await pause(5)
  }
}
