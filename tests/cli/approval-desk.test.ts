import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { AuditAct } from '../../src/accounts/audit.ts'
import type { Role } from '../../src/accounts/authority.ts'
import { type ApprovalDesk, approvalDesk } from '../../src/cli/approval-desk.ts'
import { approvalsText } from '../../src/cli/approvals-folder.ts'
import { type Verdict, walkInProcess } from '../../src/cli/flow-verdict.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { days, instant, minutes } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { approveAll, wholeClinicText } from '../support/whole-clinic.ts'

const START = instant(Date.parse('2026-03-01T07:10:00Z'))
const folder = mkdtempSync(join(tmpdir(), 'smallhours-desk-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

/** A clinic whose every part is approved, with the files of each kept; made once, copied for each test. */
const whole = join(folder, 'whole')
beforeAll(async () => {
  mkdirSync(whole)
  writeFileSync(join(whole, 'clinic.yaml'), wholeClinicText())
  approveAll(whole, START)
  rmSync(join(whole, 'approvals/someone.yaml'))
  rmSync(join(whole, 'approvals/settings.yaml'))
  const { desk } = deskOn(whole)
  for (const part of ['someone', 'settings']) for (const who of [amara, ingrid]) await desk.approve(who, { part })
}, 60_000)

const person = (personId: string, roles: readonly Role[]) => ({ personId, roles, isOnCall: false })
const amara = person('amara', ['on-call', 'lead'])
const ingrid = person('ingrid', ['on-call', 'lead', 'reviewer'])

let at = START as number
function deskOn(clinic: string, verdict: Verdict = { holds: true, found: [] }) {
  const acts: AuditAct[] = []
  const walked: string[] = []
  const desk: ApprovalDesk = approvalDesk({
    clinicDir: clinic,
    now() {
      at += 1_000
      return instant(at)
    },
    walk: async concern => {
      walked.push(concern)
      return verdict
    },
    note: async act => void acts.push(act),
  })
  return { desk, acts, walked }
}

let count = 0
let clinic = ''
beforeEach(() => {
  at = START + minutes(5)
  count += 1
  clinic = join(folder, String(count))
  cpSync(whole, clinic, { recursive: true })
})

const partOf = (id: string) => loadLine({ clinicDir: clinic, at: instant(at) }).approvables.find(one => one.id === id)
const stands = (desk: ApprovalDesk, id: string) => desk.standings().find(({ subject }) => subject.id === id)

/** The clinic's own flow for whoever wants a person, with one text changed. */
function own(file: string, from: string, to: string): void {
  cpSync(join(ROOT, 'flows/someone'), join(clinic, 'flows/someone'), { recursive: true })
  const path = join(clinic, 'flows/someone', file)
  const text = readFileSync(path, 'utf8')
  if (!text.includes(from)) throw new Error(`${path} no longer holds ${from}`)
  writeFileSync(path, text.replace(from, to))
}
const words = () =>
  own(
    'flow.yaml',
    'say: [waiting-for-call, watch-while-waiting, worse-waiting]',
    'say: [watch-while-waiting, waiting-for-call, worse-waiting]',
  )

describe('what the checker rejects', { timeout: 60_000 }, () => {
  it('cannot be approved: nothing is written, no line in the trail', async () => {
    words()
    const before = approvalsText(clinic, 'someone')
    const { desk, acts, walked } = deskOn(clinic, { holds: false, found: ['someone: silence-is-paged does not hold'] })
    const outcome = await desk.approve(amara, { part: 'someone' })
    expect(outcome).toEqual({
      kind: 'refused',
      why:
        'the checker rejects it: someone: silence-is-paged does not hold. See the conversation with "smallhours check --flow someone". ' +
        'What it rejects cannot be approved',
    })
    expect([walked, acts]).toEqual([['someone'], []])
    expect(approvalsText(clinic, 'someone')).toBe(before)
    // Asked again it is walked again, and still refused.
    expect((await desk.approve(ingrid, { part: 'someone' })).kind).toBe('refused')
  })

  it('is what the real checker rejects: a family that wants a person, and nobody is paged', async () => {
    own('flow.yaml', '    page: person\n', '')
    cpSync(join(DEMO_CLINIC, 'clinic.yaml'), join(clinic, 'clinic.yaml'))
    const verdict = await walkInProcess({ clinicDir: clinic })('someone')
    expect(verdict.holds).toBe(false)
    expect(verdict.found.join('\n')).toMatch(/^someone: [a-z-]+ does not hold$/m)
  })

  it('cannot be approved either where the files themselves are refused: it is not even walked', async () => {
    own('flow.yaml', 'go: resume', 'go: nowhere')
    const { desk, walked } = deskOn(clinic)
    const outcome = await desk.approve(amara, { part: 'screens' })
    expect(outcome).toMatchObject({ kind: 'refused' })
    expect(walked).toEqual([])
  })

  it('settings are held against every flow, each walked once for both clinicians', async () => {
    const file = join(clinic, 'clinic.yaml')
    writeFileSync(file, readFileSync(file, 'utf8').replace('  left-check: PT10M', '  left-check: PT12M'))
    const { desk, walked } = deskOn(clinic)
    expect((await desk.approve(amara, { part: 'settings' })).kind).toBe('done')
    expect(walked.length).toBe(11)
    expect((await desk.approve(ingrid, { part: 'settings' })).kind).toBe('done')
    expect(walked.length).toBe(11)
  })
})

describe('an approval', { timeout: 60_000 }, () => {
  it('has its line in the trail before it is written, with the hash; a trail that cannot be written lets nothing be approved', async () => {
    words()
    const hash = partOf('someone')?.hash
    const { desk, acts } = deskOn(clinic)
    await desk.approve(amara, { part: 'someone' })
    expect(acts).toMatchObject([{ who: 'amara', did: 'approved', on: 'someone', after: hash }])
    const closed = approvalDesk({
      clinicDir: clinic,
      now: () => instant(at),
      walk: async () => ({ holds: true, found: [] }),
      note: async () => {
        throw new Error('disk full')
      },
    })
    await expect(closed.approve(ingrid, { part: 'someone' })).rejects.toThrow('disk full')
    expect(stands(desk, 'someone')?.counted.map(({ by }) => by)).toEqual(['amara'])
  })

  it('ends when it says, is told 30 days before, and holds no restart back', async () => {
    words()
    const { desk } = deskOn(clinic)
    const until = instant(START + days(60))
    await desk.approve(amara, { part: 'someone', until })
    await desk.approve(ingrid, { part: 'someone' })
    expect(stands(desk, 'someone')).toMatchObject({ isApproved: true, refusals: [] })
    at = START + days(31)
    expect(stands(desk, 'someone')?.refusals.map(({ code }) => code)).toEqual(['APPROVAL_ENDS_SOON'])
    at = until
    const ended = stands(desk, 'someone')
    expect(ended?.isApproved).toBe(false)
    expect(ended?.refusals.map(({ code, isByTime }) => [code, isByTime])).toEqual([
      ['NOT_APPROVED', true],
      ['APPROVAL_EXPIRED', undefined],
    ])
    expect((await desk.approve(amara, { part: 'someone', until })).kind).toBe('refused')
    expect((await desk.approve(amara, { part: 'someone' })).kind).toBe('done')
    expect(stands(desk, 'someone')?.isApproved).toBe(true)
  })

  it('of the words alone makes no steps approved, and one of the steps alone no words', async () => {
    words()
    const { desk } = deskOn(clinic)
    await desk.approve(amara, { part: 'someone', of: ['words'] })
    await desk.approve(ingrid, { part: 'someone', of: ['steps'] })
    expect(stands(desk, 'someone')?.refusals[0]?.found).toContain('1 of 2 approvals of its steps')
  })

  it('is withdrawn by one person with a reason, counts no more, and can be given again', async () => {
    const { desk, acts } = deskOn(clinic)
    expect((await desk.withdraw(amara, 'someone', ' ')).kind).toBe('refused')
    expect((await desk.withdraw(amara, 'someone', 'a parent misread it')).kind).toBe('done')
    const standing = stands(desk, 'someone')
    expect([standing?.isApproved, standing?.counted.length, standing?.withdrawn.length]).toEqual([false, 0, 2])
    expect(standing?.refusals[0]?.found).toContain('its approval was withdrawn')
    expect(approvalsText(clinic, 'someone')).toContain('why: "a parent misread it"')
    expect(acts.map(({ did }) => did)).toEqual(['approval-withdrawn'])
    await desk.approve(amara, { part: 'someone' })
    await desk.approve(ingrid, { part: 'someone' })
    expect(stands(desk, 'someone')?.isApproved).toBe(true)
  })

  it('by two who press at the same moment is kept twice', async () => {
    words()
    const { desk } = deskOn(clinic)
    await Promise.all([amara, ingrid].map(who => desk.approve(who, { part: 'someone' })))
    expect(stands(desk, 'someone')?.isApproved).toBe(true)
  })

  it.each([
    [
      'somebody without the right in the clinic file',
      person('linh', ['lead']),
      'may not approve: a clinician with "approves: yes"',
    ],
    [
      'somebody who approves but is no lead now',
      person('amara', ['on-call']),
      'may not approve: the role lead was expected',
    ],
    ['an administrator', person('malia', ['administrator']), 'may not approve'],
    ['a stranger', person('nobody', ['lead']), 'does not stand under people'],
  ])('is refused to %s, and so are withdrawing and putting back', async (_, who, why) => {
    const { desk, acts } = deskOn(clinic)
    for (const outcome of [
      await desk.approve(who, { part: 'someone' }),
      await desk.withdraw(who, 'someone', 'x'),
      await desk.rollBack(who, 'someone', 'x'),
    ])
      expect(outcome).toMatchObject({ kind: 'refused', why: expect.stringContaining(why) })
    expect(acts).toEqual([])
  })
})

describe('putting back', { timeout: 60_000 }, () => {
  it('brings exactly the content back that two had approved before, and withdraws the other', async () => {
    const before = partOf('someone')?.hash
    words()
    const { desk, acts } = deskOn(clinic)
    await desk.approve(amara, { part: 'someone' })
    await desk.approve(ingrid, { part: 'someone' })
    const bad = partOf('someone')?.hash
    expect(bad).not.toBe(before)
    const trial = await desk.rollBack(amara, 'someone', 'families were misled', true)
    expect(trial).toMatchObject({ kind: 'done' })
    expect(partOf('someone')?.hash).toBe(bad)
    const outcome = await desk.rollBack(amara, 'someone', 'families were misled')
    expect(outcome).toMatchObject({ kind: 'done' })
    expect(partOf('someone')?.hash).toBe(before)
    expect(stands(desk, 'someone')?.isApproved).toBe(true)
    expect(acts.at(-1)).toMatchObject({ who: 'amara', did: 'rolled-back', on: 'someone', before: bad, after: before })
    expect(approvalsText(clinic, 'someone')).toContain(`withdraws: "${bad}", why: "families were misled"`)
    // The bad one, put there again by hand, is not approved.
    words()
    expect(stands(desk, 'someone')?.isApproved).toBe(false)
    expect(existsSync(join(clinic, '.put-back-someone'))).toBe(false)
  })

  it('works when what stands there cannot be approved at all: an edit gone wrong in the night', async () => {
    const before = partOf('someone')?.hash
    own('flow.yaml', 'go: resume', 'go: nowhere')
    const { desk } = deskOn(clinic)
    const outcome = await desk.rollBack(ingrid, 'someone', '')
    expect(outcome).toMatchObject({ kind: 'done' })
    expect(partOf('someone')?.hash).toBe(before)
  })

  it('settings go back in the clinic’s file, its notes and everything else as they were', async () => {
    const file = join(clinic, 'clinic.yaml')
    const text = readFileSync(file, 'utf8').replace('settings:\n', 'settings:\n  # decided in spring\n')
    writeFileSync(file, text.replace('  left-check: PT10M', '  left-check: PT12M'))
    const { desk } = deskOn(clinic)
    for (const who of [amara, ingrid]) await desk.approve(who, { part: 'settings' })
    expect(await desk.rollBack(amara, 'settings', 'too late')).toMatchObject({ kind: 'done' })
    const after = readFileSync(file, 'utf8')
    expect(after).toContain('  left-check: PT10M')
    expect(after).toContain('# decided in spring')
    expect(stands(desk, 'settings')?.isApproved).toBe(true)
  })

  it.each([
    ['nothing was approved before', 'someone', 'has no earlier content that two clinicians have approved'],
    ['there is no such part', 'sometwo', 'is it the name of a part?'],
  ])('is refused where %s', async (_, part, why) => {
    const { desk } = deskOn(clinic)
    expect(await desk.rollBack(amara, part, '')).toMatchObject({ kind: 'refused', why: expect.stringContaining(why) })
  })

  it('is refused where the files were not kept, or are not as they were kept', async () => {
    words()
    const { desk } = deskOn(clinic)
    rmSync(join(clinic, 'approvals/sources'), { recursive: true })
    expect(await desk.rollBack(amara, 'someone', '')).toMatchObject({
      kind: 'refused',
      why: expect.stringContaining("were not kept when it was approved: take them from the clinic's version control"),
    })
  })
})
