import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { describe, expect, it } from 'vitest'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { lexiconsAmong } from '../../src/cli/lexicons.ts'
import { factsIn, readTimeLines, timeRow } from '../../src/cli/understand-times.ts'
import { timeFigures } from '../../src/understand/time-figures.ts'

const files = readFlowFiles()
const lexicons = lexiconsAmong(files)
const facts = factsIn(files)
const LINES = fileURLToPath(new URL('../understand/', import.meta.url))

// Invented phrases, labelled by us (common practice, no source): what a careful reader would take them for, as an interval.
describe.each(['en', 'es'])('labelled words about time, %s', language => {
  const lines = readTimeLines(join(LINES, `times.${language}.jsonl`))
  const rows = lines.map(line => timeRow(line, facts, lexicons))
  const figures = timeFigures(rows.map(({ verdict }) => verdict))

  it('are at least 80', () => expect(lines.length).toBeGreaterThanOrEqual(80))

  it('are never read milder than they are', () => {
    expect(rows.filter(({ verdict }) => verdict === 'unsafe').map(({ id }) => id)).toEqual([])
  })

  it('are read right or asked again', () => {
    expect((figures.right + figures.asked) / lines.length).toBeGreaterThanOrEqual(0.98)
  })
})

describe('a labelled line about time', () => {
  const line = {
    id: 'x',
    lang: 'en',
    question: 'travel',
    text: '25 min',
    askedAt: '2026-03-01T07:10:00Z',
    zone: 'America/New_York',
    interval: ['PT25M', 'PT25M'] as [string, string],
  }

  it('gives what was read in the form of its question', () => {
    expect(timeRow(line, facts, lexicons)).toEqual({ id: 'x', verdict: 'right', read: ['PT25M', 'PT25M'] })
    const moment = { ...line, question: 'out-since', text: 'at 1:30', interval: 'unusable' as const }
    expect(timeRow(moment, facts, lexicons)).toEqual({
      id: 'x',
      verdict: 'unsafe',
      read: ['2026-03-01T06:30:00.000Z', '2026-03-01T06:30:00.000Z'],
    })
  })

  it('is refused where the question is not about a time, the interval is none, or the language has no lexicon', () => {
    expect(() => timeRow({ ...line, question: 'device' }, facts, lexicons)).toThrow('no question about a time')
    expect(() => timeRow({ ...line, interval: ['soon', 'later'] }, facts, lexicons)).toThrow('two ISO instants')
    expect(() => timeRow({ ...line, lang: 'fr' }, facts, lexicons)).toThrow(
      'no lexicon for "fr" (there are: en, es): write flows/shared/lexicon.fr.yaml',
    )
  })
})
