import { type ChildProcess, spawn } from 'node:child_process'
import { cpSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { smallhours } from '../support/smallhours.ts'
import { walkedAlready } from '../support/whole-clinic.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-check-'))
const cache = process.env.XDG_CACHE_HOME
// What other checks on this machine have kept is not looked at.
beforeAll(() => {
  process.env.XDG_CACHE_HOME = join(folder, 'cache')
})
afterAll(() => {
  if (cache === undefined) delete process.env.XDG_CACHE_HOME
  else process.env.XDG_CACHE_HOME = cache
  rmSync(folder, { recursive: true, force: true })
})

/** A copy of the shipped flows. */
function flowsCopy(name: string): string {
  const copy = join(folder, name)
  cpSync(join(ROOT, 'flows'), copy, { recursive: true })
  return copy
}

/** Puts one piece of one file in place of another, which must stand there once. */
function edit(flows: string, file: string, from: string, to: string): void {
  const text = readFileSync(join(flows, file), 'utf8')
  if (text.split(from).length !== 2) throw new Error(`"${from}" is to stand once in ${file}`)
  writeFileSync(
    join(flows, file),
    text.replace(from, () => to),
  )
}

const SOUND = '{ if: { breathes: [no] }, go: emergency }'
/** A child that does not breathe well is asked about its colour. */
const BROKEN = '{ if: { breathes: [no] }, go: check-colour }'
const RULE = 'a-check-that-fails-is-danger'

describe('check of sound flows', () => {
  it('says in one line what was walked, and that it holds', async () => {
    const { code, out, err } = await smallhours('check', '--flow', 'someone', '--afresh')
    expect([code, err]).toEqual([0, ''])
    expect(out).toMatch(
      /^someone – holds: \d+ rules, \d+ states, [\d,]+ transitions, \d+ compared, \d+\.\d\s+s,\s+\d+\s+MB$/m,
    )
  })

  it('says so where a flow was checked before and nothing it depends on has changed, and walks it again when asked', async () => {
    await smallhours('check', '--flow', 'someone')
    const again = await smallhours('check', '--flow', 'someone')
    expect(again.code).toBe(0)
    expect(again.out).toContain('as checked before: nothing it depends on has changed')
    const afresh = await smallhours('check', '--flow', 'someone', '--afresh')
    expect(afresh.out).not.toContain('as checked before')
  })

  it('gives machines its totals, its flows, and no violation', async () => {
    const { code, out } = await smallhours('check', '--flow', 'someone', '--json')
    expect(code).toBe(0)
    const found = JSON.parse(out)
    expect(Object.keys(found)).toEqual(['totals', 'flows', 'violations'])
    expect(Object.keys(found.totals)).toEqual([
      'flows',
      'rules',
      'states',
      'transitions',
      'compared',
      'seconds',
      'violations',
    ])
    expect(found.totals).toMatchObject({ flows: 1, violations: 0 })
    expect(found.totals.states).toBeGreaterThan(50)
    expect(found.totals.compared).toBeGreaterThan(50)
    expect(found.violations).toEqual([])
  })
})

describe('the switches that a check goes through', () => {
  const settings = async (...args: string[]) => {
    const { out } = await smallhours('check', '--flow', 'someone', '--json', ...args)
    return JSON.parse(out).flows.map(({ policies }: { policies: Record<string, string> }) => policies)
  }

  it('are all off, and those of the clinic where it has switched one on that the flow reads', async () => {
    const flows = flowsCopy('switched')
    edit(
      flows,
      'someone/flow.yaml',
      '  number:\n    ask: ring-back\n    go: waiting',
      '  number:\n    ask: ring-back\n    route:\n      - { if: { family-ph: [on] }, go: waiting }\n      - { go: waiting }',
    )
    const clinic = join(folder, 'switching-clinic')
    cpSync(join(ROOT, 'deploy/demo-clinic'), clinic, { recursive: true })
    const own = join(clinic, 'clinic.yaml')
    expect(
      await smallhours('check', flows, '--flow', 'someone', '--json').then(({ out }) => JSON.parse(out).flows),
    ).toMatchObject([{ policies: { 'family-ph': 'off' } }])
    const text = readFileSync(own, 'utf8')
    if (!/^settings:$/m.test(text)) throw new Error('the demonstration has no settings to change')
    writeFileSync(own, text.replace(/^settings:$/m, 'settings:\n  family-ph: on'))
    const { out } = await smallhours('check', flows, '--flow', 'someone', '--clinic', clinic, '--json')
    expect(JSON.parse(out).flows.map(({ policies }: { policies: object }) => policies)).toEqual([
      { 'family-ph': 'off' },
      { 'family-ph': 'on' },
    ])
  })

  it('are none where the flow reads none', async () => expect(await settings()).toEqual([{}]))
})

