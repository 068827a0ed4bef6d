// Loaded before the bot with `node --import`: time passes CLOCK_SPEED times as fast for it, wall clock, monotonic clock and
// timers alike. It is CLOCK_EPOCH at the moment CLOCK_EPOCH_REAL of the machine, both in ms, so that a process started
// again later goes on in the same night. What the platform times by itself (sockets) stays as it is.
import { performance } from 'node:perf_hooks'

const speed = numberOf('CLOCK_SPEED')
const epoch = numberOf('CLOCK_EPOCH')
const epochReal = numberOf('CLOCK_EPOCH_REAL')

const realNow = Date.now.bind(Date)
Date.now = () => Math.floor(epoch + (realNow() - epochReal) * speed)

const realMonotonic = performance.now.bind(performance)
performance.now = () => realMonotonic() * speed

const realTimeout = globalThis.setTimeout
globalThis.setTimeout = Object.assign(
  (fn: (...given: unknown[]) => void, ms = 0, ...given: unknown[]) => realTimeout(fn, ms / speed, ...given),
  realTimeout,
) as unknown as typeof setTimeout

function numberOf(name: string): number {
  const value = Number(process.env[name])
  if (process.env[name] === undefined || !Number.isFinite(value))
    throw new Error(`${name}="${process.env[name]}": a number was expected`)
  return value
}
