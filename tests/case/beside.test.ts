import { describe, expect, test } from 'vitest'
import { aLine } from '../support/a-line.ts'
import { aTalk, saidIn } from '../support/case-talk.ts'

const balloonButton = { kind: 'choice', value: 'balloon-button' } as const
const noted = {
  kind: 'factSaid',
  fact: 'device',
  answer: balloonButton,
  said: 'Flat button, held by a balloon',
} as const

describe('the answer to another question than the open one', () => {
  test('is taken, read back, and not asked; nobody is paged', () => {
    const talk = aTalk(aLine(), 'clogged').says().does(noted)
    expect(talk.said()).toEqual(['noted:device', 'ask:danger-signs'])
    expect(talk.parts()[0]).toMatchObject({ text: 'We took this down. Kind of tube: Flat button, held by a balloon.' })
    expect(talk.pages()).toEqual([])
    talk.answersAll({
      'danger-signs': ['none'],
      'first-placed': { kind: 'moment', earliest: talk.now, latest: talk.now },
    })
    expect(talk.state.answers.device?.answer).toEqual(balloonButton)
  })

  test('where it was answered otherwise before, both are read back and it is asked', () => {
    const talk = aTalk(aLine(), 'clogged').says({ device: 'balloon-long' }).does(noted)
    expect(talk.said()).toEqual(['both:device', 'ask:device'])
  })
})

describe('a question beside the talk', () => {
  test('silence on the number to ring brings that question again, and it stays chased', () => {
    const talk = aTalk(aLine(), 'clogged').says().answers('danger-signs', ['none'])
    const last = () => saidIn(talk.replies().at(-1)?.reply)
    talk.does({ kind: 'personWanted', said: 'person' }).waits(10)
    expect(last()).toEqual(['are-you-there', 'worse-silent', 'ask:ring-back'])
    expect(talk.alarms.has('silent-page')).toBe(true)
    talk.waits(10)
    expect(last()).toEqual(['silence-paged', 'worse-silent', 'ask:ring-back'])
    talk.answers('ring-back', { kind: 'phone', number: '+12125550142' })
    expect(talk.asked()).toBe('first-placed')
  })
})

test('the hint for words that are no answer is of the kind that was asked', () => {
  const hint = (fact: string, reason: 'length-unclear' | 'number-unclear') => {
    const talk = aTalk(aLine(), 'feed-trouble').says()
    talk.state = { ...talk.state, open: { ...(talk.state.open as NonNullable<typeof talk.state.open>), fact } }
    talk.does({ kind: 'notUnderstood', reason, said: 'fish' })
    const [first] = talk.parts()
    return first?.kind === 'notice' ? first.text : ''
  }
  expect(hint('age', 'length-unclear')).toMatch(/age.*"4 months".*"3 years"/)
  expect(hint('travel', 'length-unclear')).toMatch(/"25 minutes"/)
  expect(hint('temperature', 'number-unclear')).toMatch(/°C/)
})
