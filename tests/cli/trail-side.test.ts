import { beforeEach, describe, expect, it } from 'vitest'
import type { AccountStore } from '../../src/accounts/account-store.ts'
import { type AuditAct, type AuditLine, nextLine } from '../../src/accounts/audit.ts'
import { trailSide } from '../../src/cli/trail-side.ts'
import { after, minutes } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { someone } from '../support/console-people.ts'
import { screenTexts, screenWording } from '../support/screen-words.ts'

const ALL = { who: '', did: '' }

describe('the page of the audit trail', () => {
  let lines: AuditLine[]
  const add = (act: Omit<AuditAct, 'at'>) =>
    lines.push(nextLine({ at: after(NIGHT, minutes(lines.length)), ...act }, lines.at(-1)))
  const store = {
    audit: async () => lines,
    auditHead: async () => lines.at(-1),
    async change(act: AuditAct) {
      lines.push(nextLine(act, lines.at(-1)))
      return 'done'
    },
  } as unknown as AccountStore
  const side = trailSide({ store: () => store, line: aLine, now: () => NIGHT, wording: screenWording })

  beforeEach(() => {
    lines = []
    add({ who: 'machine', did: 'invited', on: 'malia' })
    add({ who: 'malia', did: 'signed-in', on: 's1' })
    add({ who: 'amara', did: 'approved', on: 'skin', before: 'a'.repeat(64), after: 'b'.repeat(64) })
  })

  it('has the latest first, with names and words, and short hashes', async () => {
    const { rows, verified, head } = await side.trail(ALL, undefined)
    expect(rows.map(({ line, who, did, on }) => `${line} ${who} ${did} ${on}`)).toEqual([
      '3 Amara Osei approved skin',
      '2 Malia Kealoha signed in s1',
      '1 somebody at the machine invited Malia Kealoha',
    ])
    expect(rows[0]?.change).toBe('from aaaaaaaaaaaa to bbbbbbbbbbbb')
    expect(verified).toEqual({ isWhole: true, says: ['Every line is as it was written, from the first to the last.'] })
    expect(head).toBe(`3:${lines[2]?.hash}`)
  })

  it('has words for every deed, and shows one that it has none for by its id', async () => {
    const { deeds } = await side.trail(ALL, undefined)
    expect(deeds.filter(({ value }) => screenTexts[`trail-did-${value}`] === undefined)).toEqual([])
    add({ who: 'amara', did: 'deed-of-tomorrow' as 'approved', on: 'skin' })
    expect((await side.trail(ALL, undefined)).rows[0]?.did).toBe('deed-of-tomorrow')
  })

  it('says a line that was changed, and an end that was cut off', async () => {
    const end = lines.at(-1)
    lines[1] = { ...(lines[1] as AuditLine), who: 'amara' }
    expect((await side.trail(ALL, undefined)).verified).toMatchObject({
      isWhole: false,
      says: ['THE TRAIL IS NOT AS IT WAS WRITTEN.', 'line 2 is not as it was written'],
    })
    const cut = trailSide({
      ...{ line: aLine, now: () => NIGHT, wording: screenWording },
      store: () => ({ ...store, audit: async () => lines.slice(0, 1), auditHead: async () => end }) as AccountStore,
    })
    expect((await cut.trail(ALL, undefined)).verified.says.join()).toContain('cut off after line 1')
  })

  it('is filtered by person and deed, a hundred lines at a time', async () => {
    for (let count = 0; count < 150; count += 1) add({ who: 'ingrid', did: 'signed-in', on: `s${count}` })
    const first = await side.trail({ who: 'ingrid', did: 'signed-in' }, undefined)
    expect([first.rows.length, first.rows[0]?.line, first.rows.at(-1)?.line]).toEqual([100, 153, 54])
    expect(first.earlier).toBe('/trail?who=ingrid&did=signed-in&before=54')
    const rest = await side.trail({ who: 'ingrid', did: 'signed-in' }, 54)
    expect([rest.rows.length, rest.earlier]).toEqual([50, undefined])
    expect((await side.trail({ who: 'amara', did: 'signed-in' }, undefined)).rows).toEqual([])
  })

  it('is taken out whole, and that it was taken out is its last line', async () => {
    const out = (await side.exported(someone()))
      .trimEnd()
      .split('\n')
      .map(text => JSON.parse(text) as AuditLine)
    expect(out.map(({ did }) => did)).toEqual(['invited', 'signed-in', 'approved', 'audit-exported'])
    expect(out.at(-1)?.who).toBe('amara')
  })
})
