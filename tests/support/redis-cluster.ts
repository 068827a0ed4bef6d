import { execFile } from 'node:child_process'
import { setTimeout as pause } from 'node:timers/promises'
import { promisify } from 'node:util'
import { KEPT, type RedisServer, redisServer } from './redis-server.ts'

const run = promisify(execFile)

/** A real cluster on this machine: three masters, each with a replica. */
export interface RedisCluster {
  readonly servers: readonly RedisServer[]
  /** A command to one of its servers, as its own tool sends it. */
  cli(port: number, ...words: readonly string[]): Promise<string>
  /** The master that keeps a key now, and a replica of it. */
  keepers(key: string): Promise<{ readonly master: RedisServer; readonly replica: RedisServer }>
  /** Resolves when every server is up and each master has its replica. */
  whole(): Promise<void>
  discard(): Promise<void>
}

/** How long a server may be silent before the others take it for dead, in milliseconds. */
const NODE_TIMEOUT_MS = 1_000

/** @param settings  beside those of a cluster */
export async function redisCluster(settings: readonly string[] = KEPT): Promise<RedisCluster> {
  const clustered = ['--cluster-enabled', 'yes', '--cluster-node-timeout', String(NODE_TIMEOUT_MS)]
  const servers = await Promise.all(
    Array.from({ length: 6 }, () => redisServer([...settings, ...clustered, '--repl-diskless-sync-delay', '0'])),
  )
  const cli = async (port: number, ...words: readonly string[]) =>
    (await run('redis-cli', ['-h', '127.0.0.1', '-p', String(port), ...words])).stdout.trim()
  const at = (port: number): RedisServer => {
    const found = servers.find(server => server.port === port)
    if (found === undefined) throw new Error(`no server of the cluster is at port ${port}`)
    return found
  }
  const first = servers[0]?.port ?? 0
  const addresses = servers.map(({ port }) => `127.0.0.1:${port}`)
  await run('redis-cli', ['--cluster', 'create', ...addresses, '--cluster-replicas', '1', '--cluster-yes'])
  async function whole(): Promise<void> {
    for (const { port } of servers) await joined(port)
  }

  async function joined(port: number): Promise<void> {
    const isWhole = async () => {
      const state = await cli(port, 'CLUSTER', 'INFO')
      const replication = await cli(port, 'INFO', 'replication')
      const isJoined =
        /role:master[\s\S]*connected_slaves:1/.test(replication) || /master_link_status:up/.test(replication)
      return state.includes('cluster_state:ok') && isJoined
    }
    for (let tries = 0; !(await isWhole()); tries += 1) {
      if (tries > 600) throw new Error('the cluster did not come together within 30 s')
      await pause(50)
    }
  }

  await whole()
  return {
    servers,
    cli,
    whole,
    async keepers(key) {
      const living = await Promise.any(servers.map(({ port }) => cli(port, 'PING').then(() => port))).catch(() => first)
      const slot = Number(await cli(living, 'CLUSTER', 'KEYSLOT', key))
      const lines = (await cli(living, 'CLUSTER', 'NODES')).split('\n').map(line => line.split(' '))
      const master = lines.find(
        ([, , flags, , , , , , ...ranges]) =>
          flags?.includes('master') === true && !flags.includes('fail') && ranges.some(range => holds(range, slot)),
      )
      const replica = lines.find(
        ([, , flags, of]) => flags?.includes('slave') === true && !flags.includes('fail') && of === master?.[0],
      )
      const portOf = (line: readonly string[] | undefined) => Number(/:(\d+)@/.exec(line?.[1] ?? '')?.[1])
      return { master: at(portOf(master)), replica: at(portOf(replica)) }
    },
    async discard() {
      await Promise.all(servers.map(server => server.discard()))
    },
  }
}

function holds(range: string, slot: number): boolean {
  const [from = Number.NaN, to = from] = range.split('-').map(Number)
  return slot >= from && slot <= to
}
