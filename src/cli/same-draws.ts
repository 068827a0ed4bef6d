import { createHash } from 'node:crypto'
import type { Random } from '../runtime/clock.ts'

/**
 * Draws that are the same in every run, and never twice the same in one: of two runs of one situation nothing differs but
 * what they came to. For throwaway lines alone: whoever knows this file knows every draw.
 */
export function sameDraws(): Random {
  let count = 0
  const bytes = (length: number): Uint8Array => {
    const drawn: Buffer[] = []
    for (let left = length; left > 0; left -= 32) {
      count += 1
      drawn.push(createHash('sha256').update(String(count)).digest())
    }
    return Buffer.concat(drawn).subarray(0, length)
  }
  return {
    bytes,
    hex: length => Buffer.from(bytes(length)).toString('hex'),
    // 48 bits over a small bound: the bias is far below what anybody could see.
    int: below => Buffer.from(bytes(6)).readUIntBE(0, 6) % below,
  }
}
