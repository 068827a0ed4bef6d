import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { type ApprovalNoted, type BotAccounts, openAccounts } from '../../src/cli/bot-accounts.ts'
import type { Clinic } from '../../src/oncall/clinic.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant } from '../../src/time/instant.ts'
import { demoClinic } from '../support/a-line.ts'

let folder: string
let members: BotAccounts
let clinic: Clinic
let content: string
const approvals: ApprovalNoted[] = []
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-members-'))
  clinic = demoClinic()
  content = 'c1'
  approvals.length = 0
  members = openAccounts({
    file: join(folder, 'accounts.sqlite'),
    clinic: () => clinic,
    content: () => content,
    approvals: () => approvals,
    clock: { now: () => instant(Date.parse('2026-03-01T07:10:00Z')) },
    random: systemRandom(),
  })
})
afterEach(async () => {
  await members.close()
  rmSync(folder, { recursive: true })
})

const trail = async (from = 1) =>
  (await members.store.audit(from)).map(({ who, did, on, before, after }) =>
    [who, did, on, before, after].join(' ').trim(),
  )

describe('what the bot notes of the clinic’s files in the trail', () => {
  it('is nothing while they are as they were, over a restart too', async () => {
    await members.clinicRead()
    const before = (await trail()).length
    await members.clinicRead()
    expect((await trail()).length).toBe(before)
  })

  it('is who changed them, with the hash before and after; on disk, the machine', async () => {
    await members.clinicRead()
    const before = (await trail()).length
    content = 'c2'
    await members.clinicRead('malia')
    content = 'c3'
    await members.clinicRead()
    expect(await trail(before + 1)).toEqual([
      'malia clinic-file-changed clinic c1 c2',
      'machine clinic-file-changed clinic c2 c3',
    ])
  })

  it('is whose roles are others now; of somebody who has left, none', async () => {
    await members.clinicRead()
    const before = (await trail()).length
    const people = clinic.people.map(one =>
      one.id === 'malia'
        ? { ...one, roles: ['administrator', 'reviewer'] as const }
        : one.id === 'linh'
          ? { ...one, left: true }
          : one,
    )
    clinic = { ...clinic, people }
    await members.clinicRead()
    expect(await trail(before + 1)).toEqual([
      'machine roles-changed linh on-call reviewer',
      'machine roles-changed malia administrator administrator reviewer',
    ])
  })

  it('is each approval and withdrawal that was given elsewhere, once; one that was given here has its line already', async () => {
    await members.clinicRead()
    const before = (await trail()).length
    await members.store.change({ at: instant(1), who: 'amara', did: 'approved', on: 'tube-out', after: 'h1' }, [])
    approvals.push(
      { part: 'tube-out', by: 'amara', hash: 'h1', did: 'approved' },
      { part: 'tube-out', by: 'ingrid', hash: 'h1', did: 'approved' },
      { part: 'skin', by: 'amara', hash: 'h2', did: 'approval-withdrawn' },
    )
    content = 'c2'
    await members.clinicRead()
    content = 'c3'
    await members.clinicRead()
    expect((await trail(before + 2)).filter(line => line.includes(' approv'))).toEqual([
      'machine approved tube-out by ingrid  h1',
      'machine approval-withdrawn skin by amara h2',
    ])
  })
})
