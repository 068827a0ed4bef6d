import { describe, expect, it } from 'vitest'
import type { Lexicon } from '../../src/understand/lexicon.ts'
import { english, typed } from './english.ts'
import { sharedFile, spanish } from './lexicons.ts'

// A text message has no buttons: what a reply tells a family to write has to be understood, letter for letter.
const LANGUAGES: readonly (readonly [string, Lexicon])[] = [
  ['en', english],
  ['es', spanish],
]
const OFFERS = [
  ['say/here-still', 'person'],
  ['say/emergency-stays', 'wrong-tap'],
] as const

describe.each(LANGUAGES)('the words a reply offers, %s', (language, lexicon) => {
  const wording = sharedFile(`wording.${language}.yaml`) as Readonly<Record<string, string>>

  it.each(OFFERS)('%s: what stands in quotation marks is read as %s', (id, kind) => {
    const offered = /"([^"]+)"/.exec(wording[id] ?? '')?.[1] ?? ''
    expect([offered, typed(offered, 'danger-signs', { lexicon }).kind]).toEqual([offered, kind])
  })
})
