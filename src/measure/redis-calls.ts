import { createHash } from 'node:crypto'
import { once } from 'node:events'
import { connect, createServer, type Socket } from 'node:net'
import type { MeasuredRedis, RedisClient } from './redis-server.ts'

/** One call of a script as it stood on the wire, bytes and all. */
interface Call {
  readonly sha1: string
  /** Begins every key that the script touches. */
  readonly prefix: string
  readonly args: readonly Buffer[]
}

/** What was asked of a Redis while something worked with it. */
export interface Recorded {
  /** Calls that name one of these cases, case by case, in the order they were asked. */
  of(cases: readonly string[]): readonly (readonly Call[])[]
}

/** Lets something work with Redis through a port that writes down what passes, and says what was asked. */
export async function recorded(port: number, work: (port: number) => Promise<void>): Promise<Recorded> {
  const asked: Buffer[][] = []
  const sockets = new Set<Socket>()
  const server = createServer(client => {
    const redis = connect(port, '127.0.0.1')
    const chunks: Buffer[] = []
    client.on('data', (chunk: Buffer) => chunks.push(chunk))
    client.on('close', () => asked.push(...commandsIn(Buffer.concat(chunks))))
    client.pipe(redis).pipe(client)
    for (const socket of [client, redis]) {
      sockets.add(socket)
      socket.on('error', () => socket.destroy())
      socket.on('close', () => {
        client.destroy()
        redis.destroy()
      })
    }
  })
  await once(server.listen(0, '127.0.0.1'), 'listening')
  await work((server.address() as { port: number }).port)
  await Promise.all([...sockets].map(socket => socket.destroyed || once(socket, 'close')))
  server.close()
  const calls = asked.flatMap(words => callIn(words) ?? [])
  return {
    of: cases =>
      cases.map(name => {
        const own = calls.filter(({ args }) => args.some(arg => arg.equals(Buffer.from(name))))
        // One that Redis did not know the script of, or whose answer was lost, was asked again.
        return own.filter((call, place) => !own.slice(0, place).some(before => areSame(before.args, call.args)))
      }),
  }
}

/** The commands in what a client wrote: each a count of words, then each word behind its length in bytes. */
export function commandsIn(wire: Buffer): Buffer[][] {
  const commands: Buffer[][] = []
  let at = 0
  const number = (): number => {
    const end = wire.indexOf('\r\n', at)
    const found = Number(wire.toString('latin1', at + 1, end))
    at = end + 2
    return found
  }
  while (at < wire.length) {
    commands.push(
      Array.from({ length: number() }, () => {
        const length = number()
        at += length + 2
        return wire.subarray(at - length - 2, at - 2)
      }),
    )
  }
  return commands
}

function callIn([command, script, keys, prefix, ...args]: readonly Buffer[]): Call | undefined {
  const name = command?.toString().toUpperCase()
  if ((name !== 'EVALSHA' && name !== 'EVAL') || script === undefined || prefix === undefined) return undefined
  if (`${keys}` !== '1')
    throw new Error(`measure: a script with ${keys} keys was called; one, the prefix, was expected`)
  return {
    sha1: name === 'EVAL' ? createHash('sha1').update(script).digest('hex') : `${script}`,
    prefix: `${prefix}`,
    args,
  }
}

const areSame = (some: readonly Buffer[], others: readonly Buffer[]): boolean =>
  some.length === others.length && some.every((word, place) => others[place]?.equals(word))

/**
 * Makes the same calls again, under keys of their own: the same script, the same bytes, the same writes, by the same client
 * with nothing of a store around it. The first call of each case is made before the time is taken.
 *
 * @returns how many a second, so many in flight
 * @throws Error when a call is not answered as the first time
 */
export function repeater(redis: MeasuredRedis) {
  const client: RedisClient = redis.client()
  let times = 0
  return async (cases: readonly (readonly Call[])[], inFlight: number): Promise<number> => {
    times += 1
    const under = (prefix: string) => prefix.replace('{', `{${times}.`)
    const owners = new Map(cases.flat().map(({ prefix, args: [fence = Buffer.of()] }) => [under(prefix), fence]))
    for (const [prefix, fence] of owners) await client.callBuffer('HSET', `${prefix}owner`, 'fence', fence)
    const make = async ({ sha1, prefix, args }: Call) => {
      const answer = await client.callBuffer('EVALSHA', sha1, 1, under(prefix), ...args)
      if (`${answer}` !== 'committed') throw new Error(`measure: a call made again was answered "${answer}"`)
    }
    for (const [first] of cases) if (first !== undefined) await make(first)
    const started = performance.now()
    const lane = async (first: number) => {
      const mine = cases.filter((_calls, place) => place % inFlight === first)
      const longest = Math.max(0, ...mine.map(({ length }) => length))
      for (let turn = 1; turn < longest; turn += 1) {
        for (const calls of mine) if (calls[turn] !== undefined) await make(calls[turn] as Call)
      }
    }
    await Promise.all(Array.from({ length: inFlight }, (_, first) => lane(first)))
    const calls = cases.reduce((sum, { length }) => sum + length - 1, 0)
    return (calls * 1_000) / (performance.now() - started)
  }
}
