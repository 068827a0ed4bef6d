import { appendFileSync, existsSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'
import { aDataFolder, SECRETS } from './a-data-folder.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-transcript-'))
const data = join(folder, 'data')
const file = (name: string) => join(folder, name)
let caseIds: readonly string[] = []

const run = (...words: readonly string[]) => smallhours(...words, '--data', data)
const exported = async (name: string, ...more: readonly string[]) =>
  JSON.parse((await run('transcript', 'export', file(name), '--json', ...more)).out)
const kinds = (name: string): string[] =>
  readFileSync(file(name), 'utf8')
    .trimEnd()
    .split('\n')
    .map(line => JSON.parse(line).kind)

beforeAll(async () => {
  caseIds = (await aDataFolder(data)).caseIds
})
afterAll(() => rmSync(folder, { recursive: true }))

describe('transcript export', () => {
  it('writes every case of a data folder, de-identified, and the file is as it should be', async () => {
    expect(await exported('all.jsonl')).toMatchObject({ cases: caseIds.length, before: 0, leftOut: 0 })
    const text = readFileSync(file('all.jsonl'), 'utf8')
    for (const secret of [...SECRETS, ...caseIds]) expect(text).not.toContain(secret)
    expect(new Set(kinds('all.jsonl'))).toEqual(new Set(['transcript', 'edition', 'case', 'step', 'sent', 'end']))
    expect((await run('transcript', 'check', file('all.jsonl'))).code).toBe(0)
  })

  it('what the whole bot decided, with its store, pages, alarms and clinicians, replays to the byte', async () => {
    const { code, out } = await run('replay', file('all.jsonl'), '--json')
    expect(JSON.parse(out)).toMatchObject({ cases: caseIds.length, same: caseIds.length, differing: 0, withoutFlow: 0 })
    expect(code).toBe(0)
  })

  it('brings its flows where that is asked, and then replays where nothing else is', async () => {
    await exported('flows.jsonl', '--with-flows')
    expect(kinds('flows.jsonl')).toContain('flows')
    const { code, out } = await smallhours('replay', file('flows.jsonl'), '--json')
    expect(JSON.parse(out)).toMatchObject({ differing: 0, withoutFlow: 0 })
    expect(code).toBe(0)
  })

  it('keeps words, names and numbers only with a purpose, and that purpose stands in the audit trail', async () => {
    expect((await run('transcript', 'export', file('kept.jsonl'), '--keep', 'words')).code).toBe(2)
    expect(
      (await run('transcript', 'export', file('kept.jsonl'), '--keep', 'everything', '--purpose', 'complaint 12')).code,
    ).toBe(2)
    expect(existsSync(file('kept.jsonl'))).toBe(false)
    await exported('kept.jsonl', '--keep', 'words,names,numbers', '--purpose', 'complaint 12, for its reviewers')
    const text = readFileSync(file('kept.jsonl'), 'utf8')
    for (const secret of ['Zebedee', 'Osei', '+12125550142', caseIds[0] ?? '']) expect(text).toContain(secret)
    const trail = (await run('audit', 'export', '--json')).out
    expect(trail).toContain('transcript-exported')
    expect(trail).toContain('with words, names, numbers for: complaint 12, for its reviewers')
    expect(trail).toContain('de-identified')
  })

  it('gives one case by its code or id, and says when there is none', async () => {
    expect(await exported('one.jsonl', '--case', caseIds[1] ?? '')).toMatchObject({ cases: 1 })
    const none = await run('transcript', 'export', file('none.jsonl'), '--case', 'Sun 0000')
    expect([none.code, none.err]).toEqual([1, expect.stringContaining('1 case could not be found')])
  })

  it('takes no day that there is not, and no time that ends before it begins', async () => {
    for (const [from, until] of [
      ['2026-02-30', '2026-04-01'],
      ['2026-05-01', '2026-04-01'],
      ['2026-05-01', '2026-05-01'],
      ['May', '2026-06-01'],
    ] as const) {
      const { code, err } = await run('transcript', 'export', file('days.jsonl'), '--from', from, '--until', until)
      expect([from, until, code]).toEqual([from, until, 2])
      expect(err).toMatch(/^smallhours transcript: --(?:from|until) \S+: a day/)
    }
    expect(existsSync(file('days.jsonl'))).toBe(false)
  })

  it('goes on where it was broken off, and ends as if it never had been', async () => {
    const lines = readFileSync(file('all.jsonl'), 'utf8').trimEnd().split('\n')
    const second = lines.findIndex(
      (line, at) => line.includes('"kind":"case"') && at > lines.findIndex(one => one.includes('"kind":"case"')),
    )
    // In the middle of the second case, and of a line.
    writeFileSync(
      file('broken.jsonl.part'),
      `${lines.slice(0, second + 2).join('\n')}\n${(lines[second + 2] ?? '').slice(0, 40)}`,
    )
    expect(await exported('broken.jsonl')).toMatchObject({ cases: caseIds.length, before: 1 })
    expect((await run('transcript', 'check', file('broken.jsonl'))).code).toBe(0)
    const cases = (name: string) => kinds(name).filter(kind => kind !== 'edition')
    expect(cases('broken.jsonl')).toEqual(cases('all.jsonl'))
    expect(existsSync(file('broken.jsonl.part'))).toBe(false)
  })

  it('never writes over anything, nor through a link', async () => {
    const before = readFileSync(file('all.jsonl'), 'utf8')
    expect((await run('transcript', 'export', file('all.jsonl'))).code).toBe(2)
    expect(readFileSync(file('all.jsonl'), 'utf8')).toBe(before)
    symlinkSync(file('all.jsonl'), file('link.jsonl.part'))
    expect(await run('transcript', 'export', file('link.jsonl'))).toMatchObject({
      code: 1,
      err: expect.stringContaining('is a link: remove it first'),
    })
    expect(readFileSync(file('all.jsonl'), 'utf8')).toBe(before)
  })
})

