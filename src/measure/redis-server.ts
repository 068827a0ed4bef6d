import { spawn } from 'node:child_process'
import { createServer } from 'node:net'
import { type Clock, within } from '../runtime/clock.ts'
import type { Ground } from './ground.ts'
import { peer } from './peer.ts'

/** What is used of the client, the one that the store is built on. */
export interface RedisClient {
  set(key: string, value: Buffer): Promise<unknown>
  callBuffer(command: string, ...args: readonly (string | number | Buffer)[]): Promise<unknown>
  info(section: string): Promise<string>
  ping(): Promise<string>
  disconnect(): void
}

interface RedisClients {
  readonly Redis: new (options: object) => RedisClient & { on(event: 'error', listener: () => void): void }
}

/** A Redis of this measurement alone, on loopback. */
export interface MeasuredRedis {
  readonly port: number
  /** Name and version, as a figure names what it was measured beside. */
  readonly name: string
  /** A connection of its own. */
  client(): RedisClient
  /** Bytes it holds in memory for what it was told. */
  usedBytes(): Promise<number>
  /** Ends it. */
  stop(): void
}

export type Flushing = 'always' | 'everysec' | 'no'

/** How long it may take to begin. */
const START_MS = 10_000
/** How often it is asked whether it is there. */
const ASKED_MS = 50

/**
 * Starts redis-server with an append-only file in a folder of its own.
 *
 * @throws Error that says what to install, where there is none
 */
export async function startRedis(ground: Ground, flushing: Flushing, clock: Clock): Promise<MeasuredRedis> {
  const { module, name } = peer<RedisClients>('ioredis')
  const port = await freePort()
  const kept = ['--appendonly', flushing === 'no' ? 'no' : 'yes', '--appendfsync', flushing, '--save', '']
  const place = ['--port', String(port), '--bind', '127.0.0.1', '--dir', ground.folder(), '--loglevel', 'warning']
  const child = ground.adopt(
    spawn('redis-server', [...place, ...kept, '--maxmemory-policy', 'noeviction'], { stdio: 'ignore' }),
  )
  let failed: Error | undefined
  child.on('error', error => {
    failed = new Error(
      `measure: redis-server does not start (${error.message}); nothing can be measured on it. Install Redis 7 (on Debian the package redis-server)`,
    )
  })
  const made: RedisClient[] = []
  const client = (): RedisClient => {
    const one = new module.Redis({ host: '127.0.0.1', port, retryStrategy: () => 20, maxRetriesPerRequest: 500 })
    one.on('error', () => undefined)
    made.push(one)
    return one
  }
  const own = client()
  const until = clock.monotonicMs() + START_MS
  while (!(await within(clock, ASKED_MS, isThere(own), false))) {
    if (failed !== undefined || clock.monotonicMs() > until) {
      own.disconnect()
      throw failed ?? new Error(`measure: redis-server did not answer within ${START_MS / 1_000} s`)
    }
  }
  const field = async (section: string, wanted: string) =>
    new RegExp(`^${wanted}:(.*)$`, 'm').exec(await own.info(section))?.[1]?.trim() ?? ''
  return {
    port,
    name: `Redis ${await field('server', 'redis_version')}, ${flushing === 'no' ? 'no append-only file' : `appendfsync ${flushing}`}, ${name}`,
    client,
    usedBytes: async () => Number(await field('memory', 'used_memory')),
    stop() {
      for (const one of made) one.disconnect()
      child.kill('SIGTERM')
    },
  }
}

const isThere = (client: RedisClient): Promise<boolean> =>
  client.ping().then(
    answer => answer === 'PONG',
    () => false,
  )

async function freePort(): Promise<number> {
  const server = createServer()
  await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
  const { port } = server.address() as { port: number }
  await new Promise(resolve => server.close(resolve))
  return port
}
