import { createHash } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import { type AuditLine, auditFaults, NO_LINE, nextLine } from '../../src/accounts/audit.ts'
import { instant } from '../../src/time/instant.ts'

/** Eight lines as they would be written one after the other. */
function aTrail(): AuditLine[] {
  const lines: AuditLine[] = []
  for (let i = 1; i <= 8; i += 1) {
    const act = {
      at: instant(1_000 * i),
      who: i % 2 === 0 ? 'amara' : 'machine',
      did: 'signed-in',
      on: `s${i}`,
    } as const
    lines.push(nextLine(i === 4 ? { ...act, before: 'a', after: 'b' } : act, lines.at(-1)))
  }
  return lines
}

const headOf = (lines: readonly AuditLine[]) => {
  const { line, hash } = lines.at(-1) as AuditLine
  return { line, hash }
}
const said = (lines: readonly unknown[], head = headOf(aTrail())) => auditFaults(lines, head).map(({ found }) => found)

// OWASP ASVS 5.0.0, V16.4.2: logs are protected from change without notice.
describe('the audit trail', () => {
  it('is whole as it was written, also when nothing has been written', () => {
    expect(said(aTrail())).toEqual([])
    expect(auditFaults([], undefined)).toEqual([])
  })

  it('hashes every field and the line before: worked out here with the platform alone (SHA-256, FIPS 180-4)', () => {
    const [first, second] = aTrail()
    const hash = (fields: unknown[]) => createHash('sha256').update(JSON.stringify(fields)).digest('hex')
    expect(first?.hash).toBe(hash([1, 1_000, 'machine', 'signed-in', 's1', null, null, NO_LINE]))
    expect(second?.hash).toBe(hash([2, 2_000, 'amara', 'signed-in', 's2', null, null, first?.hash]))
  })

  it('names the line of which any single field was changed', () => {
    const other = {
      at: 5,
      who: 'linh',
      did: 'approved',
      on: 'x',
      before: 'y',
      after: 'z',
      previous: NO_LINE,
      hash: NO_LINE,
    }
    for (const [field, value] of Object.entries(other)) {
      const lines: unknown[] = aTrail().map(one => (one.line === 4 ? { ...one, [field]: value } : one))
      expect(said(lines).join('\n'), field).toContain('line 4 ')
    }
  })

  it('names what follows on a line that was changed and hashed anew', () => {
    const lines = aTrail()
    const changed = nextLine({ at: instant(3_000), who: 'linh', did: 'approved', on: 'x' }, lines[1])
    lines[2] = changed
    expect(said(lines)).toEqual([
      "line 4 does not follow from the line 3 that stands here: that one was put in another's place",
    ])
  })

  it('names lines that were cut off at the end, taken out of the middle, or off the beginning', () => {
    expect(said(aTrail().slice(0, 7))).toEqual(['line 8 is missing at the end: the trail was cut off after line 7'])
    expect(said(aTrail().slice(0, 5))).toEqual([
      'lines 6 to 8 are missing at the end: the trail was cut off after line 5',
    ])
    expect(said([])).toEqual(['lines 1 to 8 are missing at the end: the trail was cut off after line 0'])
    expect(said(aTrail().toSpliced(3, 1))).toEqual(['line 4 is missing before line 5'])
    expect(said(aTrail().slice(2))).toEqual(['lines 1 to 2 are missing before line 3'])
  })

  it('names lines that changed places', () => {
    const lines = aTrail()
    const [a, b] = [lines[2], lines[3]] as [AuditLine, AuditLine]
    expect(said(lines.toSpliced(2, 2, b, a))).toEqual([
      'line 4 stands where line 3 belongs',
      'line 3 stands where line 5 belongs',
      'line 5 stands where line 4 belongs',
    ])
  })

  it('tells a whole trail that was written anew from the one whose end was noted elsewhere', () => {
    const anew: AuditLine[] = []
    for (const { at, did, on } of aTrail()) anew.push(nextLine({ at, who: 'linh', did, on }, anew.at(-1)))
    expect(auditFaults(anew)).toEqual([])
    expect(said(anew)).toEqual(['line 8 is not the one that the trail ended with'])
  })

  it.each([[null], [{}], ['x'], [{ ...aTrail()[2], line: '3' }], [{ ...aTrail()[2], who: 7 }], [[]]])(
    'names what is no line: %j',
    odd =>
      expect(said(aTrail().map((one, i) => (i === 2 ? odd : one)))).toContain('line 3 is no line of an audit trail'),
  )

  it('finds every fault at once, each with its place', () => {
    const lines: AuditLine[] = aTrail().map(one => (one.line === 2 || one.line === 6 ? { ...one, who: 'linh' } : one))
    expect(auditFaults(lines.slice(0, 7), headOf(aTrail())).map(({ place, kind }) => `${place} ${kind}`)).toEqual([
      '2 altered',
      '6 altered',
      '7 cut-off',
    ])
  })
})
