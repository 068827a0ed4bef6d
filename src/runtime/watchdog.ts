import { writeSync } from 'node:fs'
import { Worker, workerData } from 'node:worker_threads'
import type { Clock } from './clock.ts'
import { lineLog } from './log.ts'
import { systemClock } from './system-clock.ts'

/** A process that has not moved for so long never will. */
const BLOCKED_MS = 90_000

/** What the thread that watches is told. */
interface Order {
  /** One number, which the watched thread counts up while it moves. */
  readonly watchdogBeats: SharedArrayBuffer
  readonly everyMs: number
  /** So many looks in a row without a beat end the process. */
  readonly looks: number
}

export interface Watchdog {
  stop(): Promise<void>
}

/**
 * Ends the process when its event loop is blocked, by a disk that does not answer or work without end: nothing inside the
 * loop could say so any more. A thread of its own, which runs this same file, looks; it ends the process with SIGKILL, since
 * a blocked process hears nothing milder. Looks are counted, not time, so that a machine that slept is not taken for a
 * process that stood still.
 */
export function startWatchdog(clock: Clock, blockedMs: number = BLOCKED_MS, looks = 18): Watchdog {
  const watchdogBeats = new SharedArrayBuffer(4)
  const beats = new Int32Array(watchdogBeats)
  const everyMs = Math.ceil(blockedMs / looks)
  const order: Order = { watchdogBeats, everyMs, looks }
  const thread = new Worker(new URL(import.meta.url), { workerData: order, execArgv: [] })
  thread.unref()
  // A thread that cannot run leaves the process unwatched from inside, not dead: health is still asked from outside.
  thread.on('error', () => undefined)
  let cancel = (): void => undefined
  const beat = (): void => {
    Atomics.add(beats, 0, 1)
    cancel = clock.wake(clock.monotonicMs() + everyMs / 2, beat)
  }
  beat()
  return {
    async stop() {
      cancel()
      await thread.terminate()
    },
  }
}

function watch({ watchdogBeats, everyMs, looks }: Order): void {
  const beats = new Int32Array(watchdogBeats)
  const rest = new Int32Array(new SharedArrayBuffer(4))
  let seen = Atomics.load(beats, 0)
  for (let still = 0; still < looks; ) {
    Atomics.wait(rest, 0, 0, everyMs)
    const now = Atomics.load(beats, 0)
    still = now === seen ? still + 1 : 0
    seen = now
  }
  // Past the stream of standard error, which lives in the loop that stands.
  const log = lineLog(systemClock().now, line => writeSync(2, line))
  log({ what: 'loop-blocked', ms: everyMs * looks })
  process.kill(process.pid, 'SIGKILL')
}

if (typeof workerData === 'object' && workerData !== null && 'watchdogBeats' in workerData) watch(workerData as Order)
