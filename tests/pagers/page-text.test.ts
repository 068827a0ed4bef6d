import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { fitPageText, pageSeptetsMost } from '../../src/pagers/page-text.ts'
import { inBasicAlphabet, septetsOf } from '../../src/sms/alphabet.ts'

/**
 * 3GPP TS 23.038 section 6.2.1, the GSM 7 bit default alphabet, column by column as the standard prints it (code 0x00
 * to 0x0F, 0x10 to 0x1F, …), and 6.2.1.1, the extension table by code. Written down from memory of the standard.
 */
const columns: readonly string[] = [
  '@£$¥èéùìòÇ\nØø\rÅå',
  'Δ_ΦΓΛΩΠΨΣΘΞ\u001bÆæßÉ',
  ' !"#¤%&\'()*+,-./',
  '0123456789:;<=>?',
  '¡ABCDEFGHIJKLMNO',
  'PQRSTUVWXYZÄÖÑÜ§',
  '¿abcdefghijklmno',
  'pqrstuvwxyzäöñüà',
]
const extensions = new Map([
  [0x0a, '\f'],
  [0x14, '^'],
  [0x28, '{'],
  [0x29, '}'],
  [0x2f, '\\'],
  [0x3c, '['],
  [0x3d, '~'],
  [0x3e, ']'],
  [0x40, '|'],
  [0x65, '€'],
])

const link = 'https://clinic.example/p/7KQ2M9XD'

describe('the basic SMS alphabet is that of 3GPP TS 23.038', () => {
  const basic = columns.join('').replace('\u001b', '')

  test('its table has 128 places, the escape among them', () => {
    expect(columns.map(column => [...column].length)).toEqual(Array(8).fill(16))
    expect([...columns.join('')][0x1b]).toBe('\u001b')
    expect(new Set(basic).size).toBe(127)
  })

  test('a basic character takes one septet, an extension character two, all others none', () => {
    for (const character of basic) expect([character, septetsOf(character)]).toEqual([character, 1])
    for (const character of extensions.values()) expect([character, septetsOf(character)]).toEqual([character, 2])
    let found = 0
    for (let code = 0; code < 0x3000; code += 1) {
      try {
        septetsOf(String.fromCharCode(code))
        found += 1
      } catch (error) {
        expect(error).toBeInstanceOf(RangeError)
      }
    }
    expect(found).toBe(127 + extensions.size)
  })

  test('a two-septet character is never split over the end of a part of 153', () => {
    expect(septetsOf(`${'x'.repeat(151)}€`)).toBe(153)
    expect(septetsOf(`${'x'.repeat(152)}€`)).toBe(155)
    expect(septetsOf(`${'x'.repeat(153)}€`)).toBe(155)
  })
})

describe('text in the basic alphabet', () => {
  test.each([
    ['dicho, aquí no: está fría', 'dicho, aqui no: esta fria'],
    ['mañana ¿sí? ¡ya! è à ü Ñ É È Á', 'mañana ¿si? ¡ya! è à ü Ñ É E A'],
    ['ça va, œuf, façade', 'ca va, oeuf, facade'],
    ['“don’t” – wait… 2½ h', '"don\'t" - wait... 21/2 h'],
    ['38 °C ≥ 2 × 5 → go', '38 degC >= 2 x 5 -> go'],
    ['Łódź Đorđe Þór', 'Lodz Dorde Thor'],
    ['a\u00a0b\tc\r\nd\u0000e\u001bf', 'a b c d e f'],
    ['one👶two 日本 three', 'onetwo three'],
    ['e\u0301 n\u0303 A\u030a', 'é ñ Å'],
    ['\u202efdp\u200b', 'fdp'],
  ])('%j becomes %j', (said, plain) => {
    expect(inBasicAlphabet(said)).toBe(plain)
  })

  test('never leaves a character outside it, and changes nothing the second time', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary', maxLength: 200 }), said => {
        const plain = inBasicAlphabet(said)
        expect(() => septetsOf(plain)).not.toThrow()
        expect(inBasicAlphabet(plain)).toBe(plain)
      }),
    )
  })
})

describe('page text', () => {
  const first = 'GO TO HOSPITAL, told 02:13. Tube out since 01:30-01:45.'

  test('is the parts in order and the link last', () => {
    expect(fitPageText([first, 'New opening.', ' ', 'Case Sun 4719.'], link)).toBe(
      `${first} New opening. Case Sun 4719. ${link}`,
    )
  })

  test('leaves out parts from the last on when too long, never the first', () => {
    const long = 'x'.repeat(120)
    expect(fitPageText([first, 'A.', long, long, 'Z.'], link)).toBe(`${first} A. ${long} ${link}`)
    expect(fitPageText([first, 'x'.repeat(300), 'Z.'], link)).toBe(`${first} ${link}`)
  })

  test('fills 306 septets to the last and not one more', () => {
    const room = pageSeptetsMost - link.length - first.length - 2
    const full = fitPageText([first, 'x'.repeat(room)], link)
    expect(septetsOf(full)).toBe(306)
    expect(fitPageText([first, 'x'.repeat(room + 1)], link)).toBe(`${first} ${link}`)
  })

  test('counts an extension character as two', () => {
    const room = pageSeptetsMost - link.length - first.length - 2
    expect(fitPageText([first, `${'x'.repeat(room - 1)}€`], link)).toBe(`${first} ${link}`)
  })

  test('cuts a first part that is too long by itself at a word, the link still whole', () => {
    const text = fitPageText(['word '.repeat(90), 'Z.'], link)
    expect(text).toMatch(/^(word )+word\.\.\. https:\/\/clinic\.example\/p\/7KQ2M9XD$/)
    expect(septetsOf(text)).toBeGreaterThan(295)
  })

  test('percent-encodes what a link may not hold in this alphabet', () => {
    expect(fitPageText([first], 'https://clinic.example/p/é`x')).toContain('/p/%C3%A9%60x')
  })

  test('refuses to be without its first part, or with a link that leaves it no room', () => {
    expect(() => fitPageText([], link)).toThrow(RangeError)
    expect(() => fitPageText(['日本', 'more'], link)).toThrow(RangeError)
    expect(() => fitPageText([first], `https://clinic.example/${'x'.repeat(230)}`)).toThrow(RangeError)
  })

  test('of any parts is at most 306 septets, begins with the first part and ends with the whole link', () => {
    const part = fc.oneof(
      fc.string({ unit: 'grapheme', maxLength: 120 }),
      fc.string({ unit: fc.constantFrom('€', '[', 'a', ' ', 'é'), maxLength: 320 }),
    )
    fc.assert(
      fc.property(fc.string({ minLength: 1, maxLength: 320 }), fc.array(part, { maxLength: 8 }), (lead, others) => {
        fc.pre(inBasicAlphabet(lead) !== '')
        const text = fitPageText([lead, ...others], link)
        expect(septetsOf(text)).toBeLessThanOrEqual(306)
        expect(text.endsWith(` ${link}`)).toBe(true)
        const sixty = [...inBasicAlphabet(lead)].slice(0, 60).join('')
        // Of an endless word or a cut one at least the words before it are there.
        const shown = sixty.length < 60 ? sixty : sixty.slice(0, Math.max(30, sixty.lastIndexOf(' ')))
        expect(text.startsWith(shown)).toBe(true)
      }),
      { numRuns: 500 },
    )
  })
})
