import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { languageOf, languagesFileSchema, languagesOf } from '../../src/understand/language.ts'

const file: unknown = parse(
  readFileSync(fileURLToPath(new URL('../../flows/shared/languages.yaml', import.meta.url)), 'utf8'),
  { version: '1.2' },
)
const languages = languagesOf(file)
const other = (text: string): string | undefined => {
  const found = languageOf(text, languages)
  return typeof found === 'object' ? found.other : found
}

// Lines of our own, from memory of each language: no native reader has looked at them.
describe('the language of a message', () => {
  it.each([
    ['en', 'her tube came out'],
    ['en', 'tube out'],
    ['en', 'HELP'],
    ['en', 'g tube button is leaking milk all over his shirt'],
    ['en', "she's not breathing"],
    ['en', 'hi my son is 3 and the balloon keeps coming out empty'],
    ['en', 'nоt brеаthіng'],
    ['es', 'se le salió el botón'],
    ['es', 'se le salio el boton'],
    ['es', 'la sonda está tapada'],
    ['es', 'ayuda'],
    ['es', 'no respira'],
    ['es', 'mi hijo está morado'],
    ['es', 'LE SALE LECHE ALREDEDOR DEL BOTON'],
    ['es', 'hola buenas noches mi nena tiene fiebre y está vomitando verde'],
    ['fr', 'la sonde est sortie il y a vingt minutes'],
    ['fr', 'mon fils saigne, aidez moi'],
    ['pt', 'a sonda do meu filho saiu, o que eu faço'],
    ['pt', 'minha filha não está respirando'],
    ['ar', 'خرج الأنبوب من بطن ابني'],
    ['zh', '孩子的胃管掉出来了'],
    ['vi', 'ống thông của con tôi bị tuột ra rồi'],
    ['vi', 'ong thong cua con toi bi tuot ra roi'],
    ['ru', 'у ребёнка выпала трубка, помогите'],
    ['uk', 'у моєї дитини випала трубка, допоможіть'],
    ['ht', 'tib pitit mwen an soti, tanpri ede m'],
    ['so', 'tuubadii caloosha ilmahayga way soo baxday fadlan i caawi'],
    ['pl', 'mojemu synowi wypadła rurka, co mam robić'],
    ['hi', 'मेरे बेटे की ट्यूब निकल गई'],
    ['hi', 'mere bete ki tube nikal gayi hai kya karu'],
    ['tl', 'natanggal po ang tubo ng anak ko tulong'],
    ['ko', '아이의 튜브가 빠졌어요'],
    ['ja', 'チューブが抜けました'],
    ['de', 'die Sonde ist raus gefallen bitte hilfe'],
  ])('%s: "%s"', (language, text) => expect(other(text)).toBe(language))

  it('one word that a language lists is no evidence in a longer text of Latin letters', () => {
    expect(other('Era gtube dangling halfway')).toBeUndefined()
    expect(other('kiddo gastro thingy mas squashed')).toBeUndefined()
    expect(other('era')).toBe('es')
  })

  it('mixed languages go to the one with more evidence', () => {
    expect(other('the tube se le salio a mi hijo anoche')).toBe('es')
    expect(other('my daughter her botón came out, qué hago')).toBe('en')
    expect(other('please help 孩子 tube is out')).toBe('en')
  })

  it('words that say no language say none', () => {
    for (const text of ['', '   ', '😭', '12:30', 'xqzt', '+1 202 555 0143'])
      expect([text, other(text)]).toEqual([text, undefined])
  })

  it('the same text always gives the same language, whatever it is, and never throws', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary', maxLength: 200 }), text => {
        expect(languageOf(text, languages)).toEqual(languageOf(text, languages))
      }),
    )
  })

  it('100,000 characters are read in time that grows with their number', () => {
    for (const part of ['tube is out ', 'a', '孩子', 'щ ']) {
      const took = Array.from({ length: 3 }, () => {
        const begun = performance.now()
        languageOf(part.repeat(100_000 / part.length), languages)
        return performance.now() - begun
      })
      expect([part, Math.min(...took) < 1_000]).toEqual([part, true])
    }
  })

  it('a file with a script Unicode has not, or a code that is none, is refused', () => {
    expect(() => languagesOf({ scripts: [{ script: 'Klingon', language: 'zz' }], words: {} })).toThrow(SyntaxError)
    expect(languagesFileSchema.safeParse({ scripts: [], words: { english: 'a' } }).success).toBe(false)
  })
})
