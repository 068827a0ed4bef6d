import { describe, expect, it } from 'vitest'
import { contextOn, english, typed } from './english.ts'
import { spanish } from './lexicons.ts'

describe('what a frightened person writes instead of an answer', () => {
  it.each(['is anyone there', 'hurry', 'please hurry', 'are you there?', 'sorry, i am back', 'hang on'])(
    '"%s" is no wrong answer: the question is put again without a hint',
    text => expect(typed(text, 'device')).toMatchObject({ kind: 'concern', concerns: [], small: true }),
  )

  it.each(['¿hay alguien ahí?', 'rápido', 'perdón, un momento'])('"%s" neither', text =>
    expect(typed(text, 'device', { lexicon: spanish })).toMatchObject({ small: true }),
  )

  it.each(["I don't think so, he is asleep", 'i dont think so', "don't believe so"])(
    '"%s" to the list of danger signs is doubt, which never reassures',
    text => expect(typed(text, 'danger-signs')).toMatchObject({ answer: { kind: 'unsure' } }),
  )

  it('a plain none of them is one still, misspelt too', () => {
    for (const text of ['none of these', 'non of thes', 'none'])
      expect(typed(text, 'danger-signs')).toMatchObject({ answer: { kind: 'many', values: ['none'] } })
    // "One of these" is a letter away from "none of these", and the opposite.
    expect(typed('one of these', 'danger-signs')).not.toMatchObject({ answer: { values: ['none'] } })
  })
})

describe('a first message that names no trouble', () => {
  const isDistress = (text: string, lexicon = english) => {
    const understood = typed(text, undefined, { lexicon })
    return understood.kind === 'concern' && understood.distress === true
  }

  it.each([
    'something is very wrong with her',
    'he is not right at all',
    'please hurry',
    'shes in pain',
    'she looks awful',
  ])('"%s" says that the child is not well: danger is asked about first', text => expect(isDistress(text)).toBe(true))

  it.each(['la veo muy mal', 'ayuda por favor', 'algo anda mal'])('"%s" too', text =>
    expect(isDistress(text, spanish)).toBe(true),
  )

  it.each(['hello?', 'when do you open', 'her tube came out and shes in pain'])('"%s" says nothing of the kind', text =>
    expect(isDistress(text)).toBe(false),
  )
})

describe('answers in words of their own', () => {
  it.each([
    ['bleed', 'its dripping', 'trickle'],
    ['bleed', 'just a few spots', 'spots'],
    ['bleed', 'it has stopped', 'none'],
    ['flush', 'still blocked', 'still-blocked'],
    ['flush', 'it didnt work', 'still-blocked'],
    ['flush', 'it cleared', 'cleared'],
    ['flush', 'not cleared', 'still-blocked'],
    ['vomit', 'he is retching', 'retching'],
    ['leak-from', 'around the tube', 'around'],
    ['leak-looks', 'milk', 'feed-or-stomach'],
    ['leak-course', 'same for a week, the clinic knows', 'same-known'],
    ['broken-part', 'the cap', 'cap-or-connector'],
    ['medicine-trouble', 'he threw it up', 'came-up'],
    ['medicine-form', 'slow release', 'modified-release'],
    ['who-writes', 'mom', 'parent'],
    ['who-writes', 'his grandma', 'other-family'],
    ['device', 'buton with a baloon', 'balloon-button'],
  ])('%s: "%s" is %s', (fact, text, value) =>
    expect(typed(text, fact)).toMatchObject({ answer: { kind: 'choice', value } }),
  )

  it.each([
    ['bleed', 'it has not stopped'],
    ['bleed', 'it stopped but started again'],
    ['flush', 'nearly cleared'],
    ['leak-course', 'the clinic does not know'],
    ['balloon-empties', 'nothing comes out'],
  ])('%s: "%s" is not read as the milder answer', (fact, text) => {
    const mild = { bleed: 'none', flush: 'cleared', 'leak-course': 'same-known', 'balloon-empties': 'yes' }[fact]
    expect(typed(text, fact)).not.toMatchObject({ answer: { value: mild } })
  })

  it('green or bloody vomit, and blood that soaks, count as the danger sign', () => {
    expect(typed('blood', 'vomit')).toMatchObject({ kind: 'danger', signs: ['green-or-blood-vomit'] })
    expect(typed('its soaking the cloth', 'bleed')).toMatchObject({ kind: 'danger', signs: ['heavy-bleeding'] })
  })
})

describe('words that answer what is asked', () => {
  it('name no other trouble by them: a balloon button to "which tube", dripping to "how much blood"', () => {
    const beside = (text: string, askedBeside: string) => typed(text, undefined, { ...contextOn(), askedBeside })
    expect(beside('the one with the ballon', 'device')).toMatchObject({ concerns: [] })
    expect(beside('the balloon burst', 'bleed')).toMatchObject({ concerns: ['balloon'] })
    expect(beside('dripping', 'bleed')).toMatchObject({ concerns: [] })
  })
})
