import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'
import { aDataFolder } from './a-data-folder.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-incident-'))
const data = join(folder, 'data')
const file = (name: string) => join(folder, name)
let caseId = ''
let signer = ''

const run = (...words: readonly string[]) => smallhours('incident', ...words, '--data', data)

beforeAll(async () => {
  caseId = (await aDataFolder(data)).caseIds[0] ?? ''
  writeFileSync(file('phrase'), 'five quiet words at night\n')
  writeFileSync(file('other-phrase'), 'five other words at night\n')
  const made = await run(
    caseId,
    '--out',
    file('one.incident'),
    '--purpose',
    'incident 7',
    '--passphrase-file',
    file('phrase'),
    '--without-check',
    '--json',
  )
  signer = JSON.parse(made.out).signer
})
afterAll(() => rmSync(folder, { recursive: true }))

describe('an incident bundle', () => {
  it('holds nothing that can be read, and the audit trail says that it was gathered and for what', async () => {
    const text = readFileSync(file('one.incident'), 'utf8')
    for (const word of [caseId, 'tube-out', 'Zebedee', 'Amara']) expect(text).not.toContain(word)
    expect((await smallhours('audit', 'export', '--data', data)).out).toContain('incident-gathered one case')
  })

  it('opens with its passphrase: transcript with flows, approvals, pages with what became of them, the program', async () => {
    const { code } = await run(
      'open',
      file('one.incident'),
      '--into',
      file('opened'),
      '--passphrase-file',
      file('phrase'),
    )
    expect(code).toBe(0)
    const bundle = JSON.parse(readFileSync(join(file('opened'), 'incident.json'), 'utf8'))
    expect(bundle).toMatchObject({ case: caseId, purpose: 'incident 7', version: 1 })
    expect(bundle.software).toMatch(/^smallhours \d/)
    expect(bundle.flow.hash).toMatch(/^[0-9a-f]{64}$/)
    expect(bundle.pages.length).toBeGreaterThan(0)
    expect(bundle.pages[0]).toMatchObject({ lane: 'page', status: 'sent' })
    expect(bundle.check).toMatchObject({ kind: 'not-walked', why: expect.stringContaining('left for later') })
    expect((await smallhours('transcript', 'check', join(file('opened'), 'transcript.jsonl'))).code).toBe(0)
    // Opened twice it writes over nothing.
    const again = await run('open', file('one.incident'), '--into', file('opened'), '--passphrase-file', file('phrase'))
    expect(again.code).toBe(2)
  })

  it('opens with no other passphrase, and leaves nothing behind', async () => {
    const { code, err } = await run(
      'open',
      file('one.incident'),
      '--into',
      file('not'),
      '--passphrase-file',
      file('other-phrase'),
    )
    expect(code).toBe(1)
    expect(err).toContain('another passphrase')
    expect(existsSync(file('not'))).toBe(false)
  })

  it('verifies without being opened, by the fingerprint that was noted, and by no other', async () => {
    expect((await run('verify', file('one.incident'), '--signer', signer)).code).toBe(0)
    expect((await run('verify', file('one.incident'), '--signer', 'f'.repeat(64))).code).toBe(1)
    expect((await run('verify', file('one.incident'))).out).toContain('noted elsewhere')
  })

  it('with one letter changed, cut off, or of another file, neither verifies nor opens', async () => {
    const text = readFileSync(file('one.incident'), 'utf8')
    const middle = Math.floor(text.length / 2)
    const changed = `${text.slice(0, middle)}${text[middle] === 'A' ? 'B' : 'A'}${text.slice(middle + 1)}`
    for (const [name, spoilt] of [
      ['changed', changed],
      ['cut', text.slice(0, -20)],
      ['none', '{"format":"zip"}'],
      ['empty', ''],
    ] as const) {
      writeFileSync(file(name), spoilt)
      expect((await run('verify', file(name))).code).toBe(1)
      expect(
        (await run('open', file(name), '--into', file(`${name}-opened`), '--passphrase-file', file('phrase'))).code,
      ).toBe(1)
      expect(existsSync(file(`${name}-opened`))).toBe(false)
    }
  })

  it('without a passphrase is sealed with the clinic’s key, and a short passphrase is refused', async () => {
    expect((await run(caseId, '--out', file('two.incident'), '--purpose', 'incident 8', '--without-check')).code).toBe(
      0,
    )
    expect((await run('open', file('two.incident'), '--into', file('two'))).code).toBe(0)
    writeFileSync(file('short'), 'abc')
    expect((await run(caseId, '--out', file('3'), '--purpose', 'x', '--passphrase-file', file('short'))).code).toBe(2)
    expect((await run('no-such-case', '--out', file('4'), '--purpose', 'incident 9')).code).toBe(1)
    expect(existsSync(file('4'))).toBe(false)
  })
})
