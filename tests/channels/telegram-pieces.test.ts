import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Outgoing, Part } from '../../src/case/message.ts'
import { chatButtons } from '../../src/channels/telegram/buttons.ts'
import { pictureOf } from '../../src/channels/telegram/pictures.ts'
import { answersId, type Piece, partedAtLines, piecesOf } from '../../src/channels/telegram/pieces.ts'
import { instant } from '../../src/time/instant.ts'
import { answersDrawn, digestOf, drawnFrom, PNG_FOLDER, SVG_FOLDER, svgOf } from '../support/drawings-as-png.ts'
import { screenWording } from '../support/screen-words.ts'

const foot = { emergency: { label: 'Emergency', number: '911' }, clinic: { label: 'Clinic', number: '+12125550110' } }
const sign = (what: string) => String(what.length)
const buttons = chatButtons('7', sign, screenWording)
const advice = (id: string, text: string, drawing?: string): Part => ({
  ...{ kind: 'advice', id, text, tags: [] },
  ...(drawing === undefined ? {} : { drawing: { id: drawing, text: `Drawing: ${drawing}.` } }),
})
const question: Part = {
  ...{ kind: 'question', serial: 3, fact: 'device', text: 'Which is it?', several: false, accepts: 'words' },
  options: [
    { value: 'not-sure', label: 'Not sure', apart: true },
    { value: 'one', label: 'One' },
  ],
}
const outgoing = (parts: readonly Part[], more: Partial<Outgoing> = {}): Outgoing => ({
  ...{
    channel: 'telegram',
    chat: '7',
    caseId: 'c',
    effectId: 'c.2.0',
    at: instant(0),
    parts,
    repeated: false,
    audible: true,
  },
  ...more,
})
const pieces = (parts: readonly Part[], more: Partial<Outgoing> = {}): readonly Piece[] =>
  piecesOf(outgoing(parts, more), {
    ...{ wording: screenWording, foot, buttons, hasKeys: false },
    drawing: id => (id === 'flushing' ? Buffer.from('png') : undefined),
  })
const textOf = (piece: Piece | undefined): string => (piece?.kind === 'text' ? piece.message.text : '')

