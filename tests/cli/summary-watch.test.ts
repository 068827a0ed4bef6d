import { describe, expect, it } from 'vitest'
import { summaryWatch } from '../../src/cli/summary-watch.ts'
import { instant } from '../../src/time/instant.ts'
import { handClock } from '../support/hand-clock.ts'

describe('taking in closed cases while the bot serves', () => {
  it('looks every minute, an hour after a fault, and never again once it was stopped', async () => {
    const clock = handClock(instant(0))
    const looks: number[] = []
    const faults: unknown[] = []
    const watch = summaryWatch({
      clock,
      async refresh() {
        looks.push(clock.monotonicMs() / 60_000)
        if (looks.length === 2) throw new Error('damaged')
      },
      onFault: error => faults.push(error),
    })
    watch.start()
    for (let minute = 0; minute < 64; minute += 1) await clock.advance(60_000)
    expect(looks).toEqual([1, 2, 62, 63, 64])
    expect(faults).toMatchObject([{ message: 'damaged' }])
    watch.stop()
    await clock.advance(120_000)
    expect(looks).toHaveLength(5)
  })
})
