import fc from 'fast-check'
import smpp from 'smpp'
import { describe, expect, it } from 'vitest'
import { segmentsOf } from '../../src/sms/segments.ts'

/** What the parts say together: decoded by the package, not by the code under test. */
function said(text: string): string {
  const { coding, parts } = segmentsOf(text, 7)
  const { decode } = smpp.encodings[coding === 0 ? 'ASCII' : 'UCS2']
  return parts.map(({ octets }) => decode(octets)).join('')
}

describe('a text cut into short messages', () => {
  // 3GPP TS 23.038 and TS 23.040: 160 septets or 70 units whole, 153 septets or 67 units beside a header (from memory).
  it.each([
    ['x', 160, 1],
    ['x', 161, 2],
    ['x', 306, 2],
    ['x', 307, 3],
    ['€', 80, 1],
    ['€', 81, 2],
    ['€', 152, 2],
    ['€', 153, 3],
    ['ы', 70, 1],
    ['ы', 71, 2],
    ['ы', 134, 2],
    ['ы', 135, 3],
  ])('of %s, %i times, takes %i', (letter, times, count) => {
    expect(segmentsOf(letter.repeat(times)).parts).toHaveLength(count)
  })

  it('has the header of the standard, with the number of each part', () => {
    const { parts } = segmentsOf('x'.repeat(400), 0x2a)
    expect(parts.map(({ header }) => header?.toString('hex'))).toEqual(['0500032a0301', '0500032a0302', '0500032a0303'])
  })

  it('is never cut within a character, and says the same again', () => {
    const letters = fc.constantFrom('x', '€', '[', 'ñ', '@', 'é')
    fc.assert(
      fc.property(fc.string({ unit: letters, maxLength: 700 }), text => {
        expect(said(text)).toBe(text)
      }),
    )
    const others = fc.constantFrom('x', 'ы', '👶', '中')
    fc.assert(
      fc.property(fc.string({ unit: others, maxLength: 300 }), text => {
        for (const { octets } of segmentsOf(`ы${text}`).parts) expect(octets.length % 2).toBe(0)
        expect(said(`ы${text}`)).toBe(`ы${text}`)
      }),
    )
  })

  it('of more than 255 parts is refused', () => {
    expect(() => segmentsOf('x'.repeat(153 * 255))).not.toThrow()
    expect(() => segmentsOf('x'.repeat(153 * 255 + 1))).toThrow('256 short messages; expected at most 255')
  })
})
