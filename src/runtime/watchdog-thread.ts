/** The thread that watches whether the process still moves. Runs for itself: it imports nothing of the bot. */
import { writeSync } from 'node:fs'
import { workerData } from 'node:worker_threads'
import type { WatchdogOrder } from './watchdog.ts'

const { beats, everyMs, looks } = workerData as WatchdogOrder
const beat = new Int32Array(beats)
const rest = new Int32Array(new SharedArrayBuffer(4))

let seen = Atomics.load(beat, 0)
for (let still = 0; still < looks; ) {
  Atomics.wait(rest, 0, 0, everyMs)
  const now = Atomics.load(beat, 0)
  still = now === seen ? still + 1 : 0
  seen = now
}
// Standard error is the log; the loop that writes to it is the one that stands.
writeSync(2, `${JSON.stringify({ at: new Date().toISOString(), what: 'loop-blocked', ms: everyMs * looks })}\n`)
process.kill(process.pid, 'SIGKILL')
