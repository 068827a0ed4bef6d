import { type ChildProcess, spawn } from 'node:child_process'
import { existsSync, mkdtempSync, rmSync } from 'node:fs'
import { connect as openLine } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { freePort } from './free-port.ts'

/** A Redis of our own on this machine, on a port nobody else has. */
export interface RedisServer {
  readonly port: number
  readonly folder: string
  /** Ends it at once, as a power cut of the process would. */
  kill(): Promise<void>
  /** Stops it as SIGSTOP does, or lets it go on. */
  signal(signal: NodeJS.Signals): void
  /** Starts it again over the same files. */
  start(): Promise<void>
  discard(): Promise<void>
}

/** As a clinic is to set it: every write on disk before its answer, nothing thrown away. */
export const KEPT = ['--appendonly', 'yes', '--appendfsync', 'always', '--maxmemory-policy', 'noeviction']

/** @param settings  as on the command line of redis-server */
export async function redisServer(settings: readonly string[] = KEPT): Promise<RedisServer> {
  // In memory where the system has a folder for that: what a test shows is the order of writing, not the speed of a disk.
  const folder = mkdtempSync(join(existsSync('/dev/shm') ? '/dev/shm' : tmpdir(), 'redis-'))
  const port = await freePort()
  let child: ChildProcess | undefined

  async function start(): Promise<void> {
    const args = ['--port', String(port), '--bind', '127.0.0.1', '--dir', folder, '--save', '', '--loglevel', 'warning']
    child = spawn('redis-server', [...args, ...settings], { stdio: 'ignore' })
    await answers(port)
  }

  async function kill(): Promise<void> {
    const one = child
    child = undefined
    if (one === undefined || one.exitCode !== null) return
    const ended = new Promise(resolve => one.once('exit', resolve))
    one.kill('SIGCONT')
    one.kill('SIGKILL')
    await ended
  }

  await start()
  return {
    port,
    folder,
    kill,
    signal: signal => void child?.kill(signal),
    start,
    async discard() {
      await kill()
      if (existsSync(folder)) rmSync(folder, { recursive: true })
    },
  }
}

/** Waits until a Redis answers PING with PONG. */
async function answers(port: number): Promise<void> {
  for (let tries = 0; tries < 1_000; tries += 1) {
    if (await ponged(port)) return
    await pause(10)
  }
  throw new Error(`redis-server on port ${port} did not answer within 10 s`)
}

function ponged(port: number): Promise<boolean> {
  return new Promise(resolve => {
    const line = openLine({ host: '127.0.0.1', port })
    const end = (is: boolean) => {
      line.destroy()
      resolve(is)
    }
    line.on('connect', () => line.write('PING\r\n'))
    line.on('data', data => end(data.toString().startsWith('+PONG')))
    line.on('error', () => end(false))
  })
}
