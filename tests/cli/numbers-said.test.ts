import { describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

/** Every option that takes a number, in a call that is otherwise well. */
const CALLS: readonly [option: string, words: readonly string[]][] = [
  ['--cases', ['year', 'never-written.jsonl']],
  ['--year', ['year', 'never-written.jsonl']],
  ['--most', ['replay', 'package.json']],
  ['--examples', ['what-if', 'package.json', '--flows', 'flows']],
  ['--cores', ['what-if', 'package.json', '--flows', 'flows']],
  ['--days', ['rota', 'gaps']],
  ['--wait', ['callout', 'test', 'amara']],
  ['--port', ['callout', 'test', 'amara']],
  ['--port', ['serve']],
  ['--metrics-port', ['serve']],
  ['--finding', ['draw', 'tube-out']],
  ['--from', ['audit', 'export']],
]

describe('an option that takes a number', () => {
  it.each(CALLS)('%s: what is none is given back with what was expected', async (option, words) => {
    for (const said of ['-3', 'three', '1e3', '0x10', '', '99999999999999999999']) {
      const { code, out, err } = await smallhours(...words, option, said)
      expect([said, code, out]).toEqual([said, 2, ''])
      expect(err).toContain(`${option} ${said}: `)
      expect(err).toMatch(/(?:was|were) expected/)
      expect(err).not.toContain('ambiguous')
    }
  })
})