describe('check of files that cannot be read', () => {
  it('names the place of each fault, walks nothing, and ends with 1', async () => {
    const flows = flowsCopy('unreadable')
    edit(flows, 'tube-out/flow.yaml', 'start: first', 'start: frist')
    const { code, out, err } = await smallhours('check', flows)
    expect(code).toBe(1)
    expect(out).not.toContain('states')
    expect(err).toMatch(/tube-out\/flow\.yaml:\d+:8 UNKNOWN_ID: unknown step "frist"; .* did you mean "first"\?/)
  })

  it('names a rule that speaks of a tag that there is not', async () => {
    const flows = flowsCopy('bad-rule')
    edit(
      flows,
      'rules/putting-in.yaml',
      'absence: { says: [puts-into-site, replace-tube] }\n    unless: { tract: [settled] }',
      'absence: { says: [put-into-site] }\n    unless: { tract: [settled] }',
    )
    const { code, err } = await smallhours('check', flows, '--flow', 'someone')
    expect(code).toBe(1)
    expect(err).toMatch(/rules\/putting-in\.yaml:\d+:\d+ UNKNOWN_ID: .*put-into-site.*did you mean "puts-into-site"/)
  })

  it.each([
    [['check', join(folder, 'nowhere')], 'a folder of flows was expected'],
    [['check', '--rule', 'no-such-rule'], '--rule no-such-rule'],
    [['check', '--flow', 'tube-uot'], 'tube-out'],
    [['check', '--policies', 'some'], 'clinic, shipped, few or every'],
    [['check', '--colour'], 'Unknown option'],
  ])('%j ends with 2 and says what was expected', async (args, words) => {
    const { code, out, err } = await smallhours(...args)
    expect([code, out]).toEqual([2, ''])
    expect(err).toContain(words)
  })
})

