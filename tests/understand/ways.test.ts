import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { describe, expect, it } from 'vitest'
import { explain } from '../../src/understand/explain.ts'
import type { Lexicon } from '../../src/understand/lexicon.ts'
import { english } from './english.ts'
import { messages, spanish } from './lexicons.ts'

// Ways of saying each sign, put together from words of a kind (whose, what, how), and near misses that are none: invented
// by us, labelled by us (common practice, no source). Words were added until these were found, so they measure nothing: they
// hold what was won. The fresh rounds in docs/clinic/understanding.md measure.
const LEXICONS: Readonly<Record<'en' | 'es', Lexicon>> = { en: english, es: spanish }

interface Way {
  readonly text: string
  readonly danger: readonly string[]
}
const ways = (language: 'en' | 'es'): readonly Way[] =>
  readFileSync(fileURLToPath(new URL(`./ways.${language}.jsonl`, import.meta.url)), 'utf8')
    .trim()
    .split('\n')
    .map((line): Way => JSON.parse(line))

/** The same text with one slip of the finger in a word of four letters or more, chosen by the number alone. */
function slipped(text: string, number: number): string {
  const words = text.split(' ')
  const long = words.flatMap((word, at) => (/^\p{L}{4,}$/u.test(word) ? [at] : []))
  const at = long[number % Math.max(1, long.length)]
  if (at === undefined) return text
  const letters = [...(words[at] ?? '')]
  const place = 1 + (number % (letters.length - 2))
  const [here = '', next = ''] = letters.slice(place, place + 2)
  const instead = [[next, here], [next], [here, here, next]][number % 3] ?? []
  letters.splice(place, 2, ...instead)
  words[at] = letters.join('')
  return words.join(' ')
}

describe.each(['en', 'es'] as const)('ways of saying a danger sign, %s', language => {
  const lexicon = LEXICONS[language]
  const signsIn = (text: string): readonly string[] => explain(text, lexicon).danger

  it('are enough, with near misses', () => {
    expect(ways(language).filter(({ danger }) => danger.length > 0).length).toBeGreaterThanOrEqual(250)
    expect(ways(language).filter(({ danger }) => danger.length === 0).length).toBeGreaterThanOrEqual(100)
  })

  it('are found, every one', () => {
    const missed = ways(language).filter(({ text, danger }) => danger.some(sign => !signsIn(text).includes(sign)))
    expect(missed).toEqual([])
  })

  it('near misses are no danger', () => {
    const near = ways(language).filter(({ danger }) => danger.length === 0)
    expect(near.filter(({ text }) => signsIn(text).length > 0).map(({ text }) => text)).toEqual([])
  })

  // One slip a message, in a word of four letters or more: 0.87 in both before short words were known misspelt, then 0.94 and 0.93.
  it('a slip of the finger hides few signs, and makes few', () => {
    const lines = messages(language, 'tune').map((line, at) => ({ ...line, read: signsIn(slipped(line.text, at)) }))
    const labelled = lines.flatMap(({ danger, read }) => danger.map(sign => read.includes(sign)))
    expect(labelled.filter(Boolean).length / labelled.length).toBeGreaterThanOrEqual(0.91)
    const said = lines.flatMap(({ danger, read }) => read.map(sign => danger.includes(sign)))
    expect(said.filter(Boolean).length / said.length).toBeGreaterThanOrEqual(0.9)
  })
})

describe('words said otherwise, in English', () => {
  const signsIn = (text: string): readonly string[] => explain(text, english).danger

  it.each([
    ['i cannae wake him', 'drowsy'],
    ['hes not able to breathe', 'breathing'],
    ['lips n tongue r blue', 'colour'],
    ['strugling for breath', 'breathing'],
    ['bood pouring out', 'heavy-bleeding'],
    ['vimit is geren', 'green-or-blood-vomit'],
  ])('"%s" is %s', (text, sign) => expect(signsIn(text)).toContain(sign))

  it.each([
    'Tommys button came out',
    'the tube is 14 french',
    'extension came unconnected',
    'the cloth is wet from the leak',
  ])('"%s" is no danger', text => expect(signsIn(text)).toEqual([]))

  it('what is only supposed is no sign; what is seen beside it is', () => {
    expect(signsIn('can the new meds make him drowsy')).toEqual([])
    expect(signsIn('will she have fits from this')).toEqual([])
    expect(signsIn('what if he goes blue')).toEqual([])
    expect(signsIn('what do i do if he wont wake up')).toContain('drowsy')
    expect(signsIn('will he be ok hes gone blue')).toContain('colour')
  })

  it('what stands before a denial takes nothing of it back', () => {
    expect(signsIn('belly rumbling and a bit bloated, not hard')).toEqual([])
    expect(signsIn('not blue not floppy')).toEqual([])
    expect(signsIn('not not floppy')).toContain('drowsy')
  })
})
