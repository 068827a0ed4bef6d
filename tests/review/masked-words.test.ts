import { describe, expect, it } from 'vitest'
import { maskedWords, wordsIn } from '../../src/review/masked-words.ts'

describe('free words for a reviewer', () => {
  const known = wordsIn(["his tube came out, it's twenty minutes ago and there is blood", 'se salió la sonda'])
  const masked = (said: string) => maskedWords(said, word => known.has(word))

  it('keep what anybody may have said, and short numbers', () => {
    expect(masked("His tube came out 20 minutes ago, it's 38.5")).toBe("His tube came out 20 minutes ago, it's 38.5")
    expect(masked('Se salió la sonda')).toBe('Se salió la sonda')
  })

  it('lose every word that is not on the list, whatever it is', () => {
    expect(masked('Zuzana tube out, ring Mr O’Brien at Elm Street')).toBe('▢ tube out, ▢ ▢ ▢ ▢ ▢ ▢')
    expect(masked('tube OUT, цевка вышла')).toBe('tube OUT, ▢ ▢')
  })

  it('lose telephone numbers, dates of birth and addresses, however they are written', () => {
    for (const said of ['+1 212 555 0142', '(212) 555-0142', '2125550142', '04/11/2019', '2019-11-04', '04.11.2019'])
      expect(masked(said), said).not.toMatch(/\d{2}/)
    expect(masked('out@blood.example')).not.toContain('@')
  })
})