describe('check of a flow that breaks a rule', () => {
  const flows = flowsCopy('broken')
  const pages = join(folder, 'pages')
  let ended: Awaited<ReturnType<typeof smallhours>>
  beforeAll(async () => {
    edit(flows, 'shared/steps.yaml', SOUND, BROKEN)
    ended = await smallhours('check', flows, '--flow', 'someone', '--html', pages)
  })

  it('ends with 1 and tells the conversation on one screen, with what breaks and why', () => {
    // What was let pass of the words is told after that, in lines as long as they are.
    const [told = ''] = ended.out.split(/^\d+ findings? about words/m)
    const lines = told.split('\n')
    expect(ended.code).toBe(1)
    expect(lines.length).toBeLessThan(40)
    expect(Math.max(...lines.map(line => line.length))).toBeLessThanOrEqual(80)
    expect(ended.out).toMatch(/^someone – 1 BREAKS: \d+ rules, /m)
    expect(ended.out).toContain(`1. ${RULE} – someone`)
    expect(ended.out).toMatch(/FAMILY taps: No +\|/)
    expect(ended.out).toMatch(/It breaks here\.\n {3}A single check that is not clearly well is an emergency\./)
    expect(ended.out).toMatch(/Why: Not waking/)
  })

  it('names the rule, the flow and the conversation for machines', async () => {
    const { out, code } = await smallhours('check', flows, '--flow', 'someone', '--rule', RULE, '--json')
    const { violations, totals } = JSON.parse(out)
    expect([code, totals.rules, totals.violations]).toEqual([1, 1, 1])
    expect(Object.keys(violations[0])).toEqual(['rule', 'flow', 'conversation'])
    expect(violations[0]).toMatchObject({ rule: RULE, flow: 'someone' })
    expect(violations[0].conversation.join('\n')).toMatch(/FAMILY writes: Wants a person/)
  })

  it('writes a page to begin with, the conversation, its script, and where it goes in the flow', () => {
    expect(readdirSync(pages).toSorted()).toEqual([
      'finding-1-picture.html',
      'finding-1.html',
      'finding-1.script',
      'index.html',
    ])
    const index = readFileSync(join(pages, 'index.html'), 'utf8')
    for (const [, link = ''] of index.matchAll(/href="([^"]+)"/g))
      expect(existsSync(join(pages, link)), link).toBe(true)
  })

  it('can be played again on the running bot: 1 as long as it breaks, 0 once it is mended', async () => {
    const script = join(pages, 'finding-1.script')
    const broken = await smallhours('talk', '--flows', flows, '--script', script)
    expect(broken.code).toBe(1)
    expect(broken.out).toMatch(
      /NOT AS WANTED:\n {2}must says call-emergency\n {2}must says stop-feed\n {2}must pages danger\n {2}must decides ambulance\n$/,
    )
    // The bot says what the check told, to the family and to the clinician.
    expect(broken.out).toContain('? Look at the lips, tongue and palms in good light. Is their colour as usual?')
    expect(broken.out).toMatch(/\[page to Amara Osei: WANTS CLINICIAN, since 02:10\./)
    const mended = await smallhours('talk', '--script', script)
    expect(mended.code).toBe(0)
    expect(mended.out).toMatch(/\nAs wanted:\n {2}must says call-emergency/)
  })

  it('says so where a mend leads the conversation another way', async () => {
    const elsewhere = flowsCopy('elsewhere')
    edit(
      elsewhere,
      'shared/steps.yaml',
      '- { if: { wakes: [no] }, go: emergency }',
      '- { if: { wakes: [no] }, go: emergency }\n      - { if: { wakes: [yes] }, go: check-colour }',
    )
    const { code, out } = await smallhours('talk', '--flows', elsewhere, '--script', join(pages, 'finding-1.script'))
    expect(code).toBe(0)
    expect(out).toContain(
      'The conversation goes another way now. "tap breathes no": breathes is not asked there any more',
    )
  })
})

describe('check --against', () => {
  const before = join(ROOT, 'flows')

  it('shows the old and the new text of words that were changed, and what they are part of', async () => {
    const flows = flowsCopy('reworded')
    const old = 'say/keep-tube: Keep the tube that came out, and any piece of it.'
    edit(flows, 'shared/wording.en.yaml', old, 'say/keep-tube: Keep the tube that came out. Keep any piece of it.')
    const { code, out } = await smallhours('check', flows, '--flow', 'someone', '--against', before)
    expect(code).toBe(0)
    expect(out).toMatch(/^tube-out: 1 change of words only\. Nobody had approved it as it was\.$/m)
    expect(out).toContain(
      [
        '  ~ wording.en.say/keep-tube',
        '      was: Keep the tube that came out, and any piece of it.',
        '      is:  Keep the tube that came out. Keep any piece of it.',
      ].join('\n'),
    )
  })

  it('names whose approval lapses', async () => {
    const clinic = join(folder, 'approving-clinic')
    cpSync(join(ROOT, 'deploy/demo-clinic'), clinic, { recursive: true })
    walkedAlready(clinic, instant(Date.parse('2026-03-01T07:10:00Z')))
    const approved = await smallhours('approve', 'tube-out', '--by', 'amara', '--clinic', clinic)
    expect([approved.code, approved.err]).toEqual([0, ''])
    const args = ['--flow', 'someone', '--clinic', clinic, '--against', before]
    const { out } = await smallhours('check', join(folder, 'reworded'), ...args)
    expect(out).toMatch(/^tube-out: 1 change of words only\. The approval of Amara Osei lapses\.$/m)
  })

  it('says that nothing differs where nothing does', async () => {
    const { out } = await smallhours('check', '--flow', 'someone', '--against', before)
    expect(out).toContain('Nothing that is approved differs')
  })
})

describe('check --watch', () => {
  let child: ChildProcess | undefined
  afterAll(() => child?.kill())

  it('checks again when a file changes, and prints only what is new and what is mended', async () => {
    const flows = flowsCopy('watched')
    const bin = join(ROOT, 'node_modules/.bin/node')
    child = spawn(bin, [join(ROOT, 'src/cli/main.ts'), 'check', flows, '--flow', 'someone', '--watch'])
    let seen = ''
    child.stdout?.setEncoding('utf8').on('data', text => (seen += text))
    child.stderr?.setEncoding('utf8').on('data', text => (seen += text))
    const until = async (words: RegExp) => {
      await expect.poll(() => seen, { timeout: 40_000, interval: 100 }).toMatch(words)
      const all = seen
      seen = ''
      return all
    }
    await until(/– holds:[\s\S]*Watching/)
    edit(flows, 'shared/steps.yaml', SOUND, BROKEN)
    expect(await until(/1 left\./)).toMatch(new RegExp(`^new: ${RULE} \\(someone\\): A single check`, 'm'))
    edit(flows, 'shared/steps.yaml', BROKEN, SOUND)
    const after = await until(/Everything holds\./)
    expect(after).toMatch(new RegExp(`^mended: ${RULE}`, 'm'))
    expect(after).not.toContain('transitions')
  }, 120_000)
})
