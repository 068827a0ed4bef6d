import { describe, expect, it } from 'vitest'
import { questionOn, typed } from './english.ts'
import { spanish } from './lexicons.ts'

describe('a bare yes or no, and "as before", to a question with other words on its buttons', () => {
  const putBack = {
    question: questionOn('replaced', {
      'went-in-easily': 'It went in easily',
      'would-not-go': 'No quiso entrar',
      'pain-blood-or-force': 'It hurt, bled or needed a push',
      'not-tried': 'No, it stayed in',
    }),
  }
  it.each(['no', 'No', 'nope', 'no no', 'No.'])('"%s" is the only button that begins with it', text =>
    expect(typed(text, 'replaced', putBack)).toMatchObject({ answer: { kind: 'choice', value: 'not-tried' } }),
  )

  it('words beside the no may say anything: they are asked about', () => {
    expect(typed('no it came out', 'replaced', putBack)).toMatchObject({ kind: 'misread' })
    expect(typed('yes', 'replaced', putBack)).toMatchObject({ kind: 'misread', reason: 'not-an-option' })
  })

  it('where more than one button begins so, it is asked which', () => {
    const question = questionOn('length-outside', {
      same: 'Yes, the same',
      longer: 'No, longer',
      shorter: 'No, shorter',
    })
    expect(typed('yes', 'length-outside', { question })).toMatchObject({ answer: { value: 'same' } })
    expect(typed('no', 'length-outside', { question })).toMatchObject({ kind: 'misread', reason: 'two-answers' })
  })

  it.each([
    ['same as before', 'same'],
    ['the same as always', 'same'],
    ["it hasn't moved", 'same'],
    ['looks the same', 'same'],
    ['as usual', 'same'],
    ['further out', 'longer'],
    ['its deeper now', 'shorter'],
  ])('length outside: "%s" is %s', (text, value) =>
    expect(typed(text, 'length-outside')).toMatchObject({ answer: { kind: 'choice', value } }),
  )

  it.each(['not the same as before', 'same as before but looser', "it doesn't look the same as before"])(
    'length outside: "%s" is not taken for the same',
    text => expect(typed(text, 'length-outside')).not.toMatchObject({ answer: { value: 'same' } }),
  )

  it.each([
    ['igual que antes', 'same'],
    ['lo mismo que siempre', 'same'],
    ['no se ha movido', 'same'],
    ['más salida', 'longer'],
    ['más metida que antes', 'shorter'],
  ])('largo por fuera: "%s" is %s', (text, value) =>
    expect(typed(text, 'length-outside', { lexicon: spanish })).toMatchObject({ answer: { value } }),
  )
})

describe('"no" before one thing, to a question with "none of these" among its answers', () => {
  it.each(['no', 'none', 'no nothing', 'no none of these', 'nope'])('"%s" is none of them', text =>
    expect(typed(text, 'danger-signs')).toMatchObject({ kind: 'answer' }),
  )

  it.each(['no pain', 'no fits', 'no fever', 'no asleep', 'no blood'])(
    '"%s" says of one thing how it is: the danger question is asked again',
    text => expect(typed(text, 'danger-signs')).toMatchObject({ kind: 'misread', reason: 'not-an-option' }),
  )

  it('"no pain" does not say that nothing leaks', () =>
    expect(typed('no pain', 'leak-from')).toMatchObject({ kind: 'misread', reason: 'not-an-option' }))
})
