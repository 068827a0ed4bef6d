import { describe, expect, it } from 'vitest'
import { aTalk } from '../support/case-talk.ts'

// Whoever leaves before the questions end is still told what those who are sent are told before they leave.

const saidOnLeaving = (facts: Readonly<Record<string, string>>): string[] =>
  aTalk(undefined, 'clogged').says(facts).does({ kind: 'leftSaid', said: 'We have left' }).said()

describe('"We have left", as the first thing after the first reply', () => {
  it('is answered with: no feed on the way', () => {
    expect(saidOnLeaving({})).toContain('no-feed-on-way')
    expect(saidOnLeaving({})).not.toContain('stop-medicines')
  })

  it('and with: no medicine into the tube, where it hurts when feed goes in', () =>
    expect(saidOnLeaving({ 'pain-on-feed': 'yes' })).toEqual(
      expect.arrayContaining(['no-feed-on-way', 'stop-medicines']),
    ))

  it('stops the feed for good: what being without it means is asked where they cannot get there after all', () => {
    const talk = aTalk(undefined, 'skin').says().does({ kind: 'leftSaid', said: 'We have left' })
    expect(talk.state.kernel.facts['feed-told-off']).toBe('yes')
  })
})
