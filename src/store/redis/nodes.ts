import { setTimeout as pause } from 'node:timers/promises'
import { Redis } from 'ioredis'
import { meaningOf, RedisRefuses, RedisSilent, wordOf } from './redis-errors.ts'
import type { Script } from './scripts.ts'

export type Argument = string | number | Buffer
/** An answer: texts are buffers, numbers numbers, lists lists. */
export type Reply = Buffer | number | null | readonly Reply[]

export interface NodesOptions {
  /** Where to look first: the one server, or some of a cluster. */
  readonly addresses: readonly { readonly host: string; readonly port: number }[]
  readonly user?: string
  readonly password?: string
  /** Speak over TLS, and trust only certificates the machine trusts, or this authority's. */
  readonly tls?: { readonly authority?: string } | undefined
  /** Longest wait for one answer, in milliseconds; the connection is then made anew. Default 1,000. */
  readonly answerMs?: number
  /** Longest time one call is tried in all, in milliseconds: less than what waits for the store. Default 4,000. */
  readonly callMs?: number
}

/** The servers that keep the shards, one or many. */
export interface Nodes {
  /** Runs a script where the shard lies. Asked again after a lost answer: every script counts a doubled call once. */
  run(shard: number, script: Script, args: readonly Argument[], replicas?: number): Promise<Reply>
  /** Runs a command that changes nothing, or changes nothing more when it comes twice. */
  ask(shard: number, command: string, ...args: readonly Argument[]): Promise<Reply>
  /** The same, of a server itself and not of a shard. */
  askNode(address: string, command: string, ...args: readonly Argument[]): Promise<Reply>
  /** The server that keeps each shard now. */
  readonly owners: readonly string[]
  readonly isCluster: boolean
  /** Writes that were answered though too few replicas had them in time. */
  readonly alone: number
  close(): void
}

/** A master whose replicas did not answer in time is not waited for again this long, in milliseconds. */
const ALONE_MS = 5_000
const REPLICA_MS = 500
const FIRST_PAUSE_MS = 15
const LONGEST_PAUSE_MS = 200

/**
 * Connects. Every call is bounded, whatever hangs; one whose answer was lost is asked again, on a new connection, and
 * finds the server that keeps the shard now. It does not rest on the client's own queues: those resend without being
 * asked, or never answer (safety notes: a lost reply doubled 20 of 20 increments).
 *
 * @param prefixOf  the keys of a shard begin with it; it holds the hash tag that keeps them together
 */
