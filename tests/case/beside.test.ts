import { describe, expect, test } from 'vitest'
import { aLine, NIGHT, shippedFlows } from '../support/a-line.ts'
import { aTalk, saidIn } from '../support/case-talk.ts'
import { troubleLine } from '../support/two-troubles.ts'

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

  test('decides at once what it would have decided in a first message, though the step that looks at it lies behind', () => {
    const talk = aTalk(aLine(), 'clogged')
      .says()
      .answersAll({
        'danger-signs': ['none'],
        'first-placed': { kind: 'moment', earliest: NIGHT, latest: NIGHT },
      })
    expect([talk.asked(), talk.state.disposition]).toEqual(['early-signs', undefined])
    const said = 'It hurt, bled or needed a push'
    talk.does({ kind: 'factSaid', fact: 'replaced', answer: { kind: 'choice', value: 'pain-blood-or-force' }, said })
    expect(talk.said()[0]).toBe('noted:replaced')
    expect([talk.state.disposition?.id, talk.asked()]).toEqual(['set-out', 'travel'])
    expect(talk.pages()).toHaveLength(1)
  })

  test('leaves what is open in an interruption open', () => {
    const talk = aTalk(aLine(), 'clogged').says().does({ kind: 'personWanted', said: 'person' }).does(noted)
    expect(talk.said()).toEqual(['noted:device', 'ask:ring-back'])
  })

  test('where it was answered otherwise before, both are read back and it is asked', () => {
    const talk = aTalk(aLine(), 'clogged').says({ device: 'balloon-long' }).does(noted)
    expect(talk.said()).toEqual(['both:device', 'ask:device'])
  })
})

test('with nothing more to ask, silence on the number to ring speaks of no question', () => {
  const talk = aTalk(troubleLine(), 'clogged').says().answersAll({ 'danger-signs': 'none', device: 'balloon-button' })
  expect(talk.asked()).toBeUndefined()
  talk.does({ kind: 'personWanted', said: 'person' }).waits(10)
  const silent = talk.replies().find(({ reply }) => saidIn(reply).includes('are-you-there'))
  expect(saidIn(silent?.reply)).toEqual(['are-you-there', 'worse-silent'])
  for (const language of ['en', 'es'])
    expect(shippedFlows.wording.get(language)?.source('say/are-you-there')).not.toMatch(/question|pregunta/i)
})

test.each([
  ['en', /14 Fr.*water, in mL.*another number/],
  ['es', /14 Fr.*agua, en mL.*otro número/],
])('a size typed where water is asked for is said back, each time, in %s', (language, reads) => {
  const talk = aTalk(aLine(), 'balloon').says()
  const open = talk.state.open as NonNullable<typeof talk.state.open>
  talk.state = { ...talk.state, language, open: { ...open, fact: 'balloon-put-in' } }
  for (const said of ['14 Fr', '14 Fr']) {
    talk.does({ kind: 'notUnderstood', reason: 'number-unit', said })
    const [first] = talk.parts()
    expect(first?.kind === 'notice' ? first.text : '').toMatch(reads)
    expect(talk.asked()).toBe('balloon-put-in')
  }
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
