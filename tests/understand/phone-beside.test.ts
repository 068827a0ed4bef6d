import { describe, expect, it } from 'vitest'
import { understand } from '../../src/understand/understand.ts'
import { contextOn, english } from './english.ts'
import { spanish } from './lexicons.ts'

// Numbers of the range kept for fiction (US 555-0100 to 0199), read as E.164 (ITU-T). What is taken for a number to ring:
// common practice, no source.
const NUMBER = '+12025550143'
const kept = { kind: 'fact', fact: 'ring-back', answer: { kind: 'phone', number: NUMBER } }

const typed = (text: string, fact?: string, lexicon = english) =>
  understand({ kind: 'text', text }, contextOn(fact, { lexicon, ...(fact === undefined ? {} : { answers: {} }) }))

describe('a telephone number typed while something else is asked', () => {
  it.each([
    ['which-tube', '202-555-0143'],
    ['which-tube', 'my cell (202) 555-0143'],
    ['out-since', '+1 202 555 0143'],
    ['ph', '2025550143'],
    ['danger-signs', 'mom 202.555.0143'],
  ])('%s: "%s" is kept, and is no answer to it', (fact, words) => expect(typed(words, fact)).toMatchObject(kept))

  it('beside an answer both are taken', () =>
    expect(typed('not sure, my number is 202 555 0143', 'which-tube')).toMatchObject({
      kind: 'answer',
      answer: { kind: 'unsure' },
      phone: NUMBER,
    }))

  it('beside the wish for a call both are taken', () =>
    expect(typed('you can ring me on 202 555 0143', 'out-since')).toMatchObject({ kind: 'person', phone: NUMBER }))

  it('beside a danger sign both are taken', () =>
    expect(typed('her lips are blue call me 202-555-0143', 'which-tube')).toMatchObject({
      kind: 'danger',
      signs: ['colour'],
      phone: NUMBER,
    }))

  it.each([
    ['out-since', '2026-03-01 01:40'],
    ['out-since', '1/3/2026 at 01.40'],
    ['ph', '5.5'],
    ['which-tube', 'the label says lot 2025550143 size 14 and 1.7 long'],
    ['which-tube', 'call me on 202-555-0143 or 202-555-0187'],
    ['which-tube', 'ring 911'],
  ])('%s: "%s" gives no number to ring', (fact, words) => {
    const heard = typed(words, fact)
    expect(heard.phone).toBeUndefined()
    expect(heard).not.toMatchObject({ fact: 'ring-back' })
  })

  it('in Spanish too', () => {
    expect(typed('mi celular es 202 555 0143', 'which-tube', spanish)).toMatchObject(kept)
    expect(typed('no sé, llámenme al 202 555 0143', 'which-tube', spanish)).toMatchObject({ phone: NUMBER })
  })
})

describe('a first message', () => {
  it('that names a trouble and asks for a call begins with the trouble, and a person is wanted beside', () => {
    const words = 'the button came out, please call me on 202-555-0143'
    expect(typed(words)).toMatchObject({
      kind: 'concern',
      concerns: ['tube-out', 'someone'],
      person: true,
      phone: NUMBER,
    })
    expect(typed('se le salió la sonda, necesito que me llamen', undefined, spanish)).toMatchObject({
      kind: 'concern',
      concerns: ['tube-out', 'someone'],
      person: true,
    })
  })

  it('that only asks for a person is that', () => expect(typed('please call me')).toMatchObject({ kind: 'person' }))

  it('of a number alone keeps it', () =>
    expect(typed('202 555 0143')).toMatchObject({ kind: 'concern', concerns: [], phone: NUMBER }))
})

describe('no number to give', () => {
  it.each([
    ['no', english],
    ['nope', english],
    ["I don't have a phone", english],
    ['my phone is dead', english],
    ['no tengo teléfono', spanish],
    ['no', spanish],
  ])('"%s" is said to be none', (words, lexicon) =>
    expect(typed(words, 'ring-back', lexicon)).toMatchObject({ kind: 'misread', reason: 'phone-none' }),
  )
})
