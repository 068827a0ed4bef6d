import { describe, expect, it } from 'vitest'
import { aLine, shippedFlows } from '../support/a-line.ts'
import { aTalk, phone, weeksAgo } from '../support/case-talk.ts'

// What makes a tube doubtful is asked in one question. Each of it alone needs a clinician: 1.33, 1.41, 4.05 and 12.15 of the
// published rows the flows rest on; that one question may stand for several is our choice (common practice, no source).

describe.each([
  ['balloon', 'balloon-doubts'],
  ['feed-trouble', 'feed-doubts'],
])('%s: what makes the tube doubtful', (concern, fact) => {
  const begun = () => aTalk(aLine(), concern).says().answers('danger-signs', ['none'])
  const document = shippedFlows.facts[fact]

  it('is the second question', () => expect(begun().asked()).toBe(fact))

  it.each((document?.values ?? []).filter(value => value !== 'none'))('"%s" has a clinician paged at once', value => {
    const talk = begun().answers(fact, [value])
    if (value === 'put-back' && concern === 'feed-trouble') {
      expect(talk.asked()).toBe('replaced')
      talk.answers('replaced', 'went-in-easily')
      expect(talk.state.disposition?.id).toBe('set-out')
    } else expect(talk.state.disposition?.id).toBe('speak')
    expect(talk.pages().length).toBe(1)
  })

  it('"not sure" is for a clinician too, and each is then asked about by itself', () => {
    const talk = begun().answers(fact, 'unsure')
    expect(talk.state.disposition?.id).toBe('speak')
    expect(talk.asked()).toBe('ring-back')
    const asked: string[] = []
    talk.answers('ring-back', phone)
    for (let next = talk.asked(); next !== undefined && asked.length < 20; next = talk.asked()) {
      asked.push(next)
      talk.answers(next, next === 'first-placed' ? weeksAgo(60) : next === 'replaced' ? 'not-tried' : 'unsure')
    }
    expect(asked).toEqual(expect.arrayContaining(['replaced', 'length-outside', 'pain-on-feed']))
  })

  it('"none of these" decides nothing yet, and none of it is asked again', () => {
    const talk = begun().answers(fact, ['none'])
    expect(talk.state.disposition).toBeUndefined()
    expect(talk.asked()).toBe('first-placed')
  })

  it('what was said in the first message is not asked again: it counts', () => {
    const talk = aTalk(aLine(), concern).says({ 'length-outside': 'longer' }).answers('danger-signs', ['none'])
    expect(talk.state.disposition?.id).toBe('speak')
  })

  it('stands for single questions that there are, every value but "none"', () => {
    const standing = document?.['stands-for'] ?? {}
    expect(Object.keys(standing).toSorted()).toEqual(
      (document?.values ?? []).filter(value => value !== 'none').toSorted(),
    )
    const singles = Object.values(standing).flatMap(each => Object.entries(each))
    expect(singles.filter(([single, out]) => shippedFlows.facts[single] === undefined || out.length === 0)).toEqual([])
  })
})

it('a wrong port is asked about before the number: a line into a vein is an emergency', () => {
  const talk = aTalk(aLine(), 'balloon')
    .says()
    .answers('danger-signs', ['none'])
    .answers('balloon-doubts', ['wrong-port', 'sore'])
  expect(talk.asked()).toBe('wrong-port')
  expect(talk.answers('wrong-port', 'other-line').state.disposition?.id).toBe('ambulance')
})
