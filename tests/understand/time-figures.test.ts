import { describe, expect, it } from 'vitest'
import { type Ends, timeVerdict } from '../../src/understand/time-figures.ts'

const min = (from: number, to: number): Ends => ({ from: from * 60_000, to: to * 60_000 })
const day = (from: number, to: number): Ends => ({ from: from * 86_400_000, to: to * 86_400_000 })

describe('the verdict on a reading of a time', () => {
  it.each([
    // kind, label, read, verdict
    ['moment', min(10, 20), min(10, 20), 'right'],
    ['moment', min(10, 20), undefined, 'asked'],
    ['moment', undefined, undefined, 'asked'],
    ['moment', undefined, min(10, 20), 'unsafe'],
    // Out for less long than it was: milder by 5 minutes is let pass, by 6 not.
    ['moment', min(10, 20), min(15, 20), 'right'],
    ['moment', min(10, 20), min(16, 20), 'unsafe'],
    // Longer than it was errs to the cautious side.
    ['moment', min(10, 20), min(0, 20), 'right'],
    ['moment', min(10, 20), min(-21, 20), 'wide'],
    ['moment', min(0, 60), min(-50, 70), 'right'],
    // A date: a newer opening is the worse end.
    ['date', day(10, 20), day(10, 19), 'right'],
    ['date', day(10, 20), day(10, 18.9), 'unsafe'],
    ['date', day(10, 20), day(-40, 20), 'wide'],
    // A drive: the longer is the worse end.
    ['length', min(20, 30), min(20, 25), 'right'],
    ['length', min(20, 30), min(20, 24), 'unsafe'],
    ['length', min(20, 30), min(20, 90), 'wide'],
  ] as const)('%s labelled %j read %j: %s', (kind, label, read, verdict) =>
    expect(timeVerdict(kind, label, read)).toBe(verdict),
  )
})
