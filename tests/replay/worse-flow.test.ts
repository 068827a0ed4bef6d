import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { SHIPPED_FLOWS } from '../../src/cli/flow-files.ts'
import { smallhours } from '../support/smallhours.ts'
import { aDataFolder } from './a-data-folder.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-worse-'))
const data = join(folder, 'data')
const worse = join(folder, 'flows')
const file = (name: string) => join(folder, name)

beforeAll(async () => {
  await aDataFolder(data)
  await smallhours('transcript', 'export', file('cases.jsonl'), '--with-flows', '--data', data)
  cpSync(SHIPPED_FLOWS, worse, { recursive: true })
  const steps = join(worse, 'shared', 'steps.yaml')
  const text = readFileSync(steps, 'utf8')
  const changed = text.replace(/ {4}page: danger\n/, '')
  expect(changed).not.toBe(text)
  writeFileSync(steps, changed)
})
afterAll(() => rmSync(folder, { recursive: true }))

const onCores = (cores: string) =>
  smallhours(
    ...['what-if', file('cases.jsonl'), '--flows', worse, '--json', '--cores', cores],
    ...['--html', file(`on-${cores}.html`)],
  )
let together: Awaited<ReturnType<typeof smallhours>> | undefined

/** The example of docs/clinic/replay.md: somebody takes the page out of the emergency steps. */
describe('a flow made worse on purpose', () => {
  it('is caught by what-if: the case is told as less careful, with the step, and shown side by side', async () => {
    together = await onCores('2')
    const { code, out } = together
    const report = JSON.parse(out)
    expect(code).toBe(1)
    expect(report).toMatchObject({ cases: 3, lowered: 2, same: 1, faults: 0, withoutFlow: 0 })
    const group = report.groups.find(({ cause }: { cause: string }) =>
      cause.includes('no longer sends a page (ambulance)'),
    )
    expect(group.examples[0].was.pages.length).toBeGreaterThan(0)
    // What pages in its place, if anything does, is the silence after some minutes, as no emergency.
    const urgencies = group.examples[0].may[0].outcome.pages.map(({ urgency }: { urgency: string }) => urgency)
    expect(group.examples[0].was.pages[0].urgency).toBe('ambulance')
    expect(urgencies).not.toContain('ambulance')
    const page = readFileSync(file('on-2.html'), 'utf8')
    expect(page).toContain('less careful')
    expect(page).toContain('PAGE to')
    expect(page).toContain('What this cannot tell')
    expect(page).not.toMatch(/<script|https?:\/\//)
  })

  it('comes out the same to the byte on one core and on two', async () => {
    const alone = await onCores('1')
    expect(alone).toEqual(together)
    expect(alone).toMatchObject({ code: 1, err: '' })
    expect(readFileSync(file('on-1.html'), 'utf8')).toBe(readFileSync(file('on-2.html'), 'utf8'))
    expect((await onCores('none')).code).toBe(2)
  })

  it('is caught by replay on the flows as they are: the first step that differs, as a conversation', async () => {
    const { code, out } = await smallhours('replay', file('cases.jsonl'), '--flows', worse, '--any-flow')
    expect(code).toBe(1)
    expect(out).toContain('decides something else at step')
    expect(out).toMatch(/recorded:\n(.*\n)*.*PAGE to .*ambulance/)
    expect(out).toContain('1 decided the same, 2 not.')
  })

  it('is no excuse for cases of the old flow: what they bring is found by its hash, and replays', async () => {
    const { code, out } = await smallhours('replay', file('cases.jsonl'), '--flows', worse, '--json')
    expect(JSON.parse(out)).toMatchObject({ same: 3, differing: 0, withoutFlow: 0 })
    expect(code).toBe(0)
  })

  it('another rota is asked for with the key that tells who is who', async () => {
    const rota = ['--rota', join('deploy', 'demo-clinic')]
    const { code, err } = await smallhours('what-if', file('cases.jsonl'), ...rota)
    expect(code).toBe(2)
    expect(err).toContain('--data')
    const same = await smallhours('what-if', file('cases.jsonl'), ...rota, '--data', data, '--json')
    expect(JSON.parse(same.out)).toMatchObject({ cases: 3, differing: 0 })
  })

  it('a setting is taken as a clinic writes it, and one that is none is refused', async () => {
    const later = await smallhours(
      'what-if',
      file('cases.jsonl'),
      '--settings',
      'ladder-urgent=[PT20M, PT25M, PT30M]',
      '--json',
    )
    expect(JSON.parse(later.out)).toMatchObject({ lowered: 2 })
    const wrong = await smallhours('what-if', file('cases.jsonl'), '--settings', 'ladder-urgent=soon')
    expect(wrong.code).toBe(2)
  })
})