export async function connectNodes(
  options: NodesOptions,
  shards: number,
  prefixOf: (shard: number) => string,
): Promise<Nodes> {
  const { answerMs = 1_000, callMs = 4_000 } = options
  const seeds = options.addresses.map(({ host, port }) => `${host}:${port}`)
  const connections = new Map<string, Redis>()
  const corked = new WeakSet<Redis['stream']>()
  const aloneUntil = new Map<string, number>()
  /** How often each connection broke. */
  const breaks = new Map<string, number>()
  const breaksOf = (address: string): number => breaks.get(address) ?? 0
  const waits = new Map<string, { now: Promise<number> | undefined; next: Promise<number> | undefined }>()
  let owners: string[] = Array.from({ length: shards }, () => seeds[0] ?? '')
  let slots: readonly number[] | undefined
  let refreshing: Promise<void> | undefined
  let alone = 0
  let closed = false

  function connection(address: string): Redis {
    const known = connections.get(address)
    if (known !== undefined) return known
    const colon = address.lastIndexOf(':')
    const { authority } = options.tls ?? {}
    const made = new Redis({
      host: address.slice(0, colon),
      port: Number(address.slice(colon + 1)),
      ...(options.user === undefined ? {} : { username: options.user }),
      ...(options.password === undefined ? {} : { password: options.password }),
      ...(options.tls === undefined ? {} : { tls: authority === undefined ? {} : { ca: authority } }),
      protocol: 2,
      connectTimeout: answerMs,
      commandTimeout: answerMs,
      maxRetriesPerRequest: 0,
      enableOfflineQueue: false,
      disableClientInfo: true,
      retryStrategy: times => Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** Math.min(times, 6)),
    })
    // Whoever asks hears of it.
    made.on('error', () => undefined)
    made.on('close', () => breaks.set(address, breaksOf(address) + 1))
    connections.set(address, made)
    return made
  }

  /** What is asked in one turn of the event loop leaves in one write: many small ones were a fifth of the work. */
  function send(address: string, command: string, args: readonly Argument[]): Promise<Reply> {
    const redis = connection(address)
    const stream = redis.status === 'ready' ? redis.stream : undefined
    if (stream !== undefined && !corked.has(stream)) {
      corked.add(stream)
      stream.cork()
      process.nextTick(() => {
        corked.delete(stream)
        stream.uncork()
      })
    }
    return redis.callBuffer(command, ...args) as Promise<Reply>
  }

  /** Tries until `callMs` are over; what passes is tried again, what is refused is told. */
  async function tried<T>(what: string, attempt: () => Promise<T>, movedTo?: (address: string) => void): Promise<T> {
    const until = performance.now() + callMs
    for (let tries = 0; ; tries += 1) {
      try {
        if (closed) throw new Error('the store is closed: open it again')
        return await attempt()
      } catch (error) {
        if (closed) throw error
        const meaning = meaningOf(error)
        if (meaning.kind === 'refused')
          throw new RedisRefuses(`Redis refused "${what}" (${wordOf(error)}): ${meaning.todo}`, { cause: error })
        const rest = Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** Math.min(tries, 6))
        if (performance.now() + rest > until)
          throw new RedisSilent(
            `Redis did not answer "${what}" within ${callMs} ms (${wordOf(error)}); it may be asked again`,
            {
              cause: error,
            },
          )
        if (meaning.kind === 'moved' && !meaning.once) {
          movedTo?.(meaning.address)
          if (tries === 0) continue
        }
        await pause(rest)
        if (meaning.kind !== 'moved' || !meaning.once) await refresh()
      }
    }
  }

  /**
   * A connection that gave no answer in time is taken for dead: the next one is new. That one is not dead for what was asked
   * on the one before, though a burst of calls times out at once.
   */
  async function bounded(address: string, command: string, args: readonly Argument[]): Promise<Reply> {
    const before = breaksOf(address)
    try {
      return await send(address, command, args)
    } catch (error) {
      const redis = connections.get(address)
      const isLate = error instanceof Error && error.message === 'Command timed out'
      if (isLate && redis?.status === 'ready' && breaksOf(address) === before) redis.disconnect(true)
      throw error
    }
  }

  function refresh(): Promise<void> {
    refreshing ??= lookedAnew().finally(() => {
      refreshing = undefined
    })
    return refreshing
  }

  /** Asks whoever answers first who keeps what. One server keeps everything; of a master and its replicas, the master. */
  async function lookedAnew(): Promise<void> {
    for (const address of new Set([...owners, ...seeds])) {
      try {
        if (slots === undefined) {
          const [role] = (await bounded(address, 'ROLE', [])) as readonly Reply[]
          if (String(role) !== 'master') continue
          owners = owners.map(() => address)
        } else owners = ownersIn((await bounded(address, 'CLUSTER', ['SLOTS'])) as readonly Reply[], slots, address)
        return
      } catch {
        // The next may know.
      }
    }
  }

  function ownersIn(ranges: readonly Reply[], wanted: readonly number[], asked: string): string[] {
    const askedHost = asked.slice(0, asked.lastIndexOf(':'))
    return wanted.map((slot, shard) => {
      for (const range of ranges as readonly (readonly [number, number, readonly Reply[]])[]) {
        if (slot < range[0] || slot > range[1]) continue
        const [host, port] = range[2]
        const name = String(host ?? '')
        return `${name === '' || name === '?' ? askedHost : name}:${port}`
      }
      return owners[shard] ?? asked
    })
  }

  const ownerOf = (shard: number): string => owners[shard] ?? ''

  /**
   * Waits until so many replicas have everything written so far on this connection. Many callers share one wait: the one
   * under way may have begun before their write, the next has not.
   */
  function replicated(address: string, replicas: number): Promise<number> {
    const mine = waits.get(address) ?? { now: undefined, next: undefined }
    waits.set(address, mine)
    const wait = () => bounded(address, 'WAIT', [replicas, REPLICA_MS]).then(Number)
    if (mine.now === undefined) {
      mine.now = wait().finally(() => {
        mine.now = undefined
      })
      return mine.now
    }
    mine.next ??= mine.now
      .catch(() => 0)
      .then(() => {
        mine.next = undefined
        mine.now = wait().finally(() => {
          mine.now = undefined
        })
        return mine.now
      })
    return mine.next
  }

  async function scripted(shard: number, script: Script, args: readonly Argument[], replicas: number): Promise<Reply> {
    const address = ownerOf(shard)
    const keyed = [1, prefixOf(shard), ...args]
    const before = breaksOf(address)
    let reply: Reply
    try {
      reply = await bounded(address, 'EVALSHA', [script.sha1, ...keyed])
    } catch (error) {
      const meaning = meaningOf(error)
      if (meaning.kind === 'script-unknown') reply = await bounded(address, 'EVAL', [script.text, ...keyed])
      else if (meaning.kind === 'moved' && meaning.once) reply = await asking(meaning.address, [script.text, ...keyed])
      else throw error
    }
    if (replicas > 0 && (aloneUntil.get(address) ?? 0) <= performance.now()) {
      const got = await replicated(address, replicas)
      // On a new connection WAIT knows of no write and answers at once: it says nothing about this one.
      if (breaksOf(address) !== before) throw new Error('Connection is closed while replicas were waited for')
      if (got < replicas) {
        alone += 1
        aloneUntil.set(address, performance.now() + ALONE_MS)
      }
    } else if (replicas > 0) alone += 1
    return reply
  }

  /** A slot on its way to another server is asked for there, once. */
  async function asking(address: string, args: readonly Argument[]): Promise<Reply> {
    const asked = send(address, 'ASKING', [])
    const reply = bounded(address, 'EVAL', args)
    await asked
    return reply
  }

  const nodes: Nodes = {
    run: (shard, script, args, replicas = 0) =>
      tried(
        script.name,
        () => scripted(shard, script, args, replicas),
        address => owners.splice(shard, 1, address),
      ),
    ask: (shard, command, ...args) =>
      tried(
        command,
        () => bounded(ownerOf(shard), command, args),
        address => owners.splice(shard, 1, address),
      ),
    askNode: (address, command, ...args) => tried(command, () => bounded(address, command, args)),
    get owners() {
      return owners
    },
    get isCluster() {
      return slots !== undefined
    },
    get alone() {
      return alone
    },
    close() {
      closed = true
      for (const one of connections.values()) one.disconnect()
    },
  }
  try {
    const info = await tried('INFO', () => anyOf(seeds, address => bounded(address, 'INFO', ['cluster'])))
    if (/cluster_enabled:1/.test(String(info))) {
      slots = await Promise.all(
        owners.map(async (_, shard) =>
          Number(
            await tried('CLUSTER', () => anyOf(seeds, one => bounded(one, 'CLUSTER', ['KEYSLOT', prefixOf(shard)]))),
          ),
        ),
      )
    }
    await refresh()
    return nodes
  } catch (error) {
    nodes.close()
    throw error
  }
}

/** The first answer of servers asked one after the other. */
async function anyOf<T>(addresses: readonly string[], ask: (address: string) => Promise<T>): Promise<T> {
  let failed: unknown = new Error('no address of Redis was given')
  for (const address of addresses) {
    try {
      return await ask(address)
    } catch (error) {
      failed = error
    }
  }
  throw failed
}
