import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { testCallouts } from '../../src/cli/test-callouts.ts'
import { instant } from '../../src/time/instant.ts'
import { ROOT, run } from '../support/clone.ts'
import { smallhours } from '../support/smallhours.ts'

const LAUNCHER = join(ROOT, 'src/cli/smallhours.js')
const folder = mkdtempSync(join(tmpdir(), 'smallhours-callout-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))
const data = (name: string) => join(folder, name)

describe('callout test', { timeout: 60_000 }, () => {
  it('with --dry-run tells what would be sent where, sends nothing and writes nothing down', async () => {
    const own = data('dry')
    const shown = await smallhours('callout', 'test', 'amara', '--dry-run', '--data', own, '--json')
    expect(shown.code).toBe(0)
    const { ways } = JSON.parse(shown.out) as { ways: { pager: string; address: string; text: string | null }[] }
    expect(ways.map(({ pager, address }) => `${pager} ${address}`)).toEqual([
      'board ',
      'smtp amara@harbourlights.example.test',
      'webhook demo:',
    ])
    expect(ways[0]?.text).toBeNull()
    expect(ways[1]?.text).toContain('TEST CALL-OUT. No family is waiting.')
    expect(existsSync(join(own, 'test-callouts.json'))).toBe(false)
  })

  it('pages by each way, and what is answered proves that way: opening the link proves nothing, pressing does', async () => {
    const own = data('tested')
    const links = new Map<string, Promise<readonly number[]>>()
    // A preview robot opens every link; the person presses the button of the mail alone.
    const looked = async (link: string, isPressed: boolean): Promise<readonly number[]> => {
      const seen = await fetch(link)
      await seen.text()
      if (!isPressed) return [seen.status]
      const forged = await fetch(link, {
        method: 'POST',
        headers: { origin: 'https://other.example' },
        redirect: 'manual',
      })
      const pressed = await fetch(link, {
        method: 'POST',
        headers: { origin: new URL(link).origin },
        redirect: 'manual',
      })
      return [seen.status, forged.status, pressed.status]
    }
    const ended = await run(
      [LAUNCHER, 'callout', 'test', 'amara', '--data', own, '--port', '0', '--wait', '0.15'],
      {},
      out => {
        for (const [, pager = '', link = ''] of out.matchAll(/^(smtp|webhook) .*its link is (\S+)$/gm))
          if (!links.has(pager)) links.set(pager, looked(link, pager === 'smtp'))
      },
    )
    expect(await links.get('smtp')).toEqual([200, 403, 303])
    expect(await links.get('webhook')).toEqual([200])
    expect(ended.out).toMatch(/smtp: answered after \d+ s\nwebhook: NOT ANSWERED\n$/)
    expect(ended.code).toBe(1)
    const kept = testCallouts(join(own, 'test-callouts.json'), () => undefined)
    expect(kept.wayConfirmedAt('amara', 'smtp')).toBeGreaterThan(0)
    expect(kept.wayConfirmedAt('amara', 'webhook')).toBeUndefined()
    expect(readFileSync(join(own, 'test-callouts.json'), 'utf8')).not.toContain('harbourlights')

    const ways = await smallhours('callout', 'ways', '--data', own)
    expect(ways.code).toBe(1)
    expect(ways.out).toMatch(
      /Amara Osei \(amara\)\n {2}board: a screen; nothing to prove\n {2}smtp amara@harbourlights\.example\.test: confirmed on today/,
    )
    expect(ways.out).toContain('  webhook demo:: NOT PROVED: send a test call-out')
    expect(ways.out).toContain('telephone +1 212 555 0141 (US, kept for fiction)')
  })

  it('a way that was proved more than 30 days ago is asked for again', async () => {
    const own = data('stale')
    const first = await smallhours('callout', 'ways', '--data', own, '--json')
    expect(first.code).toBe(1)
    const file = join(own, 'test-callouts.json')
    const long = instant(Date.now() - 31 * 86_400_000)
    testCallouts(file, () => undefined).keep({
      ...{ id: 'a'.repeat(32), who: 'tomas', at: long, answeredAt: long },
      ways: [{ pager: 'webhook', outcome: 'accepted' }],
    })
    const { out } = await smallhours('callout', 'ways', '--data', own)
    expect(out).toMatch(/webhook demo:: confirmed on .*, MORE THAN 30 DAYS AGO/)
  })

  it('knows nobody by another id, and takes no other words: 2', async () => {
    for (const args of [[], ['test'], ['test', 'nobody'], ['ring', 'amara'], ['test', 'amara', '--wait', 'long']])
      expect([args, (await smallhours('callout', ...args, '--data', data('wrong'))).code]).toEqual([args, 2])
  })
})

describe('what is kept of test call-outs', () => {
  it('is seen by the running bot when a command beside it writes, and the other way round', () => {
    const file = join(folder, 'shared.json')
    const [bot, command] = [testCallouts(file, () => undefined), testCallouts(file, () => undefined)]
    const test = { id: '1'.repeat(32), who: 'amara', at: instant(1_000), ways: [] }
    command.keep(test)
    expect(bot.of(test.id)).toEqual(test)
    bot.keep({ ...test, answeredAt: instant(5_000) })
    expect(command.of(test.id)?.answeredAt).toBe(5_000)
    writeFileSync(file, 'damaged')
    const faults: unknown[] = []
    expect(testCallouts(file, fault => faults.push(fault)).of(test.id)).toBeUndefined()
    expect(faults).toHaveLength(1)
  })
})