describe('transcript import', () => {
  it('takes the whole cases of a damaged file, tells each fault by line, and the copy is whole', async () => {
    const lines = readFileSync(file('all.jsonl'), 'utf8').trimEnd().split('\n')
    const step = lines.findIndex(line => line.includes('"kind":"step"'))
    const tampered = lines.with(step, (lines[step] ?? '').replace('"audible":true', '"audible":false'))
    writeFileSync(file('tampered.jsonl'), `${tampered.join('\n')}\n`)
    const { code, out, err } = await run('transcript', 'import', file('tampered.jsonl'), '--json')
    const [taken] = JSON.parse(out).imported
    expect(code).toBe(1)
    expect(err).toContain(`tampered.jsonl:${step + 1}: altered`)
    expect(taken).toMatchObject({ cases: caseIds.length - 1, leftOut: 1 })
    expect((await run('transcript', 'check', taken.file)).code).toBe(0)
    expect((await run('replay', join(data, 'transcripts'))).code).toBe(0)
  })

  it('goes on where it was broken off, with the same file at the end', async () => {
    const take = async () =>
      JSON.parse((await run('transcript', 'import', file('all.jsonl'), '--json')).out).imported[0]
    const { file: taken, before } = await take()
    expect(before).toBe(0)
    const whole = readFileSync(taken, 'utf8')
    // Broken off in its second case.
    const lines = whole.split('\n')
    const cases = lines.flatMap((line, index) => (line.includes('"kind":"case"') ? [index] : []))
    const { chain } = JSON.parse(readFileSync(file('all.jsonl'), 'utf8').split('\n')[0] ?? '')
    const part = join(data, 'transcripts', `import-${chain.slice(0, 16)}.jsonl.part`)
    const broken = lines.slice(0, (cases[1] ?? 0) + 2).join('\n')
    rmSync(taken)
    writeFileSync(part, broken)
    expect(await take()).toMatchObject({ file: taken, before: 1, cases: caseIds.length })
    expect(readFileSync(taken, 'utf8')).toBe(whole)
    // A part of another state of the file is not gone on with: a case that it lacks would be lost.
    const damaged = JSON.parse((await run('transcript', 'import', file('tampered.jsonl'), '--json')).out).imported[0]
    const [, , ...rest] = readFileSync(damaged.file, 'utf8').trimEnd().split('\n').toReversed()
    writeFileSync(part, `${rest.toReversed().join('\n')}\n`)
    const { code, err } = await run('transcript', 'import', file('all.jsonl'))
    expect(code).not.toBe(0)
    expect(err).toContain('of another state of this file')
    rmSync(part)
  })

  it('tells by line what a file appended to another is', async () => {
    const text = readFileSync(file('one.jsonl'), 'utf8')
    writeFileSync(file('two.jsonl'), text)
    appendFileSync(file('two.jsonl'), text)
    const { code, err } = await run('transcript', 'check', file('two.jsonl'))
    expect(code).toBe(1)
    expect(err).toContain('out-of-place')
  })
})
