import { describe, expect, it } from 'vitest'
import { aTalk } from '../support/case-talk.ts'

describe('a page', () => {
  it('begins each of its sentences with a capital', () => {
    const talk = aTalk(undefined, 'clogged').says({ device: 'unsure' }).does({ kind: 'personWanted', said: 'person' })
    const [sent] = talk.pages()
    const pieces = sent === undefined ? [] : talk.pageText(sent.page)
    expect(pieces).toContain('Kind of tube not sure.')
    for (const piece of pieces) expect(piece).toMatch(/^[^a-z]/)
  })
})
