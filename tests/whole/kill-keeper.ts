import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { KillNote } from '../support/killer.ts'
import { NIGHT, pause, type Served, serve } from './process.ts'

const preloadAt = (file: string): string => fileURLToPath(new URL(`../support/${file}`, import.meta.url))
/** The killer first: it keeps the machine's own clock. */
const PRELOAD = [preloadAt('killer.ts'), preloadAt('fast-clock.ts')]

/**
 * How many times as fast the night passes. A page's answer is waited for ten seconds of the night: faster, and a busy
 * machine answers too late. The long run is made beside other work, where a start takes half a minute: it must not be an
 * outage longer than the ladder, of which the family is told more than in a night without a kill.
 */
export const SPEED = process.env.LONG === '1' ? 3 : 6

/** One life of the process, in real ms. `upAt` is missing where it was killed before it served. */
export interface Life {
  readonly startedAt: number
  readonly upAt?: number
  /** Where it was killed; missing for the last. */
  readonly killed?: KillNote
}

/** Starts the process, and again whenever it was killed, as a supervisor does: same data folder, same port. */
export interface Keeper {
  readonly origin: string
  /** The process, once it serves. Rejects when it ended otherwise than by its kill. */
  up(): Promise<Served>
  readonly lives: readonly Life[]
  /** The instant of the night at a real moment (default now). */
  nightAt(realMs?: number): number
  /** Stops the present process as Ctrl-C does. */
  stop(): Promise<void>
  /** Starts it again after a stop, the night having gone on meanwhile. */
  again(): void
  output(): string
}

export interface KeeperOptions {
  readonly folder: string
  readonly clinic: string
  readonly port: number
  /** Where each life ends (see killer.ts), the first one first; lives after the last go on. */
  readonly kills: readonly string[]
}

export function keep(options: KeeperOptions): Keeper {
  const lives: Life[] = []
  const outputs: string[] = []
  const epochReal = Date.now()
  let served: Served | undefined
  let failure: unknown
  let stopping = false

  async function start(note: string, kill: string | undefined): Promise<Served> {
    return serve({
      data: join(options.folder, 'data'),
      clinic: options.clinic,
      port: options.port,
      preload: PRELOAD,
      env: {
        CLOCK_SPEED: String(SPEED),
        CLOCK_EPOCH: String(NIGHT),
        CLOCK_EPOCH_REAL: String(epochReal),
        KILL_NOTE: note,
        ...(kill === undefined ? {} : { KILL: kill }),
      },
    })
  }

  async function live(): Promise<void> {
    for (let life = lives.length; !stopping; life += 1) {
      const note = join(options.folder, `killed-${life}.json`)
      const startedAt = Date.now()
      let upAt: number | undefined
      try {
        const process = await start(note, options.kills[life])
        upAt = Date.now()
        served = process
        await process.gone
        outputs.push(process.output())
      } catch (error) {
        // Killed before it served: so it was meant.
        if (!existsSync(note)) throw error
      }
      served = undefined
      const killed = existsSync(note) ? (JSON.parse(readFileSync(note, 'utf8')) as KillNote) : undefined
      lives.push({ startedAt, ...(upAt === undefined ? {} : { upAt }), ...(killed === undefined ? {} : { killed }) })
      if (killed === undefined && !stopping) throw new Error(`the process ended by itself: ${outputs.at(-1)}`)
    }
  }

  const lived = () =>
    live().catch(error => {
      failure = error
    })
  let ended = lived()

  return {
    origin: `http://localhost:${options.port}`,
    lives,
    nightAt: (realMs = Date.now()) => NIGHT + (realMs - epochReal) * SPEED,
    output: () => outputs.join('\n'),
    async up() {
      for (;;) {
        if (failure !== undefined) throw failure
        if (served !== undefined) return served
        await pause(10)
      }
    },
    async stop() {
      stopping = true
      await served?.stop()
      await ended
      if (failure !== undefined) throw failure
    },
    again() {
      stopping = false
      ended = lived()
    },
  }
}

/** A request that got no answer because the process is gone, or was killed while it answered. */
function isLost(error: unknown): boolean {
  return error instanceof TypeError && /fetch failed|terminated/.test(error.message)
}

/** Does something with the process that serves; again with the next one when the connection was lost. */
export async function despiteKills<T>(keeper: Keeper, work: () => Promise<T>): Promise<T> {
  for (let tries = 1; ; tries += 1) {
    await keeper.up()
    try {
      return await work()
    } catch (error) {
      if (!isLost(error) || tries > 200) throw error
      await pause(20)
    }
  }
}
