import { spawn } from 'node:child_process'
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { ROOT } from '../support/clone.ts'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-cli-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

function written(name: string, text: string): string {
  const path = join(folder, name)
  writeFileSync(path, text)
  return path
}

// Bands worked out by hand: out at 06:50, 25 minutes away, soonest 60 minutes: leave by 07:25.
const PLAIN = `- id: out-plain
  title: Balloon tube out for 20 minutes, first tube three weeks ago
  source: { title: common practice, how: practice }
  at: 2026-03-01T07:10:00Z
  concern: tube-out
  answers:
    in-opening: nothing
    danger-signs: [none]
    device: balloon-long
    out-since: PT20M
    travel: PT25M
    first-placed: P3W
    fasting-risk: [none]
    critical-medicine-due: no
    replaced: not-tried
    tube-found: yes
    pain-or-bleeding: no
  policy: { home-replacement: off }
  expect:
    decides: set-out
    advises: [cover-opening, nothing-into-opening, go-hospital]
    never: [puts-into-site, restarts-feed]
    pages: true
    leave-by: 2026-03-01T07:25:00Z
    questions-at-most: 16
`
const plain = written('plain.yaml', PLAIN)

/** The shipped flows with one piece of one file replaced. */
function flowsWith(name: string, file: string, from: string, to: string): string {
  const copy = join(folder, name)
  cpSync(join(ROOT, 'flows'), copy, { recursive: true })
  const text = readFileSync(join(copy, file), 'utf8')
  if (text.split(from).length !== 2) throw new Error(`"${from}" is to stand once in ${file}`)
  writeFileSync(
    join(copy, file),
    text.replace(from, () => to),
  )
  return copy
}

