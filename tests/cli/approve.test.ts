import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeEach, describe, expect, it } from 'vitest'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { smallhours } from '../support/smallhours.ts'
import { approveAll, walkedAlready, wholeClinicText } from '../support/whole-clinic.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-approve-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

let count = 0
let clinic = ''
beforeEach(() => {
  count += 1
  clinic = join(folder, String(count))
  mkdirSync(join(clinic, 'flows'), { recursive: true })
  writeFileSync(
    join(clinic, 'clinic.yaml'),
    wholeClinicText().replace('  tomas:\n', '  tomas:\n    approves: yes\n    left: yes\n'),
  )
})

const data = join(folder, 'data')
openDataFolder(data, systemRandom())

const approve = (...args: string[]) => smallhours('approve', ...args, '--clinic', clinic, '--data', data)
const walked = () => walkedAlready(clinic, instant(Date.parse('2026-03-01T07:10:00Z')))
const concerns = readdirSync(join(ROOT, 'flows'), { withFileTypes: true })
  .filter(({ name }) => existsSync(join(ROOT, 'flows', name, 'flow.yaml')))
  .map(({ name }) => name)
const ids = [...concerns.toSorted(), 'screens', 'lexicon', 'settings']

interface Listed {
  readonly id: string
  readonly hash: string
  readonly approved: boolean
  readonly by: readonly { readonly by: string; readonly name: string }[]
  readonly withdrawn: readonly { readonly by: string; readonly hash: string }[]
}
const listed = async (): Promise<Record<string, Listed>> =>
  Object.fromEntries((JSON.parse((await approve('--json')).out) as Listed[]).map(one => [one.id, one]))

/** The shipped flow as the clinic's own, with one text changed. */
function ownFlow(from: string, to: string): void {
  const own = join(clinic, 'flows/tube-out')
  mkdirSync(own, { recursive: true })
  for (const name of ['flow.yaml', 'sources.yaml', 'wording.en.yaml', 'wording.es.yaml']) {
    const text = readFileSync(join(ROOT, 'flows/tube-out', name), 'utf8')
    writeFileSync(join(own, name), name === 'wording.en.yaml' ? text.replace(from, to) : text)
  }
}

describe('approve', { timeout: 60_000 }, () => {
  it('lists every part, who approved, who is missing and what to do; 1 while anything is missing', async () => {
    const { code, out } = await approve()
    expect(code).toBe(1)
    for (const id of ids) expect(out).toMatch(new RegExp(`^NOT APPROVED ${id} +[0-9a-f]{12} `, 'm'))
    expect(out).toContain('Do: read it with "smallhours approve tube-out --show"')
    expect(out).toContain('Who may approve: amara, ingrid')
    expect(Object.keys(await listed())).toEqual(ids)
  })

  it('is done when two clinicians have approved each part, and then ends with 0', async () => {
    approveAll(clinic, instant(Date.parse('2026-03-01T07:10:00Z')))
    rmSync(join(clinic, 'approvals/tube-out.yaml'))
    walked()
    expect((await approve('tube-out', '--by', 'amara')).out).toContain(
      'It needs another clinician before it is served.',
    )
    const second = await approve('tube-out', '--by', 'ingrid')
    expect([second.code, second.err]).toEqual([0, ''])
    expect(second.out).toContain('Two clinicians have approved exactly this.')
    expect((await approve()).code).toBe(0)
    expect((await listed())['tube-out']?.by.map(({ name }) => name)).toEqual(['Amara Test', 'Dr. Ingrid Test'])
  })

  it.each([
    [
      'somebody who is not there',
      ['--by', 'amrra'],
      'does not stand under people in the clinic file: write the id of a person, such as amara',
    ],
    ['somebody without the right', ['--by', 'linh'], 'may not approve: a clinician with "approves: yes"'],
    ['somebody who is no clinician', ['--by', 'malia'], 'may not approve'],
    ['somebody who has left', ['--by', 'tomas'], 'may not approve: a clinician who is there and can be asked'],
    [
      'a hash that is not what stands here',
      ['--by', 'amara', '--hash', '0123456789abcdef'],
      'read it again with "smallhours approve tube-out --show"',
    ],
    ['a language that it has no words in', ['--by', 'amara', '--languages', 'fr'], 'there are no words in "fr"'],
  ])('refuses %s, says what to do, and writes nothing', async (_who, args, said) => {
    const { code, out, err } = await approve('tube-out', ...args)
    expect([code, out]).toEqual([1, ''])
    expect(err).toContain(said)
    expect((await listed())['tube-out']?.by).toEqual([])
  })

  it('refuses the same person twice, and a file of approvals that cannot be read', async () => {
    walked()
    await approve('settings', '--by', 'amara')
    const again = await approve('settings', '--by', 'amara')
    expect([again.code, again.err]).toEqual([
      1,
      'approve: "amara" has approved exactly this already; another clinician is needed\n',
    ])
    writeFileSync(join(clinic, 'approvals/settings.yaml'), 'approved: yes\n')
    expect((await approve('settings', '--by', 'ingrid')).err).toContain('settings.yaml:1:1 cannot be read')
    expect(readFileSync(join(clinic, 'approvals/settings.yaml'), 'utf8')).toBe('approved: yes\n')
  })

  it('tells what changed since the last approval, old and new, and shows withdrawn ones by name', async () => {
    walked()
    await approve('tube-out', '--by', 'amara')
    await approve('tube-out', '--by', 'ingrid')
    const before = (await listed())['tube-out']
    ownFlow('say/nasal-hold: ', 'say/nasal-hold: Now. ')
    const { code, out } = await approve('tube-out')
    expect(code).toBe(1)
    expect(out).toMatch(
      /1 changes since .* approved it:\n~ wording\.en\.say\/nasal-hold\n {4}was: .*\n {4}is: {2}Now\. /,
    )
    expect(out).toContain('withdrawn, since it changed: Amara Test (amara)')
    const after = await listed()
    expect(after['tube-out']).toMatchObject({
      approved: false,
      by: [],
      withdrawn: [{ by: 'amara', hash: before?.hash }, { by: 'ingrid' }],
    })
    ownFlow('', '')
    expect((await listed())['tube-out']).toMatchObject({ approved: true, withdrawn: [] })
  })

  it('--show is one page that holds every text that can be said, with what it rests on, and its hash', async () => {
    const { out } = await approve('tube-out', '--show')
    const { hash } = (await listed())['tube-out'] ?? { hash: 'none' }
    expect(out).toContain(`Hash ${hash}`)
    expect(out).toContain('say/keep-tube: ')
    expect(out).toMatch(/say\/cover-opening: .*\n {4}cover-opening.*; rests on: /)
    for (const title of ['WHAT FAMILIES ARE TOLD, IN EN', 'SOURCES', 'STEPS', 'FACTS', 'SETTINGS'])
      expect(out).toContain(title)
    const page = JSON.parse((await approve('tube-out', '--json')).out) as {
      content: { wording: { en: Record<string, string> } }
    }
    for (const [id, text] of Object.entries(page.content.wording.en)) expect(out, id).toContain(`${id}: ${text}`)
  })

  it('is called wrongly with a part that there is not, two parts, or a name and no part: 2', async () => {
    const unknown = await approve('tube-oot')
    expect([unknown.code, unknown.out]).toEqual([2, ''])
    expect(unknown.err).toContain('did you mean "tube-out"?')
    expect((await approve('tube-out', 'someone')).code).toBe(2)
    expect((await approve('--by', 'amara')).code).toBe(2)
  })
})
