import { fork } from 'node:child_process'
import { once } from 'node:events'
import { join } from 'node:path'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import type { Ground } from './ground.ts'
import { startRedis } from './redis-server.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext } from './subject.ts'

/** Messages are answered this long in one go. */
const GO_MS = 2_000

/** What the processes and this one tell each other. */
export type FromServer = { readonly ready: true } | { readonly answered: number }
export interface ToServer {
  readonly goMs: number
}

/**
 * Two processes of one line on one Redis, each answering messages of the families it acts for: understood, stepped, committed,
 * rendered, sent to a channel that takes everything. Beside one of the two while the other rests.
 */
export async function twoProcesses({ subject, ground, progress }: AreaContext): Promise<Measured> {
  const redis = await startRedis(ground, 'always', subject.clock)
  const folder = ground.folder()
  // One after the other: the first makes the keys of the folder.
  const first = await server(subject.familiesServer, join(folder, 'data'), redis.port, ground)
  const second = await server(subject.familiesServer, join(folder, 'data'), redis.port, ground)
  const rate = await interleaved(
    {
      one: () => first.go(),
      two: async () => (await Promise.all([first.go(), second.go()])).reduce((sum, one) => sum + one, 0),
    },
    { what: 'redis, two processes', progress },
  )
  await Promise.all([first.stop(), second.stop()])
  redis.stop()
  ground.removeFolder(folder)
  const a = (values: readonly number[]) => median(values).toFixed(0)
  return figureOf(
    {
      area: 'redis',
      name: 'messages a second answered by two processes',
      unit: 'times',
      bound: 'least',
      target: 1.6,
      against: `one process, ${redis.name}, which shares the machine's processors with them: ${a(rate.two)} beside ${a(rate.one)}`,
    },
    ratios(rate.two, rate.one),
  )
}

async function server(program: string, data: string, port: number, ground: Ground) {
  const child = ground.adopt(fork(program, [data, String(port)], { stdio: ['ignore', 'ignore', 'pipe', 'ipc'] }))
  let wrote = ''
  child.stderr?.setEncoding('utf8').on('data', (text: string) => {
    wrote += text
  })
  const gone = once(child, 'exit')
  const next = async (): Promise<FromServer> => {
    const [told] = await Promise.race([once(child, 'message'), gone])
    if (typeof told === 'object' && told !== null) return told as FromServer
    throw new Error(`measure: a process that answers families ended; it wrote: ${wrote}`)
  }
  await next()
  return {
    /** Messages answered a second. */
    async go(): Promise<number> {
      child.send({ goMs: GO_MS } satisfies ToServer)
      const told = await next()
      if (!('answered' in told)) throw new Error('measure: a process that answers families said something else')
      return (told.answered * 1_000) / GO_MS
    },
    async stop(): Promise<void> {
      child.disconnect()
      await gone
    },
  }
}