describe('vignettes', () => {
  it('prints with --json exactly a list of rows, and ends with 0 when all are as expected', async () => {
    const { code, out, err } = await smallhours('vignettes', plain, '--json')
    expect([code, err]).toEqual([0, ''])
    const rows = JSON.parse(out) as Record<string, unknown>[]
    expect(rows).toHaveLength(1)
    expect(Object.keys(rows[0] ?? {})).toEqual([
      'id',
      'pass',
      'decided',
      'advised',
      'pages',
      'leaveBy',
      'questions',
      'failures',
    ])
    expect(rows[0]).toMatchObject({ id: 'out-plain', pass: true, decided: 'set-out', pages: true, failures: [] })
    expect(rows[0]?.leaveBy).toBe('2026-03-01T07:25:00.000Z')
    expect(rows[0]?.advised).toEqual(expect.arrayContaining(['cover-opening', 'call-emergency', 'take-kit']))
    expect(rows[0]?.questions).toBeGreaterThan(5)
  })

  it('ends with 1 and says what falls short, one row a vignette', async () => {
    const wrong = written(
      'wrong.yaml',
      PLAIN.replace('id: out-plain', 'id: out-wrong')
        .replace('decides: set-out', 'decides: at-home')
        .replace('advises: [cover-opening', 'advises: [replace-tube, cover-opening')
        .replace('never: [puts-into-site', 'never: [stop-feed, puts-into-site')
        .replace('pages: true', 'pages: false')
        .replace('07:25:00Z\n    q', '07:26:00Z\n    q')
        .replace('at-most: 16', 'at-most: 2'),
    )
    const { code, out } = await smallhours('vignettes', plain, wrong, '--json')
    expect(code).toBe(1)
    const rows = JSON.parse(out) as { id: string; pass: boolean; failures: string[] }[]
    expect(rows.map(({ id, pass }) => `${id} ${pass}`)).toEqual(['out-plain true', 'out-wrong false'])
    expect(rows[1]?.failures).toEqual([
      'decided set-out; expected at-home',
      '"replace-tube" was not advised',
      '"stop-feed" was advised',
      'a page went out',
      'leave-by 2026-03-01T07:25:00.000Z; expected 2026-03-01T07:26:00Z',
      expect.stringMatching(/^\d+ questions; expected at most 2$/),
    ])
    const shown = await smallhours('vignettes', wrong)
    expect(shown.code).toBe(1)
    expect(shown.out).toContain('FALLS SHORT  out-wrong: set-out')
    expect(shown.out).toContain('decided set-out; expected at-home')
  })

  it('passes "at-least" for what is more urgent and not for what is less', async () => {
    const atLeast = (id: string, least: string) =>
      PLAIN.replace('id: out-plain', `id: ${id}`).replace('decides: set-out', `at-least: ${least}`)
    const file = written(
      'least.yaml',
      ['tell-clinic', 'set-out', 'ambulance'].map((least, i) => atLeast(`least-${i}`, least)).join('\n'),
    )
    const { code, out } = await smallhours('vignettes', file, '--json')
    expect(code).toBe(1)
    expect((JSON.parse(out) as { pass: boolean }[]).map(({ pass }) => pass)).toEqual([true, true, false])
  })

  it('names every unknown fact, value, tag, setting and key with line, column and the nearest, and runs none', async () => {
    const text = PLAIN.replace('device: balloon-long', 'devise: balloon-long')
      .replace('danger-signs: [none]', 'danger-signs: [non]')
      .replace('[puts-into-site', '[put-into-site')
      .replace('{ home-replacement: off }', '{ home-replacment: off }')
      .replace('concern: tube-out', 'concern: tube-oot')
      .replace('pages: true', 'pages: true\n    payes: true')
    const file = written('faulty.yaml', text)
    const at = (found: string) => {
      const lines = text.slice(0, text.indexOf(found)).split('\n')
      return `${file}:${lines.length}:${(lines.at(-1) ?? '').length + 1}`
    }
    const { code, out, err } = await smallhours('vignettes', file, '--json')
    expect([code, out]).toEqual([1, '[]\n'])
    const lines = err.trim().split('\n')
    for (const expected of [
      `${at('tube-oot')} UNKNOWN_ID: unknown concern "tube-oot"; expected an existing concern; did you mean "tube-out"?`,
      `${at('non]')} UNKNOWN_ID: unknown value of danger-signs "non"; expected an existing value of danger-signs; did you mean "none"?`,
      `${at('devise')} UNKNOWN_ID: unknown fact "devise"; expected an existing fact; did you mean "device"?`,
      `${at('off }')} UNKNOWN_SETTING: unknown setting "home-replacment"; expected a setting that exists; did you mean "home-replacement"?`,
      `${at('put-into-site')} UNKNOWN_ID: unknown tag "put-into-site"; expected a tag of shared/tags.yaml; did you mean "puts-into-site"?`,
    ])
      expect(lines).toContain(expected)
    expect(lines.some(line => line.startsWith(`${at('payes')} UNKNOWN_KEY: unknown key "payes"`))).toBe(true)
  })

  it('takes no id twice, and neither a policy value that is none nor a file that is no list', async () => {
    const twice = await smallhours('vignettes', written('twice.yaml', `${PLAIN}${PLAIN}`))
    expect(twice.code).toBe(1)
    expect(twice.err).toMatch(/twice\.yaml:26:7 ID_TWICE: vignette "out-plain" a second time/)
    const value = await smallhours(
      'vignettes',
      written('value.yaml', PLAIN.replace('home-replacement: off', 'home-replacement: perhaps')),
    )
    expect(value.code).toBe(1)
    expect(value.err).toMatch(/value\.yaml:18:\d+ \S+: "perhaps" for home-replacement; expected .*on/)
    const map = await smallhours('vignettes', written('map.yaml', 'id: alone\n'))
    expect(map.code).toBe(1)
    expect(map.err).toMatch(/map\.yaml:1:1/)
  })

  it('is called wrongly without a file, with a file that there is not, or with an unknown option: 2', async () => {
    for (const args of [
      [],
      [join(folder, 'nowhere.yaml')],
      [plain, '--jsn'],
      [plain, '--flows', join(folder, 'nowhere')],
    ]) {
      const { code, out, err } = await smallhours('vignettes', ...args)
      expect([args, code, out]).toEqual([args, 2, ''])
      expect(err).toContain('smallhours vignettes FILE…')
      expect(err).not.toContain('    at ')
    }
  })

  it('notices a flow whose target was swapped, whose page was taken away, or whose clock never starts', async () => {
    const broken = [
      flowsWith(
        'swapped',
        'tube-out/flow.yaml',
        '      - { go: lock-shut }\n\n  # A try that went badly',
        '      - { go: nasal }\n\n  # A try that went badly',
      ),
      flowsWith('unpaged', 'tube-out/flow.yaml', '    page: tube-out\n    go: out-since\n', '    go: out-since\n'),
      flowsWith(
        'soon',
        'tube-out/flow.yaml',
        '  out-since:\n    ask: out-since\n',
        '  out-since:\n    ask: feed-running\n',
      ),
    ]
    const failures = await Promise.all(
      broken.map(async flows => {
        const { code, out, err } = await smallhours('vignettes', plain, '--flows', flows, '--json')
        expect([code, err]).toEqual([1, ''])
        return (JSON.parse(out) as { failures: string[] }[])[0]?.failures.join(' | ')
      }),
    )
    expect(failures[0]).toContain('decided speak; expected set-out')
    expect(failures[1]).toContain('no page went out')
    expect(failures[2]).toContain('leave-by not known')
  })
})

