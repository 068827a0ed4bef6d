import { spawn } from 'node:child_process'
import { appendFileSync, chmodSync, cpSync, existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { Redis } from 'ioredis'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { remembering } from '../../src/cli/again.ts'
import { guarded, standsInTheWay } from '../../src/cli/guards.ts'
import { guards } from '../../src/config/guard.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { ROOT } from '../support/clone.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { approveAll, NOTHING_FOR_FICTION, wholeClinic } from '../support/whole-clinic.ts'
import { eventually, NIGHT, newFolder } from './process.ts'
import { visit } from './visit.ts'

const laterClock = fileURLToPath(new URL('./later-clock.js', import.meta.url))
const DAY_MS = 86_400_000
const PUBLIC = 'https://feeding.quay.test'

// As the preload does it in the processes: nothing counts as kept for fiction.
vi.mock('../../src/config/fiction.ts', async original => ({
  ...(await original<typeof import('../../src/config/fiction.ts')>()),
  isForFiction: () => false,
  isReservedName: () => false,
}))

const page = readFileSync(join(ROOT, 'docs/operating/guards.md'), 'utf8')

/** Rows of the page's tables: code, guard, what it says, and what to do where that stands there. */
const rows = new Map(
  [...page.matchAll(/^\| `([A-Z_]+)` \| (\w+) \| (.*?) \|(?: (.*?) \|)?$/gm)].map(
    ([, code = '', guard = '', says = '', todo]): [
      string,
      { guard: string; says: string; todo: string | undefined },
    ] => [code, { guard, says, todo }],
  ),
)

/** A text of the page as it may look with what differs filled in. */
const filled = (text: string): string =>
  text
    .split('…')
    .map(part => part.replace(/[.*+?^${}()|[\]\\]/g, '\\$&'))
    .join('.*?')

interface Ended {
  readonly code: number | null
  readonly output: string
}

interface Place {
  readonly clinic: string
  readonly data: string
}

/** Runs a command on a clinic; ends it once it serves. Fiction counts as fiction only where `isFictionKnown`. */
function run(command: string, place: Place, args: readonly string[] = [], isFictionKnown = false): Promise<Ended> {
  const preload = ['--import', laterClock, ...(isFictionKnown ? [] : ['--import', NOTHING_FOR_FICTION])]
  const port = command === 'serve' ? ['--port', '0'] : []
  const main = ['src/cli/main.ts', command, '--clinic', place.clinic, '--data', place.data, ...port, ...args]
  const child = spawn(process.execPath, [...preload, ...main], {
    cwd: ROOT,
    env: { ...process.env, CLOCK_AHEAD_MS: String(NIGHT - Date.now()) },
    stdio: ['ignore', 'pipe', 'pipe'],
  })
  let output = ''
  for (const stream of [child.stdout, child.stderr]) {
    stream.setEncoding('utf8').on('data', text => {
      output += text
      if (/Stop with Ctrl-C/.test(output)) child.kill('SIGTERM')
    })
  }
  return new Promise(resolve => child.once('close', code => resolve({ code, output })))
}

/** Whether it served and ended well when told to; throws with what it wrote where it served and then ended otherwise. */
function serves({ output, code }: Ended): boolean {
  const isServed = /Stop with Ctrl-C/.test(output)
  if (isServed && code !== 0) throw new Error(`it served, and ended with ${code}: ${output}`)
  return isServed
}

const whole = newFolder()
let original: Place
let forgetful: RedisServer
let shared: RedisServer
beforeAll(async () => {
  forgetful = await redisServer([])
  shared = await redisServer()
  // A process of the line that lives, and that no data folder here knows.
  const redis = new Redis({ host: '127.0.0.1', port: shared.port, protocol: 2 })
  await redis.zadd('{sh0}:members', Date.now() + 3_600_000, 'from-elsewhere')
  redis.disconnect()
  original = wholeClinic(whole.path, instant(NIGHT - DAY_MS))
})
afterAll(async () => {
  await forgetful.discard()
  await shared.discard()
  whole.remove()
})

let count = 0
/** A copy of the whole clinic, to be spoilt. */
function copied(): Place {
  count += 1
  const place = { clinic: join(whole.path, `clinic-${count}`), data: join(whole.path, `data-${count}`) }
  cpSync(original.clinic, place.clinic, { recursive: true })
  cpSync(original.data, place.data, { recursive: true })
  chmodSync(place.data, 0o700)
  return place
}

function edit(file: string, from: string, to: string): void {
  const text = readFileSync(file, 'utf8')
  if (text.split(from).length !== 2) throw new Error(`"${from}" does not stand exactly once in ${file}`)
  writeFileSync(
    file,
    text.replace(from, () => to),
  )
}

const clinicFile = ({ clinic }: Place) => join(clinic, 'clinic.yaml')
const inFile = (from: string, to: string) => (place: Place) => edit(clinicFile(place), from, to)
const inClinic = (name: string, text: string) => (place: Place) => writeFileSync(join(place.clinic, name), text)
const inData = (name: string, text: string) => (place: Place) => writeFileSync(join(place.data, name), text)
const mode = (name: string, bits: number, where: 'clinic' | 'data') => (place: Place) =>
  chmodSync(join(place[where], name), bits)
const gone = (name: string, where: 'clinic' | 'data') => (place: Place) => rmSync(join(place[where], name))

interface Case {
  readonly code: string
  /** Cases of one number are spoilt into one clinic and told by one process. */
  readonly run: number
  readonly spoil: (place: Place) => void
  /** Another data folder than the clinic's own, made from it. */
  readonly data?: (data: string) => string
  readonly args?: readonly string[]
  readonly isFictionKnown?: boolean
  readonly command?: 'ready'
}

const saturday = `    saturday:
      - { from: 08:00, to: 18:00, who: linh }
      - { from: 18:00, to: 08:00, who: amara }
    sunday:
      - { from: 08:00, to: 18:00, who: linh }`

const wholeLadder =
  '  - { desk: day-desk, when: open }\n  - { on-call: first }\n  - { on-call: second }\n  - { desk: ward-desk }\n'

const cases: readonly Case[] = [
  { run: 1, code: 'PLACEHOLDER', spoil: inFile('name: Quay feeding clinic', 'name: todo') },
  { run: 2, code: 'PLACEHOLDER', spoil: inFile('name: Quay feeding clinic', 'name: Harbour Lights feeding clinic') },
  { run: 4, code: 'NUMBER_FICTION', spoil: () => {}, isFictionKnown: true },
  { run: 4, code: 'ADDRESS_FICTION', spoil: () => {}, isFictionKnown: true },
  { run: 1, code: 'PAGER_LOOPBACK', spoil: inFile('host: mail.quay.test', 'host: 127.0.0.1') },
  { run: 1, code: 'EMERGENCY_UNLIKELY', spoil: inFile('emergency: { number: "911" }', 'emergency: { number: "999" }') },
  { run: 2, code: 'SECRET_INSIDE', spoil: inFile('password-file: smtp-password', 'password: correct-horse') },
  { run: 1, code: 'SECRET_MISSING', spoil: gone('smtp-password', 'clinic') },
  { run: 1, code: 'SECRET_OPEN', spoil: mode('webhook-secret', 0o644, 'clinic') },
  { run: 3, code: 'SECRET_SHORT', spoil: inClinic('webhook-secret', 'whsec_c2hvcnQ=') },
  { run: 1, code: 'CLINIC_KEYS_MISSING', spoil: gone('clinic-keys', 'data') },
  { run: 2, code: 'CLINIC_KEYS_OPEN', spoil: mode('clinic-keys', 0o640, 'data') },
  { run: 3, code: 'CLINIC_KEYS_BROKEN', spoil: inData('clinic-keys', '00000000 abcdef\n') },
  { run: 3, code: 'SIGNING_KEY_MISSING', spoil: gone('signing-key', 'data') },
  { run: 1, code: 'SIGNING_KEY_OPEN', spoil: mode('signing-key', 0o644, 'data') },
  { run: 2, code: 'SIGNING_KEY_BROKEN', spoil: inData('signing-key', 'abcdef') },
  { run: 1, code: 'SETTING_UNSET', spoil: inFile('  closure-soonest: PT60M\n', '') },
  { run: 1, code: 'SIGN_OFF_MISSING', spoil: inFile('  hold-open-new: off', '  hold-open-new: on') },
  { run: 2, code: 'NOT_APPROVED', spoil: place => rmSync(join(place.clinic, 'approvals'), { recursive: true }) },
  {
    run: 1,
    code: 'ROTA_GAP',
    spoil: inFile(
      saturday,
      saturday
        .replace('    sunday', '    # 36 hours without anybody\n    sunday')
        .replace('      - { from: 18:00, to: 08:00, who: amara }\n', ''),
    ),
  },
  {
    run: 1,
    code: 'LADDER_EMPTY',
    spoil: inFile(
      wholeLadder,
      '  - { on-call: first, when: 18:00-08:00 }\n  - { on-call: second, when: 18:00-08:00 }\n',
    ),
  },
  {
    run: 2,
    code: 'NOBODY_REACHED',
    spoil: inFile('    page-at:\n      - { pager: smtp, address: malia@harbourlights.quay.test }\n', ''),
  },
  { run: 2, code: 'HAS_LEFT', spoil: inFile('  tomas:\n', '  tomas:\n    left: yes\n') },
  {
    run: 1,
    code: 'DATES_RUN_OUT',
    spoil: inFile(
      '    2026-11-26: closed\n    2026-12-24: 08:00-12:00\n    2026-12-25: closed\n    2027-01-01: closed\n',
      '    2026-01-01: closed\n',
    ),
  },
  { run: 5, code: 'DATA_MISSING', spoil: () => {}, data: data => join(data, 'nowhere') },
  { run: 1, code: 'DATA_OPEN', spoil: place => chmodSync(place.data, 0o755) },
  {
    run: 6,
    code: 'DATA_SYNCED',
    spoil: ({ data }) => mkdirSync(join(data, 'Nextcloud', 'smallhours'), { recursive: true, mode: 0o700 }),
    data: data => join(data, 'Nextcloud', 'smallhours'),
  },
  { run: 7, code: 'DATA_UNWRITABLE', spoil: () => {}, data: data => join(data, 'signing-key') },
  {
    run: 2,
    code: 'PLAIN_HTTP',
    spoil: inFile('  web-address: https://feeding.quay.test\n', ''),
    args: ['--host', '0.0.0.0'],
  },
  { run: 8, code: 'NUMBER_REAL', spoil: inFile('demonstration: no', 'demonstration: yes') },
  { run: 8, code: 'ADDRESS_REAL', spoil: () => {} },
  {
    run: 9,
    code: 'STORE_SILENT',
    command: 'ready',
    spoil: place => appendFileSync(clinicFile(place), '\nstore:\n  redis: redis://127.0.0.1:1\n'),
  },
  {
    run: 10,
    code: 'STORE_VOLATILE',
    command: 'ready',
    spoil: place => appendFileSync(clinicFile(place), `\nstore:\n  redis: redis://127.0.0.1:${forgetful.port}\n`),
  },
  {
    run: 11,
    code: 'STORE_KEYS_APART',
    command: 'ready',
    spoil: place => appendFileSync(clinicFile(place), `\nstore:\n  redis: redis://127.0.0.1:${shared.port}\n`),
  },
  {
    run: 9,
    code: 'VIGNETTE_SHORT',
    command: 'ready',
    spoil: place => {
      mkdirSync(join(place.clinic, 'vignettes'))
      const shipped = readFileSync(join(ROOT, 'tests/vignettes/not-sure.yaml'), 'utf8')
      const first = shipped.slice(shipped.indexOf('- id:'), shipped.indexOf('\n- id:', shipped.indexOf('- id:')))
      writeFileSync(
        join(place.clinic, 'vignettes/own.yaml'),
        `${first.replace(/expect:[\s\S]*$/, 'expect: { decides: at-home }')}\n`,
      )
    },
  },
]

describe('a complete clinic', { timeout: 60_000 }, () => {
  it('is ready, is served, and says nowhere that it is a demonstration', async () => {
    const ready = await run('ready', copied(), ['--json'])
    const document = JSON.parse(ready.output) as { ready: boolean; guards: { id: string; passed: boolean }[] }
    expect(document.guards.filter(({ passed }) => !passed)).toEqual([])
    expect([ready.code, document.ready]).toEqual([0, true])
    expect(document.guards.map(({ id }) => id)).toEqual(Object.keys(guards))

    const { output, code } = await served(copied(), async origin => {
      const family = visit(origin)
      const first = await family.open('/')
      expect(first.status).toBe(200)
      expect(first.text).toContain('Quay feeding clinic')
      for (const path of ['/', '/handover', '/offline', '/nowhere']) {
        expect((await family.open(path)).markup, path).not.toMatch(/demonstration/i)
      }
      // Of the clinic's side nothing shows without signing in.
      for (const path of ['/board', '/now', '/on-call', '/flows', '/settings', '/people', '/account'])
        expect((await family.open(path)).text, path).toContain('Sign in')
    })
    expect(code).toBe(0)
    expect(output).toContain('Quay feeding clinic: https://feeding.quay.test')
    expect(output).not.toMatch(/demonstration/i)
  })

  it('with one changed character of wording is not served, and is served again once two have approved', async () => {
    const place = copied()
    const words = join(place.clinic, 'flows/tube-out/wording.en.yaml')
    writeFileSync(words, readFileSync(words, 'utf8').replace(/^(say\/no-tries: .*)\.$/m, '$1!'))
    const refused = await run('serve', place)
    expect(refused.code).toBe(1)
    const codes = [...refused.output.matchAll(/ ([A-Z_]{5,})(?: \(warning\))?: /g)].map(([, code]) => code)
    expect(codes.filter(code => code !== 'RUNS_AS_ROOT')).toEqual(['NOT_APPROVED'])
    expect(refused.output).toMatch(
      /tube-out \([0-9a-f]{12}\) has 0 of 2 approvals; it has changed since it was approved/,
    )
    approveAll(place.clinic, instant(NIGHT - 60_000))
    expect(serves(await run('serve', place))).toBe(true)
  })

  it('with only a comment and the layout changed is served', async () => {
    const place = copied()
    const flow = join(place.clinic, 'flows/tube-out/flow.yaml')
    writeFileSync(flow, `# A remark of the clinic\n\n${readFileSync(flow, 'utf8')}\n`)
    expect(serves(await run('serve', place))).toBe(true)
  })
})

/** Serves until `look` is done, then stops it. */
async function served(place: Place, look: (origin: string) => Promise<void>): Promise<Ended> {
  const child = spawn(
    process.execPath,
    [
      '--import',
      laterClock,
      '--import',
      NOTHING_FOR_FICTION,
      'src/cli/main.ts',
      'serve',
      '--clinic',
      place.clinic,
      '--data',
      place.data,
      '--port',
      '0',
    ],
    {
      cwd: ROOT,
      env: { ...process.env, CLOCK_AHEAD_MS: String(NIGHT - Date.now()) },
      stdio: ['ignore', 'pipe', 'pipe'],
    },
  )
  let output = ''
  for (const stream of [child.stdout, child.stderr]) stream.setEncoding('utf8').on('data', text => (output += text))
  const ended = new Promise<number | null>(resolve => child.once('close', resolve))
  try {
    const until = performance.now() + 30_000
    while (!/Stop with Ctrl-C/.test(output)) {
      if (child.exitCode !== null || performance.now() > until) throw new Error(`it did not serve: ${output}`)
      await new Promise(resolve => setTimeout(resolve, 30))
    }
    await look(/^Listening: +(http:\S+?)\/$/m.exec(output)?.[1] ?? '')
  } catch (error) {
    throw new Error(`it wrote: ${output}`, { cause: error })
  } finally {
    child.kill('SIGTERM')
  }
  return { code: await ended, output }
}

/** Everything of one run spoilt into one clinic, and what the process then said. */
const told = new Map<number, Promise<Ended & { readonly isUntouched: boolean }>>()
function runOf(number: number) {
  const before = told.get(number)
  if (before !== undefined) return before
  const these = cases.filter(one => one.run === number)
  const made = copied()
  for (const { spoil } of these) spoil(made)
  const data = these.find(one => one.data !== undefined)?.data?.(made.data) ?? made.data
  const isFictionKnown = these.some(one => one.isFictionKnown === true)
  const ended = run(
    these[0]?.command ?? 'serve',
    { ...made, data },
    these.flatMap(({ args = [] }) => args),
    isFictionKnown,
  ).then(({ code, output }) => ({ code, output, isUntouched: !existsSync(join(data, 'smallhours.sqlite')) }))
  told.set(number, ended)
  return ended
}

describe('the real process tells each refusal as the page says, all of one clinic in one run, and serves nothing', {
  timeout: 60_000,
}, () => {
  it.each(cases)('$code', async ({ code, run: number }) => {
    const { code: exit, output, isUntouched } = await runOf(number)
    const row = rows.get(code)
    if (row === undefined) throw new Error(`${code} stands in no table of docs/operating/guards.md`)
    expect(output).toMatch(new RegExp(`^ *\\S.* ${code}: ${filled(row.says)}\n +Do: ${filled(row.todo ?? '')}$`, 'm'))
    expect([exit, isUntouched]).toEqual([1, true])
  })

  it('ready tells the same as serve', async () => {
    const place = copied()
    inFile('name: Quay feeding clinic', 'name: todo')(place)
    inFile('  closure-soonest: PT60M\n', '')(place)
    gone('signing-key', 'data')(place)
    rmSync(join(place.clinic, 'approvals/lexicon.yaml'))
    const { output } = await run('serve', place, [], true)
    const ready = await run('ready', place, ['--json'], true)
    const { guards: looked } = JSON.parse(ready.output) as { guards: { refusals: { code: string; found: string }[] }[] }
    const refusals = looked.flatMap(one => one.refusals)
    expect(refusals.length).toBeGreaterThan(20)
    for (const { code, found } of refusals)
      expect(output).toMatch(new RegExp(`${code}( \\(warning\\))?: ${filled(found)}`))
  })
})

describe('each alone keeps a clinic from being served', () => {
  // As one process does it that looks again after a change: what is the same is not read anew.
  const again = remembering()
  const look = ({ clinic, data }: Place, host = '127.0.0.1') => {
    const found = guarded({ clinicDir: clinic, dataDir: data, host, at: instant(NIGHT), uid: 1000, again })
    return found.refusals.filter(one => standsInTheWay(one, found)).map(({ code }) => code)
  }

  it('nothing keeps a whole one', () => expect(look(copied())).toEqual([]))

  // ADDRESS_REAL comes with NUMBER_REAL: the same line of the file makes both.
  const alone = cases.filter(
    one => one.command === undefined && one.isFictionKnown === undefined && one.code !== 'ADDRESS_REAL',
  )
  it.each(alone)('$code', ({ code, spoil, data, args }) => {
    const made = copied()
    spoil(made)
    expect(look(data === undefined ? made : { ...made, data: data(made.data) }, args?.[1])).toContain(code)
  })
})

describe('a flow that changed while a case was open', { timeout: 90_000 }, () => {
  it('is not carried on with: the fixed text with the numbers, everyone is paged, and the log says which case', async () => {
    const place = copied()
    let cookie = ''
    await served(place, async origin => {
      const family = visit(origin, '', PUBLIC)
      await family.open('/')
      expect((await family.press('Send', { text: 'her tube has just come out' })).text).toContain('What is in it now?')
      cookie = family.cookie()
    })
    const again = await served(place, async origin => {
      const family = visit(origin, cookie, PUBLIC)
      await family.open('/')
      expect((await family.press('Nothing. It is empty')).text).toContain('Look at your child now')
    })
    expect(again.output).not.toContain('case-parked')

    const words = join(place.clinic, 'flows/tube-out/wording.en.yaml')
    writeFileSync(words, readFileSync(words, 'utf8').replace(/^(say\/no-tries: .*)\.$/m, '$1!'))
    approveAll(place.clinic, instant(NIGHT - 60_000))
    const { output } = await served(place, async origin => {
      const family = visit(origin, cookie, PUBLIC)
      await eventually('the fixed text, though nobody wrote', async () =>
        (await family.open('/')).text.includes('Something is wrong with this line. Ring +1 212 555 0110 now.'),
      )
      expect(family.page().buttons).not.toContain('None of these')
    })
    expect(output).toMatch(/case-parked.*FlowChanged/)
    expect(output).not.toContain('has just come out')
  })
})

describe('what only time has brought', { timeout: 60_000 }, () => {
  const withGap = (lived: Instant | undefined): Place => {
    const place = copied()
    const ladderGap = cases.find(({ code }) => code === 'LADDER_EMPTY')
    ladderGap?.spoil(place)
    if (lived !== undefined) inData('last-alive', String(lived))(place)
    return place
  }

  it.each([
    ['keeps a line from being served the first time', undefined, false],
    ['keeps it after more than a day', instant(NIGHT - DAY_MS - 60_000), false],
    ['does not keep it from starting again in the night', instant(NIGHT - 5_000), true],
  ])('%s', async (_what, lived, isServed) => {
    const ended = await run('serve', withGap(lived))
    expect(ended.output).toContain('LADDER_EMPTY')
    expect(serves(ended)).toBe(isServed)
    expect(ended.output.includes('does not hold it back')).toBe(isServed)
  })

  it('lets nothing else off', async () => {
    const place = withGap(instant(NIGHT - 5_000))
    gone('clinic-keys', 'data')(place)
    expect((await run('serve', place)).code).toBe(1)
  })
})

describe('the page and the program name the same refusals', () => {
  it('every code of the guards stands on the page, with its guard, and every row is a code', () => {
    const sources = [
      'src/config/written-guards.ts',
      'src/config/approvals.ts',
      'src/cli/machine-guards.ts',
      'src/cli/guards.ts',
      'src/cli/ready.ts',
    ]
    const written = sources.flatMap(path =>
      [...readFileSync(join(ROOT, path), 'utf8').matchAll(/code: '([A-Z_]+)'/g)].map(([, code = '']) => code),
    )
    const keys = ['CLINIC_KEYS', 'SIGNING_KEY'].flatMap(key =>
      ['MISSING', 'OPEN', 'BROKEN'].map(kind => `${key}_${kind}`),
    )
    const codes = [...written.filter(code => code !== 'CLINIC_KEYS' && code !== 'SIGNING_KEY'), ...keys]
    expect(codes.length).toBeGreaterThan(25)
    expect([...new Set(codes)].filter(code => !rows.has(code))).toEqual([])
    expect([...rows.values()].map(({ guard }) => guard).filter(guard => !(guard in guards))).toEqual([])
  })

  it('every refusal that can be made here is made', () => {
    const made = new Set(cases.map(({ code }) => code))
    expect([...rows].filter(([code, { todo }]) => todo !== undefined && !made.has(code)).map(([code]) => code)).toEqual(
      [],
    )
  })
})
