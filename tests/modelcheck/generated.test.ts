import { describe, expect, test } from 'vitest'
import { pathsOf, shippedLine } from '../support/generated-plays.ts'

/**
 * Paths made by @xstate/test over the checker's model, one shortest path for each edge of control, on the whole bot: its
 * channel, runtime and store. Every twentieth of them here, all of them with LONG=1.
 */
const every = process.env.LONG === '1' ? 1 : 20

describe('generated conversations', () => {
  test('the family reads on the whole bot what the model says', async () => {
    const loaded = shippedLine()
    let played = 0
    for (const play of pathsOf(loaded, 'someone', 0, every)) {
      const { told, problem } = await play()
      expect(problem ?? '').toBe('')
      if (told !== undefined) played++
    }
    expect(played).toBeGreaterThan(15)
  }, 600_000)
})