describe('clinic', () => {
  it('says 0 for the demonstration and 1 with the line of each fault', async () => {
    const shipped = await smallhours('clinic')
    expect([shipped.code, shipped.out.trimEnd().split('\n').at(-1)]).toEqual([0, 'The clinic file can be used.'])
    expect(shipped.out).toMatch(
      /^4 findings about words let pass, each for a reason:\n {2}shared\/lint-exceptions\.yaml:\d+ "/,
    )
    const own = join(folder, 'own-clinic')
    mkdirSync(own)
    const text = readFileSync(join(ROOT, 'deploy/demo-clinic/clinic.yaml'), 'utf8')
    const line = text.split('\n').findIndex(one => one.startsWith('  zone:')) + 1
    writeFileSync(join(own, 'clinic.yaml'), text.replace('zone: America/New_York', 'zone: America/New_Yorck'))
    const { code, err } = await smallhours('clinic', '--clinic', own)
    expect(code).toBe(1)
    expect(err).toContain(`clinic.yaml:${line}:9 ZONE_UNKNOWN`)
    const json = await smallhours('clinic', '--clinic', own, '--json')
    expect([json.code, json.err]).toEqual([1, ''])
    expect((JSON.parse(json.out) as { problems: { code: string }[] }).problems.map(problem => problem.code)).toContain(
      'ZONE_UNKNOWN',
    )
  })

  it('says 1 for a folder without a clinic', async () => {
    const { code, err } = await smallhours('clinic', '--clinic', join(folder, 'nowhere'))
    expect(code).toBe(1)
    expect(err).toContain('FILE_UNREADABLE')
  })
})

