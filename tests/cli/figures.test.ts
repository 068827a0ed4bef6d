import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

/** The row that counts every case. */
const allCases = (tables: readonly { id: string; rows: unknown[][] }[]) => [
  ...(tables.find(({ id }) => id === 'overview')?.rows[0] ?? []),
]

describe('an invented year and its figures', () => {
  let folder: string
  let year: string
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-figures-'))
    year = join(folder, 'year.jsonl')
    expect((await smallhours('year', year, '--cases', '40', '--seed', 'a test')).code).toBe(0)
  })
  afterAll(() => rmSync(folder, { recursive: true }))

  it('is written once, decides the same when it is replayed, and is the same for the same seed', async () => {
    expect((await smallhours('year', year)).code).toBe(2)
    const replayed = await smallhours('replay', year)
    expect([replayed.code, replayed.out]).toEqual([0, expect.stringContaining('40 decided the same, 0 not')])
    const again = join(folder, 'again.jsonl')
    await smallhours('year', again, '--cases', '40', '--seed', 'a test')
    const steps = (file: string) =>
      readFileSync(file, 'utf8')
        .split('\n')
        .filter(line => line.includes('"kind":"step"'))
        .map(line => line.replace(/,"chain".*/, ''))
    expect(steps(again)).toEqual(steps(year))
  })

  it('gives tables, one CSV a table, JSON and a page with its drawings beside their tables', async () => {
    const printed = await smallhours('figures', year)
    expect(printed.code).toBe(0)
    expect(printed.out).toMatch(/all cases +40 /)
    expect(printed.out).toContain('not shown')
    const [csv, html] = [join(folder, 'csv'), join(folder, 'report.html')]
    expect((await smallhours('figures', year, '--csv', csv, '--html', html, '--pictures')).code).toBe(0)
    expect(readdirSync(csv)).toContain('hours.csv')
    expect(readFileSync(join(csv, 'overview.csv'), 'utf8')).toContain('all cases,40,–,–,–,–\r\n')
    const page = readFileSync(html, 'utf8')
    expect(page).toContain('role="img" aria-labelledby="plot-waits-title plot-waits-desc"')
    expect(page).toContain('gave up')
    expect(page).not.toMatch(/<script|https?:\/\/(?!www\.w3\.org)/)
    const { tables } = JSON.parse((await smallhours('figures', year, '--json')).out)
    expect(allCases(tables)).toEqual(['all cases', 40, { none: true }, { none: true }, { none: true }, { none: true }])
    expect((await smallhours('figures', year, '--html', html)).code).toBe(2)
  })

  it('of one month count that month alone', async () => {
    const { tables } = JSON.parse((await smallhours('figures', year, '--month', '2025-13', '--json')).out || '{}')
    expect(tables).toBeUndefined()
    const months = Array.from({ length: 12 }, (_, index) => `2025-${String(index + 1).padStart(2, '0')}`)
    const one = await smallhours('figures', year, '--month', months[6] ?? '', '--json')
    const counted = allCases(JSON.parse(one.out).tables)[1]
    expect(counted === undefined || counted === 40).toBe(false)
  })

  /** Bad input B44: a damaged file is told by line, and what is whole is counted. */
  it('of a file that was cut off or altered say where, and count the rest', async () => {
    const lines = readFileSync(year, 'utf8').split('\n')
    const cut = join(folder, 'cut.jsonl')
    writeFileSync(cut, `${lines.slice(0, Math.floor(lines.length / 2)).join('\n')}\n`)
    const told = await smallhours('figures', cut, '--json')
    expect(told.code).toBe(1)
    expect(told.err).toContain('cut.jsonl')
    const counted = allCases(JSON.parse(told.out).tables)[1]
    expect(counted).toBeGreaterThan(5)
    expect(counted).toBeLessThan(40)
  })

  it('want transcripts or a data folder, and one of the two', async () => {
    expect((await smallhours('figures')).code).toBe(2)
    expect((await smallhours('figures', year, '--data', folder)).code).toBe(2)
    expect((await smallhours('figures', join(folder, 'nothing.jsonl'))).code).toBe(2)
  })

  it('of a data folder that was never served, or has no case, are empty', async () => {
    const data = join(folder, 'data')
    expect((await smallhours('figures', '--data', data)).code).toBe(2)
    expect(existsSync(data)).toBe(false)
  })
})
