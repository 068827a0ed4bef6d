import { createHash, randomBytes, randomInt } from 'node:crypto'
import { instant } from '../time/instant.ts'
import type { Clock, Random } from './clock.ts'

/** Longest wait a timer is trusted with: past 2^31 - 1 ms it would fire at once. */
const TIMER_MS_MAX = 2 ** 31 - 1

/** The machine's own clock. This file is the one place that reads real time, sets real timers and draws randomness. */
export function systemClock(): Clock {
  return {
    now: () => instant(Date.now()),
    monotonicMs: () => performance.now(),
    wake,
  }
}

function wake(atMs: number, fn: () => void): () => void {
  let timer: NodeJS.Timeout
  const set = () => {
    const left = Math.ceil(atMs - performance.now())
    timer = left > TIMER_MS_MAX ? setTimeout(set, TIMER_MS_MAX) : setTimeout(fn, Math.max(0, left))
  }
  set()
  return () => clearTimeout(timer)
}

/** Randomness of the platform's cryptography. */
export function systemRandom(): Random {
  return {
    bytes: length => new Uint8Array(randomBytes(length)),
    hex: bytes => randomBytes(bytes).toString('hex'),
    int: below => randomInt(below),
  }
}

/** SHA-256 of a text, as 64 hexadecimal digits. */
export const sha256 = (text: string): string => createHash('sha256').update(text).digest('hex')