describe('rota', () => {
  it('says who is on call at an instant: by night the rota, by day the desk first', async () => {
    const at = async (when: string) =>
      JSON.parse((await smallhours('rota', 'at', when, '--json')).out) as { rungs: { id: string }[] }
    expect((await at('2026-03-01T07:10:00Z')).rungs.map(({ id }) => id)).toEqual(['amara', 'ingrid', 'ward-desk'])
    expect((await at('2026-03-02T15:00:00Z')).rungs.map(({ id }) => id)).toEqual([
      'day-desk',
      'amara',
      'yusuf',
      'ward-desk',
    ])
    const shown = await smallhours('rota', 'at', '2026-03-01T02:10:00-05:00')
    expect(shown).toMatchObject({ code: 0 })
    expect(shown.out).toContain('Amara Osei')
  })

  it('finds no gap in the demonstration, and ends with 1 for a week with a hole', async () => {
    expect(await smallhours('rota', 'gaps')).toMatchObject({ code: 0, out: 'No gaps in the next 90 days.\n' })
    const own = join(folder, 'gap-clinic')
    mkdirSync(own)
    const text = readFileSync(join(ROOT, 'deploy/demo-clinic/clinic.yaml'), 'utf8')
    writeFileSync(
      join(own, 'clinic.yaml'),
      text
        .replace('      - { from: 18:00, to: 08:00, who: linh }\n    thursday', '    thursday')
        .replace('  - { desk: ward-desk }\n', '')
        .replace('  - { on-call: second }\n', ''),
    )
    const { code, out } = await smallhours('rota', 'gaps', '--clinic', own)
    expect(code).toBe(1)
    expect(out).toMatch(/nobody from Wed.* 6:00 pm until Thu.* 8:00 am/)
  })

  it('says of each duty until when it lasts and why it stands; a local time is one of the clinic', async () => {
    const { out } = await smallhours('rota', 'at', '2026-12-25 09:00', '--json')
    expect(JSON.parse(out)).toMatchObject({
      at: '2026-12-25T14:00:00.000Z',
      duties: [
        { role: 'first', who: 'tomas', because: 'pattern' },
        { role: 'second', who: 'ingrid', because: 'dated', why: 'holiday', until: '2026-12-26T13:00:00.000Z' },
      ],
    })
    expect((await smallhours('rota', 'at', '2026-12-25 09:00')).out).toContain(
      'second: Dr. Ingrid Solheim, from Friday 25 December 8:00 am until Saturday 26 December 8:00 am; a dated change (holiday)',
    )
  })

  it('prints a month, day by day', async () => {
    const { code, out } = await smallhours('rota', 'calendar', '--month', '2026-12')
    expect(code).toBe(0)
    expect(out).toContain(
      'fri 2026-12-25\n  first: 00:00 Linh Tran, 08:00 Tomás Herrera, 18:00 Amara Osei\n  second: 00:00 Dr. Ingrid Solheim\n',
    )
    const days = (
      JSON.parse((await smallhours('rota', 'calendar', '--month', '2026-12', '--json')).out) as { days: [] }
    ).days
    expect(days).toHaveLength(31)
    expect((await smallhours('rota', 'calendar', '--month', '2026-13')).code).toBe(2)
  })

  it('shows a swap as one sentence, and writes it with --yes only', async () => {
    const own = join(folder, 'swap-clinic')
    cpSync(join(ROOT, 'deploy/demo-clinic'), own, { recursive: true })
    const file = join(own, 'clinic.yaml')
    const before = readFileSync(file, 'utf8')
    // Wednesdays at 18:00 are Linh's; a date far ahead, so that it is never past.
    const swap = ['rota', 'swap', 'first', '2097-01-02 18:00', 'linh', 'amara', '--clinic', own]
    const shown = await smallhours(...swap)
    expect(shown.code).toBe(0)
    expect(shown.out).toContain('Amara Osei takes the shift of Linh Tran as "first" from Wed 2 Jan 2097 6:00 PM')
    expect(readFileSync(file, 'utf8')).toBe(before)
    expect(await smallhours(...swap, '--yes')).toMatchObject({ code: 0, out: expect.stringContaining('Written.') })
    expect(readFileSync(file, 'utf8').startsWith(before)).toBe(true)
    expect(
      JSON.parse((await smallhours('rota', 'at', '2097-01-02 20:00', '--clinic', own, '--json')).out),
    ).toMatchObject({
      duties: [{ role: 'first', who: 'amara', because: 'swap', takenFrom: 'linh' }, { role: 'second' }],
    })
    const wrong = await smallhours(
      'rota',
      'swap',
      'first',
      '2097-01-02 19:00',
      'linh',
      'amara',
      '--clinic',
      own,
      '--yes',
    )
    expect(wrong.code).toBe(1)
    expect(wrong.err).toContain('SWAP_UNMATCHED')
  })

  it('is called wrongly with other words, or with an instant that names no zone: 2', async () => {
    for (const args of [[], ['tonight'], ['at', 'banana'], ['at', '2026-03-01T02:10']]) {
      const { code, out, err } = await smallhours('rota', ...args)
      expect([args, code, out]).toEqual([args, 2, ''])
      expect(err).toContain('smallhours rota at [INSTANT]')
    }
  })
})

describe('any command', () => {
  it('that there is not: 2, with those that there are; help: 0', async () => {
    const unknown = await smallhours('vignetes')
    expect([unknown.code, unknown.out]).toEqual([2, ''])
    expect(unknown.err).toMatch(/the commands are serve, talk, vignettes, .*check/)
    expect((await smallhours()).code).toBe(2)
    const help = await smallhours('help')
    expect(help.code).toBe(0)
    for (const name of ['serve', 'talk', 'vignettes', 'check', 'clinic', 'rota']) expect(help.out).toContain(name)
    expect(await smallhours('rota', '--help')).toMatchObject({ code: 0, err: '' })
  })

  it('read by somebody who stops reading: no fault', async () => {
    // Through a pipe of 64 kB, which does not hold the 130 kB that are told.
    const words = [process.execPath, join(ROOT, 'src/cli/main.ts'), 'approve', 'tube-out', '--show']
    const child = spawn('bash', ['-c', 'set -o pipefail; "$0" "$@" | head -n 1 >/dev/null', ...words])
    let told = ''
    child.stderr.on('data', (piece: Buffer) => {
      told += piece
    })
    const code = await new Promise(resolve => child.once('close', resolve))
    expect([code, told]).toEqual([0, ''])
  })
})
