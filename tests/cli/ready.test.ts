import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-ready-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

const ready = (...args: string[]) => smallhours('ready', '--data', join(folder, 'data'), ...args)

// What is refused of a clinic, guard by guard: tests/whole/guards.test.ts.
describe('ready', { timeout: 60_000 }, () => {
  it('says that the demonstration is ready, and as what', async () => {
    const { code, out } = await ready()
    expect(code).toBe(0)
    expect(out).toContain('Ready as a demonstration: nobody real is paged.')
    expect(out).not.toContain('REFUSED')
  })

  it('gives with --json one document with each guard it looked at', async () => {
    const { code, out, err } = await ready('--json')
    expect([code, err]).toEqual([0, ''])
    const { ready: isReady, demonstration, guards } = JSON.parse(out)
    expect([isReady, demonstration]).toEqual([true, true])
    expect(guards.map(({ id }: { id: string }) => id)).toEqual([
      'files',
      'demonstration',
      'cover',
      'store',
      'vignettes',
    ])
  })

  it('is not for a folder without a clinic: 1, with every guard that can be looked at', async () => {
    const { code, out } = await ready('--clinic', join(folder, 'nowhere'))
    expect(code).toBe(1)
    expect(out).toContain('FILE_UNREADABLE')
    expect(out).toContain('DATA_MISSING')
    expect(out).toMatch(/Not ready: \d+ to put right/)
  })

  it('is called wrongly with an option that it has not: 2', async () => {
    expect((await ready('--force')).code).toBe(2)
  })
})
