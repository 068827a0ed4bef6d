import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { remembering } from '../../src/cli/again.ts'
import { type ChangingLine, changingLine, placeOf } from '../../src/cli/changing-line.ts'
import { type Guarded, guarded } from '../../src/cli/guards.ts'
import { DEMO_CLINIC, type LoadedLine } from '../../src/cli/load-line.ts'
import { onCallAt } from '../../src/oncall/rota.ts'
import { instant, seconds } from '../../src/time/instant.ts'
import { handClock } from '../support/hand-clock.ts'

/** Sunday 1 March 2026, 02:10 in New York. */
const NIGHT = instant(Date.parse('2026-03-01T07:10:00Z'))
const again = remembering()

describe('the clinic folder of a running line', () => {
  let folder: string
  let file: string
  let logged: string[]
  let taken: LoadedLine[]
  let line: ChangingLine
  let reads: number
  const clock = handClock(NIGHT)

  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-changing-'))
    cpSync(DEMO_CLINIC, folder, { recursive: true })
    file = join(folder, 'clinic.yaml')
    logged = []
    taken = []
    reads = 0
    const read = (): Guarded => {
      reads += 1
      const place = { clinicDir: folder, dataDir: join(folder, 'data'), host: '127.0.0.1' }
      return guarded({ ...place, at: clock.now(), uid: 1000, again })
    }
    const { loaded } = read()
    if (loaded === undefined) throw new Error('the demonstration clinic does not load')
    line = changingLine({ clinicDir: folder, loaded, read, clock, log: ({ what }) => logged.push(what) })
    line.onTaken(loaded => taken.push(loaded))
    line.start()
    reads = 0
  })
  afterEach(() => {
    line.stop()
    rmSync(folder, { recursive: true, force: true })
  })

  const write = (from: string | RegExp, to: string): void => {
    const before = readFileSync(file, 'utf8')
    const after = before.replace(from, to)
    if (after === before) throw new Error(`no ${String(from)} in the file`)
    writeFileSync(file, after)
  }
  const firstNow = () => onCallAt(line.current().line.clinic, 'first', clock.now())?.id
  const linhTonight = (): void =>
    write(
      'changes:\n',
      'changes:\n  - { on-call: first, from: 2026-02-28 18:00, until: 2026-03-01 08:00, who: linh }\n',
    )

  it('is read again once it has stood still for a second, and another person is on call', async () => {
    expect(firstNow()).toBe('amara')
    linhTonight()
    await clock.advance(seconds(1))
    expect(reads).toBe(0)
    await clock.advance(seconds(1))
    expect(firstNow()).toBe('linh')
    expect([taken.length, logged, line.notTaken()]).toEqual([1, ['clinic-file-taken'], undefined])
    await clock.advance(seconds(10))
    expect(reads).toBe(1)
  })

  it('keeps its flows, to the object, where only a shift changed', async () => {
    const { flows, hashes } = line.current().line
    linhTonight()
    await clock.advance(seconds(2))
    expect(line.current().line.flows).toBe(flows)
    expect([...(line.current().line.hashes ?? [])]).toEqual([...(hashes ?? [])])
  })

  it.each([
    ['a person nobody knows', /who: tomas/, 'who: nobody', 'UNKNOWN_ID'],
    ['a file that is no YAML', 'people:\n', 'people: [\n', 'YAML_SYNTAX'],
    [
      'a part that only a start can take',
      /# web-address: .*/,
      'web-address: https://feeding.quay.test',
      'RESTART_NEEDED',
    ],
    ['a real telephone number in a demonstration', '+1 212 555 0141', '+1 212 736 5000', 'NUMBER_REAL'],
  ])('with %s changes nothing and says where it is wrong', async (_what, from, to, code) => {
    const before = line.current()
    write(from, to)
    await clock.advance(seconds(2))
    expect(line.current()).toBe(before)
    expect(line.notTaken()?.refusals.map(placeOf).join()).toMatch(new RegExp(`^clinic\\.yaml(:\\d+:\\d+)? ${code}`))
    expect(logged).toEqual(['clinic-file-refused'])
  })

  it('with a fault in a flow has another person on call all the same, and says that the flow is not taken', async () => {
    const { flows, settings } = line.current().line
    cpSync(join(DEMO_CLINIC, '../../flows/someone'), join(folder, 'flows/someone'), { recursive: true })
    const flow = join(folder, 'flows/someone/flow.yaml')
    const whole = readFileSync(flow, 'utf8')
    writeFileSync(flow, whole.replace('go: resume', 'go: nowhere'))
    linhTonight()
    write('  # left-check: PT10M', '  left-check: PT15M\n  # left-check: PT10M')
    await clock.advance(seconds(2))
    expect([firstNow(), line.notTaken()?.refusals.map(placeOf)]).toEqual(['linh', [expect.any(String)]])
    expect(line.current().line.flows).toBe(flows)
    // What decides about care waits with the flow.
    expect(line.current().line.settings['left-check']).toBe(settings['left-check'])
    expect(line.notTaken()).toMatchObject({ isClinicTaken: true })
    expect(line.notTaken()?.refusals.map(placeOf).join()).toMatch(/^flow\.yaml:\d+:\d+ UNKNOWN_/)
    expect(logged).toEqual(['clinic-file-taken', 'clinic-file-refused'])
    writeFileSync(flow, whole)
    await clock.advance(seconds(2))
    expect(line.notTaken()).toBeUndefined()
    expect(line.current().line.settings['left-check']).toBe(15 * 60_000)
  })

  it('with a fault in a flow and one in its own file has nothing of it taken', async () => {
    cpSync(join(DEMO_CLINIC, '../../flows/someone'), join(folder, 'flows/someone'), { recursive: true })
    const flow = join(folder, 'flows/someone/flow.yaml')
    writeFileSync(flow, readFileSync(flow, 'utf8').replace('go: resume', 'go: nowhere'))
    const before = line.current()
    write(/who: tomas/, 'who: nobody')
    await clock.advance(seconds(2))
    expect(line.current()).toBe(before)
    expect(line.notTaken()).toMatchObject({ isClinicTaken: false })
  })

  it('counts the doubt from the first refusal, until it is put right', async () => {
    const whole = readFileSync(file, 'utf8')
    write(/who: tomas/, 'who: nobody')
    await clock.advance(seconds(2))
    const since = line.notTaken()?.since
    write(/who: linh/, 'who: nobody-else')
    await clock.advance(seconds(5))
    expect(line.notTaken()?.since).toBe(since)
    writeFileSync(file, whole)
    await clock.advance(seconds(2))
    expect(line.notTaken()).toBeUndefined()
  })

  it('that is gone leaves the line as it was', async () => {
    rmSync(file)
    await clock.advance(seconds(2))
    expect(line.notTaken()?.refusals[0]?.code).toBe('FILE_UNREADABLE')
    expect(firstNow()).toBe('amara')
  })

  it('is taken at once when somebody asks, without waiting for the look', () => {
    linhTonight()
    expect(line.look()).toBeUndefined()
    expect(firstNow()).toBe('linh')
  })
})