describe('a reply as messages', () => {
  it('is one message: advice numbered, the question, the numbers last, options as buttons with "not sure" at the end', () => {
    const [only, ...more] = pieces([advice('a', 'Cover it.'), advice('b', 'Stop the feed.'), question])
    expect(more).toEqual([])
    expect(textOf(only)).toBe(
      '1. Cover it.\n2. Stop the feed.\n\nWhich is it?\n\nEmergency: 911   Clinic: +12125550110',
    )
    const labels = only?.kind === 'text' ? (only.message.buttons ?? []).flat().map(({ text }) => text) : []
    expect(labels).toEqual(['One', 'Not sure'])
  })

  it('with a drawing is words, picture with its caption, and last the question', () => {
    const [words, picture, asked] = pieces([advice('a', 'Flush gently.', 'flushing'), question])
    expect(textOf(words)).toMatch(/^Flush gently\.\n\nEmergency/)
    expect(picture).toMatchObject({ kind: 'drawing', caption: 'Drawing: flushing.' })
    expect(textOf(asked)).toMatch(/^Which is it\?/)
  })

  it('with answers that are drawn shows them in one picture, numbered as its caption and the buttons are, above the question', () => {
    const drawnAnswers: Part = {
      ...question,
      options: [
        { value: 'not-sure', label: 'Not sure', apart: true, drawing: 'unsure' },
        { value: 'long', label: 'Long tube', drawing: 'balloon-long' },
        { value: 'nasal', label: 'Through the nose', drawing: 'nasal' },
      ],
    } as Part
    const drawing = (id: string) => (id === answersId(['balloon-long', 'nasal']) ? Buffer.from('png') : undefined)
    const framed = { wording: screenWording, foot, buttons, hasKeys: false, drawing }
    const [picture, asked, ...more] = piecesOf(outgoing([drawnAnswers]), framed)
    expect(picture).toMatchObject({ kind: 'drawing', caption: '1. Long tube\n2. Through the nose', silent: true })
    const labels = asked?.kind === 'text' ? (asked.message.buttons ?? []).flat().map(({ text }) => text) : []
    expect(labels).toEqual(['Long tube', 'Through the nose', 'Not sure'])
    expect(more).toEqual([])
    // Other answers than those of the picture: none is shown.
    expect(piecesOf(outgoing([drawnAnswers]), { ...framed, drawing: () => undefined })).toHaveLength(1)
  })

  it('with a drawing that has no picture says its words', () => {
    expect(textOf(pieces([advice('a', 'Measure.', 'no-picture')])[0])).toContain('[Drawing: no-picture.]')
  })

  it('is silent where it asks for no act, and says so when it may be a repeat', () => {
    const [quiet] = pieces([{ kind: 'notice', id: 'n', text: 'Thank you.' }], { audible: false, repeated: true })
    expect(quiet?.kind === 'text' && quiet.message.silent).toBe(true)
    expect(textOf(quiet)).toMatch(/^\(may be a repeat\)/)
  })

  it('names the person who speaks, and lets no words of theirs steer the telephone', () => {
    const [only] = pieces([{ kind: 'person', name: 'A\u202eB', role: 'nurse', text: 'hello\u202e' }])
    expect(textOf(only)).not.toMatch(/\u202e/)
  })

  it('longer than a message may be is parted at lines; buttons stand under the last part', () => {
    const parts = Array.from({ length: 60 }, (_, i) => advice(String(i), `${'word '.repeat(30)}${i}`))
    const all = pieces([...parts, question])
    expect(all.length).toBeGreaterThan(1)
    for (const piece of all) expect(textOf(piece).length).toBeLessThanOrEqual(4_096)
    const joined = all.map(textOf).join('\n')
    for (const [i] of parts.entries()) expect(joined).toContain(`${i + 1}. `)
    expect(all.map(piece => piece.kind === 'text' && piece.message.buttons !== undefined)).toEqual(
      all.map((_, i) => i === all.length - 1),
    )
  })
})

describe('a text in parts', () => {
  it.each([
    ['of exactly what a message may hold', 'x'.repeat(4_096), 1],
    ['of one more', 'x'.repeat(4_097), 2],
    ['of one endless line', 'x'.repeat(10_000), 3],
    ['of nothing', '', 0],
  ])('%s', (_, text, count) => {
    const parts = partedAtLines(text)
    expect(parts).toHaveLength(count)
    expect(parts.join('')).toBe(text)
  })

  it('never cuts a character of two units in half', () => {
    const parts = partedAtLines(`x${'🩸'.repeat(4_000)}`)
    for (const part of parts) expect(part.isWellFormed()).toBe(true)
    expect(parts.join('')).toBe(`x${'🩸'.repeat(4_000)}`)
  })
})

describe('the pictures of drawings', () => {
  const svgs = readdirSync(SVG_FOLDER).filter(name => name.endsWith('.svg'))

  it('are there for every drawing, each drawn from the drawing as it is now (else: node tests/support/drawings-as-png.ts)', () => {
    expect(svgs.length).toBeGreaterThan(5)
    for (const file of svgs) {
      const png = join(PNG_FOLDER, file.replace('.svg', '.png'))
      expect(existsSync(png), png).toBe(true)
      expect(drawnFrom(readFileSync(png)), file).toBe(digestOf(readFileSync(join(SVG_FOLDER, file), 'utf8')))
    }
  })

  it('of answers show those a question of the flows has, in its order, each drawn as it is now', () => {
    expect(answersDrawn().length).toBeGreaterThan(0)
    for (const ids of answersDrawn()) {
      const png = pictureOf(answersId(ids))
      expect(drawnFrom(Buffer.from(png ?? [])), ids.join()).toBe(digestOf(ids.map(svgOf).join('\n')))
    }
  })

  it('are read by id, and by nothing that could be a path', () => {
    expect(pictureOf('flushing')).toBeInstanceOf(Uint8Array)
    expect(pictureOf('../pictures')).toBeUndefined()
    expect(pictureOf('no-such-drawing')).toBeUndefined()
  })
})
