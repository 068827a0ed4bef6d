import { describe, expect, it } from 'vitest'
import { standingOf } from '../../src/config/approvals.ts'
import type { Person } from '../../src/oncall/clinic.ts'
import { sha256 } from '../../src/runtime/system-clock.ts'
import { instant } from '../../src/time/instant.ts'

const now = instant(Date.parse('2026-03-01T07:10:00Z'))
const hash = sha256('what families are told')
const other = sha256('what families were told')
const subject = { id: 'tube-out', hash, languages: ['en'] }

const person = (id: string, more: Partial<Person> = {}): Person => ({
  kind: 'person',
  id,
  name: `${id} Test`,
  job: 'nurse',
  clinician: true,
  approves: true,
  left: false,
  pageAt: [],
  ...more,
})
const people = [
  person('nadia'),
  person('omar'),
  person('vera'),
  person('noor', { approves: false }),
  person('clara', { clinician: false }),
  person('gone', { left: true }),
]

const line = (by: string, given: { at?: string; hash?: string; languages?: string } = {}) =>
  `- { by: ${by}, at: "${given.at ?? '2026-02-01T10:00:00Z'}", hash: "${given.hash ?? hash}", languages: ${given.languages ?? '[en]'} }\n`

const standing = (text: string | undefined, of = subject) =>
  standingOf(of, 'approvals/tube-out.yaml', text, { people }, now)
const codes = (text: string | undefined, of = subject) => standing(text, of).refusals.map(({ code }) => code)

describe('an approval counts', () => {
  it('where two different clinicians who may approve signed exactly this content', () => {
    const both = standing(line('nadia') + line('omar', { at: '2026-02-02T10:00:00Z' }))
    expect(both).toMatchObject({ isApproved: true, refusals: [], withdrawn: [] })
    expect(both.counted.map(({ by }) => by)).toEqual(['nadia', 'omar'])
  })

  it.each([
    ['nobody', undefined, ['NOT_APPROVED']],
    ['one', line('nadia'), ['NOT_APPROVED']],
    ['one twice', line('nadia') + line('nadia'), ['NOT_APPROVED', 'APPROVAL_TWICE']],
    ['one and a stranger', line('nadia') + line('nadja'), ['NOT_APPROVED', 'APPROVAL_STRANGER']],
    ['one and one without the right', line('nadia') + line('noor'), ['NOT_APPROVED', 'APPROVAL_WITHOUT_RIGHT']],
    ['one and one who is no clinician', line('nadia') + line('clara'), ['NOT_APPROVED', 'APPROVAL_WITHOUT_RIGHT']],
    ['one and one who has left', line('nadia') + line('gone'), ['NOT_APPROVED', 'APPROVAL_LEFT']],
    [
      'one and one of tomorrow',
      line('nadia') + line('omar', { at: '2026-03-02T07:10:00Z' }),
      ['NOT_APPROVED', 'APPROVAL_FUTURE'],
    ],
    ['one and one of an older content', line('nadia') + line('omar', { hash: other }), ['NOT_APPROVED']],
    [
      'one and a hash that is short',
      line('nadia') + line('omar', { hash: hash.slice(0, 12) }),
      ['NOT_APPROVED', 'WRONG_VALUE'],
    ],
    ['two, one of whom read another language', line('nadia') + line('omar', { languages: '[es]' }), ['NOT_APPROVED']],
    [
      'two, in a file with a line that cannot be read',
      `${line('nadia')}${line('omar')}- nonsense\n`,
      ['NOT_APPROVED', 'WRONG_VALUE'],
    ],
    ['a file that is no YAML', '- { by: nadia', ['NOT_APPROVED', 'YAML_SYNTAX']],
    ['a file of something else', 'approved: yes\n', ['NOT_APPROVED', 'WRONG_VALUE']],
  ])('not by %s', (_who, text, expected) => {
    expect(codes(text)).toEqual(expected)
    expect(standing(text).isApproved).toBe(false)
  })

  it('at the very instant it is dated, and not a millisecond before', () => {
    const at = new Date(now).toISOString()
    expect(codes(line('nadia', { at }) + line('omar', { at }))).toEqual([])
    const later = new Date(now + 1).toISOString()
    expect(codes(line('nadia') + line('omar', { at: later }))).toEqual(['NOT_APPROVED', 'APPROVAL_FUTURE'])
  })

  it('beside others that do not: those are told as warnings, and two good ones are enough', () => {
    const { isApproved, refusals } = standing(line('nadia') + line('gone') + line('stranger') + line('omar'))
    expect(isApproved).toBe(true)
    expect(refusals.map(({ severity }) => severity)).toEqual(['warning', 'warning'])
    expect(refusals[0]?.where).toBe('approvals/tube-out.yaml:2:1')
  })

  it('for each language by two who read it', () => {
    const both = { ...subject, languages: ['en', 'es'] }
    const english = line('nadia') + line('omar')
    expect(standing(english, both).refusals[0]?.found).toContain('0 of 2 approvals by readers of "es"')
    expect(codes(english + line('vera', { languages: '[es]' }), both)).toEqual(['NOT_APPROVED'])
    expect(codes(line('nadia', { languages: '[en, es]' }) + line('omar', { languages: '[en, es]' }), both)).toEqual([])
  })
})

describe('a content that changed', () => {
  it('has its approvals withdrawn, kept, and told', () => {
    const { isApproved, withdrawn, refusals } = standing(line('nadia', { hash: other }) + line('omar', { hash: other }))
    expect(isApproved).toBe(false)
    expect(withdrawn.map(({ by }) => by)).toEqual(['nadia', 'omar'])
    expect(refusals[0]?.found).toBe(
      `tube-out (${hash.slice(0, 12)}) has 0 of 2 approvals; it has changed since it was approved`,
    )
  })

  it('says what to do, by name', () => {
    expect(standing(undefined).refusals[0]?.todo).toBe(
      'read it with "smallhours approve tube-out --show", then each of two clinicians runs "smallhours approve tube-out --by ID"',
    )
  })
})
