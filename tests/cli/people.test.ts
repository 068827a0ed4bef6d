import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { smallhours } from '../support/smallhours.ts'

let folder: string
let data: string
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-people-'))
  data = join(folder, 'data')
})
afterAll(() => rmSync(folder, { recursive: true }))

const run = (...args: string[]) => smallhours(...args, '--data', data)
const onDemo = (...args: string[]) => run(...args, '--clinic', DEMO_CLINIC)

describe('people', () => {
  it('prints an invitation once, to the address of the clinic', async () => {
    const made = await onDemo('people', 'invite', 'malia')
    expect(made.code).toBe(0)
    expect(made.out).toMatch(/For Malia Kealoha and nobody else, once, until \d{4}-/)
    expect(made.out).toMatch(/^http:\/\/localhost:8080\/invited\/[\w-]{43}$/m)
    const json = JSON.parse((await onDemo('people', 'invite', 'malia', '--json', '--origin', 'https://x.example')).out)
    expect(json).toMatchObject({ person: 'malia', link: expect.stringMatching(/^https:\/\/x\.example\/invited\//) })
  })

  it('lists everybody with roles and ways in', async () => {
    const { out } = await onDemo('people')
    expect(out).toMatch(/^malia +Malia Kealoha: administrator; cannot sign in yet$/m)
    expect(JSON.parse((await onDemo('people', '--json')).out)).toContainEqual(
      expect.objectContaining({ id: 'amara', roles: ['on-call', 'lead'], passkeys: 0, password: false, sessions: 0 }),
    )
  })

  it.each([
    [['invite', 'maila'], 2, 'did you mean "malia"?'],
    [['invite'], 2, 'the id of a person of the clinic file was expected'],
    [['promote', 'malia'], 2, 'one of list, invite, start-anew, end-sessions, telegram, telegram-unlink was expected'],
    [['invite', 'malia', '--origin', 'http://evil.example'], 2, 'an address that starts with https:// was expected'],
    [['invite', 'malia', '--origin', 'javascript:x'], 2, 'an address that starts with https:// was expected'],
  ])('called as %j says what was expected', async (args, code, words) => {
    const called = await onDemo('people', ...args)
    expect(called.code).toBe(code)
    expect(called.err).toContain(words)
  })

  it('invites nobody who has left or has no role, and says what to write', async () => {
    const text = readFileSync(join(DEMO_CLINIC, 'clinic.yaml'), 'utf8').replace('roles: [administrator]', 'roles: []')
    writeFileSync(join(folder, 'clinic.yaml'), text)
    const called = await run('people', 'invite', 'malia', '--clinic', folder)
    expect(called.code).toBe(1)
    expect(called.err).toContain('malia has no role, so there is nothing to sign in for. Write "roles: [on-call]"')
  })

  it('signs out everywhere', async () => {
    const { code, out } = await onDemo('people', 'end-sessions', 'malia')
    expect([code, out.trim()]).toEqual([0, 'Malia Kealoha was signed in at 0 places and is now at none.'])
  })
})

describe('audit', () => {
  it('exports a line for each act, which verifies, and tells its end to note', async () => {
    const file = join(folder, 'trail.jsonl')
    const { out } = await run('audit', 'export', '--json')
    writeFileSync(file, out)
    const dids = out
      .trimEnd()
      .split('\n')
      .map(line => JSON.parse(line).did)
    expect(dids).toContain('invited')
    expect(dids.at(-1)).toBe('audit-exported')
    const whole = await run('audit', 'verify', file)
    expect([whole.code, whole.out]).toEqual([
      0,
      expect.stringMatching(/lines, each as it was written\.\nThe end, to be noted elsewhere: \d+:[0-9a-f]{64}/),
    ])
    const head = /noted elsewhere: (\S+)/.exec(whole.out)?.[1] ?? ''
    expect((await run('audit', 'verify', '--head', head)).code).toBe(0)
    expect((await run('audit', 'export')).out).toMatch(/^1 \d{4}-\S+ machine invited malia$/m)
  })

  it('names each line of an exported file that was changed, taken out or moved', async () => {
    const lines = (await run('audit', 'export', '--json')).out.trimEnd().split('\n')
    const [one = '', two = '', three = ''] = lines
    const tampered = async (texts: readonly string[]) => {
      const file = join(folder, 'tampered.jsonl')
      writeFileSync(file, `${texts.join('\n')}\n`)
      const { code, err } = await run('audit', 'verify', file)
      expect(code).toBe(1)
      return err
    }
    expect(await tampered([one.replace('malia', 'linh'), two, three])).toContain(
      'audit: line 1 is not as it was written',
    )
    expect(await tampered([one, three])).toContain('audit: line 2 is missing before line 3')
    expect(await tampered([two, one, three])).toContain('audit: line 2 stands where line 1 belongs')
    expect(await tampered([one, two.slice(0, 40), three])).toContain('audit: line 2 is no line of an audit trail')
  })

  it('finds what was done to the file itself: a line changed, the end cut off, all of it written anew', async () => {
    const { out } = await run('audit', 'verify')
    const head = /noted elsewhere: (\S+)/.exec(out)?.[1] ?? ''
    const file = join(data, 'accounts.sqlite')
    const by = (sql: string) => {
      const db = new DatabaseSync(file)
      const triggers = db.prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").all()
      for (const { name } of triggers) db.exec(`DROP TRIGGER ${name}`)
      db.exec(sql)
      for (const { sql: again } of triggers) db.exec(String(again))
      db.close()
    }
    by("UPDATE audit SET who = 'linh' WHERE line = 2")
    expect((await run('audit', 'verify')).err).toBe('audit: line 2 is not as it was written\n')
    by("UPDATE audit SET who = 'machine' WHERE line = 2")
    expect((await run('audit', 'verify')).code).toBe(0)
    const last = Number(head.split(':')[0])
    by(`DELETE FROM audit WHERE line = ${last}`)
    expect((await run('audit', 'verify')).err).toBe(
      `audit: line ${last} is missing at the end: the trail was cut off after line ${last - 1}\n`,
    )
    // Whoever may write the file may write its end too: only a noted end shows it.
    by(`UPDATE audit_head SET line = ${last - 1}, hash = (SELECT hash FROM audit WHERE line = ${last - 1})`)
    expect((await run('audit', 'verify')).code).toBe(0)
    expect((await run('audit', 'verify', '--head', head)).err).toContain(
      `line ${last}, which was noted elsewhere, is missing`,
    )
  })

  it.each([
    [['audit'], '"verify" or "export" was expected'],
    [['audit', 'verify', '/no/such/file'], 'there is no such file'],
    [['audit', 'verify', '--head', '7'], 'a line and its hash were expected'],
    [['audit', 'export', '--from', '0'], 'the number of a line was expected'],
  ])('called as %j says what was expected', async (args, words) => {
    const called = await run(...args)
    expect(called.code).toBe(2)
    expect(called.err).toContain(words)
  })
})
