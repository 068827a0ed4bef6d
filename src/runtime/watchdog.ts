import { Worker } from 'node:worker_threads'

/** A process that has not moved for so long never will. */
const BLOCKED_MS = 90_000

/** What the thread that watches is told. */
export interface WatchdogOrder {
  /** One number, which the watched thread counts up while it moves. */
  readonly beats: SharedArrayBuffer
  readonly everyMs: number
  /** So many looks in a row without a beat end the process. */
  readonly looks: number
}

export interface Watchdog {
  stop(): Promise<void>
}

/**
 * Ends the process when its event loop is blocked, by a disk that does not answer or work without end: nothing inside the
 * loop could say so any more. A thread of its own looks; it ends the process with SIGKILL, since a blocked process hears
 * nothing milder. Looks are counted, not time, so that a machine that slept is not taken for a process that stood still.
 */
export function startWatchdog(blockedMs: number = BLOCKED_MS, looks = 18): Watchdog {
  const beats = new SharedArrayBuffer(4)
  const beat = new Int32Array(beats)
  const everyMs = Math.ceil(blockedMs / looks)
  const workerData: WatchdogOrder = { beats, everyMs, looks }
  const thread = new Worker(new URL('./watchdog-thread.ts', import.meta.url), { workerData, execArgv: [] })
  thread.unref()
  // A thread that cannot run leaves the process unwatched from inside, not dead: health is still asked from outside.
  thread.on('error', () => undefined)
  const timer = setInterval(() => Atomics.add(beat, 0, 1), Math.max(1, Math.floor(everyMs / 2))).unref()
  return {
    async stop() {
      clearInterval(timer)
      await thread.terminate()
    },
  }
}
