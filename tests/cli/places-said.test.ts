import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-places-'))
const at = (...names: readonly string[]) => join(folder, ...names)
const year = at('year.jsonl')

beforeAll(async () => {
  expect((await smallhours('year', year, '--cases', '6')).code).toBe(0)
  mkdirSync(at('empty'))
  symlinkSync(at('elsewhere'), at('link'))
  writeFileSync(at('nothing.jsonl'), 'day;cases\r\n1;2\r\n')
})
afterAll(() => rmSync(folder, { recursive: true }))

/** Each command that writes, without the name it writes to. */
const WRITES: readonly [what: string, words: (out: string) => readonly string[]][] = [
  ['year', out => ['year', out, '--cases', '1']],
  ['figures --html', out => ['figures', year, '--html', out]],
  ['figures --csv', out => ['figures', year, '--csv', out]],
  ['what-if --html', out => ['what-if', year, '--settings', 'closure-latest=PT3H', '--html', out]],
  ['export fhir', out => ['export', 'fhir', year, '--out', out]],
  ['export cloudevents', out => ['export', 'cloudevents', year, '--out', out]],
  ['incident', out => ['incident', 'Sun 1', '--purpose', 'a test', '--out', out]],
]

describe.each(WRITES)('%s', (_what, words) => {
  it('says at once that its folder is not there, that something of its name is, or a link', async () => {
    const told = [at('none', 'x'), at('year.jsonl', 'x'), year, at('empty'), at('link')]
    for (const out of told) {
      const { code, err, out: printed } = await smallhours(...words(out))
      expect([out, code, printed]).toEqual([out, 2, ''])
      expect(err).toMatch(
        new RegExp(`${out}(?:: there is no folder .*: make it first| is there already: name another)`),
      )
    }
    expect(readdirSync(folder).toSorted()).toEqual(['empty', 'link', 'nothing.jsonl', 'year.jsonl'])
  })
})

describe('a data folder that is named', () => {
  const reads = [
    ['figures'],
    ['review', 'report'],
    ['transcript', 'export', at('x.jsonl')],
    ['incident', 'Sun 1', '--purpose', 'a test', '--out', at('x')],
  ]
  it('and is none of a bot is left as it is', async () => {
    for (const words of reads)
      for (const data of ['empty', 'none']) {
        const { code, err } = await smallhours(...words, '--data', at(data))
        expect([words, data, code]).toEqual([words, data, 2])
        expect(err).toMatch(data === 'none' ? /there is no such folder/ : /nothing of a bot is in it/)
      }
    expect([readdirSync(at('empty')), existsSync(at('none'))]).toEqual([[], false])
  })

  it('and is not there is said, also where it is only looked into for flows', async () => {
    for (const words of [
      ['replay', year],
      ['what-if', year, '--settings', 'closure-latest=PT3H'],
      ['export', 'fhir', year, '--out', at('x')],
      ['transcript', 'import', year],
    ]) {
      const { code, err } = await smallhours(...words, '--data', at('none'))
      expect([words, code]).toEqual([words, 2])
      expect(err).toContain(`--data ${at('none')}: there is no such folder`)
    }
    expect(existsSync(at('none'))).toBe(false)
  })
})

describe('files of which nothing can be read', () => {
  it('give no empty output: it is said, and nothing is written', async () => {
    const nothing = at('nothing.jsonl')
    expect((await smallhours('replay', nothing)).out).toBe('No case could be read: nothing was run again.\n')
    for (const [words, said] of [
      [['export', 'fhir', nothing, '--out', at('x')], 'was not written'],
      [['figures', nothing, '--html', at('x')], 'there are no figures'],
      [
        ['figures', year, '--month', '2031-01', '--html', at('x')],
        'no case of 2031-01 was counted; there are cases from 2025-',
      ],
    ] as const) {
      const { code, out, err } = await smallhours(...words)
      expect([words, code, out]).toEqual([words, 1, ''])
      expect(err).toContain(said)
      expect(existsSync(at('x'))).toBe(false)
    }
  })

  it('a folder, and a file that is not packed, are named in words', async () => {
    writeFileSync(at('packed.jsonl.gz'), 'not packed')
    const { err } = await smallhours('transcript', 'check', at('packed.jsonl.gz'))
    expect(err).toContain('packed.jsonl.gz:1: cut-off: the packed file cannot be unpacked')
    expect((await smallhours('transcript', 'check', at('empty'))).err).toContain(
      'no transcript (.jsonl or .jsonl.gz) is in it',
    )
    const verified = await smallhours('incident', 'verify', at('empty'))
    expect([verified.code, verified.err]).toEqual([2, expect.stringContaining(`${at('empty')}: there is no such file`)])
  })
})
