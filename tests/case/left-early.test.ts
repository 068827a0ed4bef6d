import { describe, expect, it } from 'vitest'
import { aTalk, minutesAgo, saidIn, takes } from '../support/case-talk.ts'

// Found by the checker on 2026-11-30, walking what follows "we have left": whoever said so before all was asked was told at the
// time to leave to leave at once, on the road or in the hospital.

describe('a family that has left before every question was asked', () => {
  it('is not told to leave any more when the time to leave comes', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing', device: 'balloon-button', 'out-since': minutesAgo(5) })
    talk.answers('danger-signs', ['none']).answers('travel', takes(15))
    expect(talk.alarms.has('leave-by')).toBe(true)
    expect(talk.asked()).toBe('ring-back')
    talk.does({ kind: 'leftSaid', said: 'we have left' })
    expect(talk.state.kernel.talk).toBe('shared/driving')
    expect(talk.alarms.has('leave-by')).toBe(false)
    talk.answers('have-you-arrived', 'yes')
    const before = talk.replies().length
    talk.waits(6 * 60)
    const told = talk
      .replies()
      .slice(before)
      .flatMap(({ reply }) => saidIn(reply))
    expect(told).not.toContain('time-to-go')
  })
})
