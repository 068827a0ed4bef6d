import { describe, expect, it } from 'vitest'
import { aTalk, type CaseTalk, minutesAgo, saidIn, takes } from '../support/case-talk.ts'

// Found by the checker on 2026-11-30, walking what follows "can't travel": a family whose car broke down on the way was taken for
// being on the road, or there, as soon as it fell silent.

const onTheRoad = () => {
  const talk = aTalk().says({ 'in-opening': 'nothing', device: 'balloon-button', 'out-since': minutesAgo(90) })
  talk.answersAll({
    'danger-signs': ['none'],
    travel: takes(30),
    'ring-back': { kind: 'phone', number: '+12125550142' },
    'first-placed': minutesAgo(60 * 24 * 365),
    'fasting-risk': ['none'],
    'have-you-left': 'yes',
  })
  expect(talk.state.kernel.talk).toBe('shared/driving')
  return talk
}
const refuses = (talk: CaseTalk) => talk.does({ kind: 'travelRefused', said: 'the car broke down' })
const heard = (talk: CaseTalk) => talk.replies().flatMap(({ reply }) => saidIn(reply))

describe('a family that cannot travel after all', () => {
  it('is not taken for being on the road when it falls silent', () => {
    const talk = refuses(onTheRoad())
    expect(talk.state.kernel.talk).toBe('shared/stuck')
    const before = heard(talk).length
    talk.waits(30)
    expect(['shared/driving', 'shared/driving-on', 'shared/desk-rest']).not.toContain(talk.state.kernel.talk)
    expect(heard(talk).slice(before)).not.toContain('on-the-road')
    expect(heard(talk).slice(before)).toContain('ask:can-travel')
  })

  it('is asked anew whether it has left, and expected from then', () => {
    const talk = refuses(onTheRoad())
    talk.waits(10).answers('can-travel', 'yes')
    expect(talk.asked()).toBe('have-you-left')
    talk.waits(5).answers('have-you-left', 'yes')
    expect(talk.asked()).toBe('have-you-arrived')
    expect(talk.alarms.get('arrival')).toBeGreaterThanOrEqual(talk.now + 30 * 60_000)
  })

  it('is believed when it writes once more that it has left', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing', device: 'balloon-button', 'out-since': minutesAgo(90) })
    talk.answers('danger-signs', ['none']).answers('travel', takes(30))
    talk.does({ kind: 'leftSaid', said: 'we have left' })
    expect(talk.state.kernel.talk).toBe('shared/driving')
    refuses(talk)
    expect(talk.state.kernel.talk).not.toBe('shared/driving')
    talk.waits(5).does({ kind: 'leftSaid', said: 'on our way again' })
    expect(talk.state.kernel.talk).toBe('shared/driving')
    expect(talk.state.leftAt).toBe(talk.now)
  })

  it('is not taken for being there either, once it said so by mistake', () => {
    const talk = onTheRoad().answers('have-you-arrived', 'yes')
    refuses(talk)
    expect(talk.state.kernel.talk).toBe('shared/stuck')
    expect(talk.state.answers['have-you-arrived']).toBeUndefined()
  })
})
