import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-example-'))
const committed = readFileSync(join(import.meta.dirname, '../../docs/clinic/examples/report-2025-08.html'), 'utf8')
let made = ''

/** The two commands that docs/clinic/reviewing.md names, at a tenth of the size. */
beforeAll(async () => {
  const year = join(folder, 'year.jsonl')
  expect((await smallhours('year', year, '--seed', 'harbour-2025', '--cases', '400')).code).toBe(0)
  const page = join(folder, 'report.html')
  expect((await smallhours('figures', year, '--month', '2025-08', '--html', page)).code).toBe(0)
  made = readFileSync(page, 'utf8')
}, 60_000)
afterAll(() => rmSync(folder, { recursive: true }))

const all = (text: string, pattern: RegExp) => [...text.matchAll(pattern)].map(([, found]) => found)

describe('the report that is committed as an example', () => {
  it('is what its two commands make: title, notes, look, and every figure in its order with its columns', () => {
    for (const part of [/<title>(.*?)<\/title>/g, /<style>([\s\S]*?)<\/style>/g, /<h2[^>]*>(.*?)<\/h2>/g])
      expect(all(committed, part)).toEqual(all(made, part))
    // Beneath a heading stands the same explanation, but where it names what was found.
    const told = (text: string) => all(text, /<\/h2>\s*<p>(.*?)<\/p>/g).filter(says => !says?.includes('Runs:'))
    expect(told(committed).slice(0, 6)).toEqual(told(made).slice(0, 6))
    // Which concerns have a column hangs on what was written about in so few cases.
    const heads = (text: string) => all(text, /<thead>([\s\S]*?)<\/thead>/g).filter(head => !head?.includes('>hour<'))
    expect(heads(committed)).toEqual(heads(made))
  })
})
