import { describe, expect, it } from 'vitest'
import { explain } from '../../src/understand/explain.ts'
import { understand } from '../../src/understand/understand.ts'
import { contextOn, english } from './english.ts'
import { spanish } from './lexicons.ts'

const danger = (text: string, lexicon = english): readonly string[] => explain(text, lexicon).danger
const concerns = (text: string, lexicon = english): readonly string[] => explain(text, lexicon).concerns

describe('words in strange clothes', () => {
  it('look-alike letters of other alphabets hide no danger sign and no concern', () => {
    expect(danger('ѕhе іѕ nоt brеаthіng')).toEqual(['breathing'])
    expect(danger('está mоrado', spanish)).toEqual(['colour'])
    expect(concerns('the tubе cаmе оut')).toEqual(['tube-out'])
    expect(concerns('se le sаliо el bоtоn', spanish)).toEqual(['tube-out'])
  })

  it('marks that turn text right to left, and zero-width letters, hide nothing', () => {
    expect(danger('\u202eshe is not breathing\u202c')).toEqual(['breathing'])
    expect(danger('\u2067no res\u200bpira\u2069', spanish)).toEqual(['breathing'])
    expect(concerns('\u200ftube\u200f is \u200eblocked')).toEqual(['clogged'])
  })

  it('right-to-left script beside English words leaves them readable', () => {
    expect(danger('ابني not breathing')).toEqual(['breathing'])
    expect(concerns('הצינור tube came out')).toEqual(['tube-out'])
  })

  it('markup is text, and hides nothing', () => {
    expect(danger('<b>lips</b> are <i>blue</i>')).toEqual(['colour'])
    expect(concerns('<script>alert(1)</script> la sonda está <u>tapada</u>', spanish)).toEqual(['clogged'])
    expect(concerns('**tube** is _leaking_ `milk`')).toEqual(['leaking'])
  })

  it('danger is found at either end of 100,000 characters, in both languages', () => {
    const filler = 'we are at home with the tube. '.repeat(3_334)
    expect(filler.length).toBeGreaterThan(100_000)
    expect(danger(`${filler}she is not breathing`)).toContain('breathing')
    expect(danger(`she is not breathing. ${filler}`)).toContain('breathing')
    expect(danger(`${'estamos en casa con la sonda. '.repeat(3_400)}no respira`, spanish)).toContain('breathing')
  })

  // Outside check: 1 Fr is 1/3 mm of outer diameter, so 9 Fr is 3.0 mm, 12 Fr 4.0 mm and 14 Fr 4.7 mm ("French catheter scale",
  // encyclopaedia page, stored copy of 2023-10; the text of an ISO standard was not read). A size is no volume in either form:
  // none of them is taken for mL, nor mL for a size. Nothing here computes with a size.
  it('a size in Fr, mm or cm is never taken for mL of water', () => {
    const SIZES = [9, 12, 14].map(french => [french, (french / 3).toFixed(1)] as const)
    expect(SIZES).toEqual([
      [9, '3.0'],
      [12, '4.0'],
      [14, '4.7'],
    ])
    for (const fact of ['balloon-put-in', 'balloon-came-out'])
      for (const [french, across] of SIZES)
        for (const text of [
          `${french} Fr`,
          `${french}fr`,
          `${french} french`,
          `ch ${french} ch`,
          `${french} ch`,
          `${across} mm`,
          `${across}mm`,
          `${across} cm`,
        ])
          expect([text, understand({ kind: 'text', text }, contextOn(fact))]).toMatchObject([
            text,
            { kind: 'misread', reason: 'number-unit', said: text },
          ])
  })

  it('a bare number that may be a size in Fr is said back and asked for in mL; with its unit it counts', () => {
    for (const [lexicon, unit] of [
      [english, 'ml'],
      [spanish, 'mililitros'],
    ] as const)
      for (const fact of ['balloon-put-in', 'balloon-came-out'])
        for (const size of [12, 14, 16, 18, 20, 24]) {
          const context = { ...contextOn(fact), lexicon }
          expect(understand({ kind: 'text', text: `${size}` }, context)).toMatchObject({
            kind: 'misread',
            reason: 'number-unit',
            said: `${size}`,
          })
          for (const text of [`${size} ${unit}`, `${size}${unit}`, `${size} mL`])
            expect([text, understand({ kind: 'text', text }, context)]).toMatchObject([
              text,
              { kind: 'answer', answer: { kind: 'number', value: size } },
            ])
        }
    expect(understand({ kind: 'text', text: '5' }, contextOn('balloon-put-in'))).toMatchObject({
      kind: 'answer',
      answer: { value: 5 },
    })
  })

  it('volumes, sizes and lengths with the unit of another are asked again', () => {
    for (const [fact, text] of [
      ['balloon-put-in', '14 Fr'],
      ['balloon-put-in', '5 mm'],
      ['balloon-put-in', '4.7 mm'],
      ['balloon-came-out', '14fr'],
      ['balloon-came-out', '3 cm'],
      ['balloon-came-out', '12 french'],
      ['ph', '5 ml'],
    ] as const)
      expect([text, understand({ kind: 'text', text }, contextOn(fact))]).toMatchObject([
        text,
        { kind: 'misread', reason: 'number-unit' },
      ])
  })

  it('two languages in one message: the words of the language it is read in still count', () => {
    expect(concerns('se le salio el g tube please ayuda', spanish)).toEqual(['tube-out'])
    expect(danger('mi hijo is not breathing')).toEqual(['breathing'])
    expect(concerns('el botón is leaking milk por favor')).toEqual(['leaking'])
  })

  it('accents may be there or not', () => {
    for (const text of ['se le salió el botón', 'se le salio el boton', 'SE LE SALIÓ EL BOTÓN'])
      expect([text, concerns(text, spanish)]).toEqual([text, ['tube-out']])
    for (const text of ['no está respirando', 'no esta respirando'])
      expect(danger(text, spanish)).toEqual(['breathing'])
  })
})

describe('denied, supposed and past, in Spanish', () => {
  it.each([
    'no está morado',
    'sin fiebre ni sangre',
    'no tiene los labios azules',
    'respira bien',
    'no vomitó verde',
    'tuvo una convulsión el año pasado',
    'la pinza azul',
    'el tubo verde',
    'está dormida y tranquila',
    'no está pálido ni morado',
  ])('"%s" is no danger', text => expect(danger(text, spanish)).toEqual([]))

  it.each([
    ['no está muy morado', 'colour'],
    ['no, está morado', 'colour'],
    ['no tiene fiebre, está morado', 'colour'],
    ['no sé si respira', 'breathing'],
    ['creo que no respira', 'breathing'],
    ['ya no convulsiona', 'fit'],
    ['NO DESPIERTA', 'drowsy'],
    ['no despierta', 'drowsy'],
    ['vomitó, no era leche, era verde', 'green-or-blood-vomit'],
  ])('"%s" is not dropped', (text, sign) => expect(danger(text, spanish)).toContain(sign))
})
