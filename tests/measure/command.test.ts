import { spawn } from 'node:child_process'
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { z } from 'zod'
import { AREAS } from '../../src/measure/areas.ts'
import { FALLEN_BELOW } from '../../src/measure/figure.ts'
import { newGround } from '../../src/measure/ground.ts'
import { peer } from '../../src/measure/peer.ts'
import { startRedis } from '../../src/measure/redis-server.ts'
import { systemClock } from '../../src/runtime/system-clock.ts'
import { ROOT, run } from '../support/clone.ts'

const LAUNCHER = join(ROOT, 'src/cli/smallhours.js')
const AREA_NAMES = [
  'kernel', 'understanding', 'commit', 'alarms', 'rota', 'case', 'check', 'replay',
  'review', 'start', 'memory', 'telegram', 'redis',
  'redis-alarms', 'held',
] // biome-ignore format: one list

const figureShape = z.strictObject({
  area: z.enum(AREA_NAMES as [string, ...string[]]),
  name: z.string().min(5),
  value: z.number(),
  unit: z.string().min(3),
  target: z.number(),
  reached: z.boolean(),
  against: z.string().min(5),
})

describe('measure', () => {
  it('prints one JSON document, each ratio with what it was measured beside and its version', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'smallhours-figures-'))
    const file = join(folder, 'measures.json')
    writeFileSync(
      file,
      JSON.stringify({
        figures: [
          { area: 'held', value: 1 },
          { area: 'kernel', value: 2 },
        ],
      }),
    )
    const ended = await run([LAUNCHER, 'measure', '--json', '--only', 'kernel', '--write', file])
    const written = JSON.parse(readFileSync(file, 'utf8')) as { figures: readonly Record<string, unknown>[] }
    rmSync(folder, { recursive: true })
    // What was measured before of this area goes; of others it stays.
    expect(written.figures.map(({ area }) => area)).toEqual(['kernel', 'kernel', 'kernel', 'held'])
    expect(written.figures.slice(0, 3).every(({ commit }) => typeof commit === 'string')).toBe(true)
    const figures = z.array(figureShape).min(3).parse(JSON.parse(ended.out))
    expect(figures.every(({ area }) => area === 'kernel')).toBe(true)
    const xstate = JSON.parse(readFileSync(join(ROOT, 'node_modules/xstate/package.json'), 'utf8')) as {
      version: string
    }
    for (const { unit, against } of figures) if (unit === 'times') expect(against).toContain(`xstate ${xstate.version}`)
    expect(figures.find(({ name }) => name.includes('differ'))).toMatchObject({ value: 0, target: 0, reached: true })
    // Ratios of one run, and no tighter than what noise may explain; a figure that has fallen shows in the exit code.
    const ratios = figures.filter(({ unit }) => unit === 'times')
    expect(ratios).toHaveLength(2)
    const asTheBotSteps = ratios.find(({ name }) => name.includes('as the bot steps'))
    expect(asTheBotSteps?.value).toBeGreaterThan((asTheBotSteps?.target ?? Number.NaN) * FALLEN_BELOW)
    const fell = ratios.some(({ value, target }) => value < target * FALLEN_BELOW)
    expect(ended.code).toBe(fell ? 1 : 0)
    expect(ended.err).toMatch(/kernel: round 5 of 7, about \d+ s left/)
  })

  it('called with an area there is not, names those there are and ends with 2', async () => {
    const ended = await run([LAUNCHER, 'measure', '--only', 'speed'])
    expect(ended.code).toBe(2)
    expect(ended.out).toBe('')
    expect(ended.err).toContain('"speed"')
    for (const name of AREA_NAMES) expect(ended.err).toContain(name)
  })

  it('says what to install where a peer or the server it is measured on is missing', async () => {
    expect(() => peer('a-library-that-nobody-has')).toThrow(/a-library-that-nobody-has is not installed.*npm ci/)
    expect(peer('bullmq').name).toMatch(/^bullmq \d+\.\d+\.\d+$/)
    const ground = newGround()
    const { PATH } = process.env
    process.env.PATH = '/nowhere'
    await expect(startRedis(ground, 'always', systemClock()).finally(() => (process.env.PATH = PATH))).rejects.toThrow(
      /redis-server does not start.*Install Redis 7/,
    )
    ground.clear()
  })

  it('has the areas that the page on figures explains', () => {
    expect(Object.keys(AREAS).toSorted()).toEqual(AREA_NAMES.toSorted())
    const page = readFileSync(join(ROOT, 'docs/operating/measures.md'), 'utf8')
    for (const name of AREA_NAMES) expect(page).toMatch(new RegExp(`^\\| \`${name}\` \\|`, 'm'))
  })

  it('leaves no folder behind, also when it is ended in the middle', async () => {
    const temporary = mkdtempSync(join(tmpdir(), 'smallhours-ended-'))
    const left = () => readdirSync(temporary).filter(name => name.startsWith('smallhours-measure-'))
    const child = spawn(process.execPath, [LAUNCHER, 'measure', '--only', 'case'], {
      env: { ...process.env, TMPDIR: temporary },
      stdio: ['ignore', 'ignore', 'pipe'],
    })
    await new Promise<void>(resolve => {
      child.stderr.setEncoding('utf8').on('data', (text: string) => {
        if (/warming up/.test(text)) resolve()
      })
    })
    expect(left()).toHaveLength(1)
    child.kill('SIGINT')
    const code = await new Promise(resolve => child.once('exit', resolve))
    expect(code).toBe(130)
    expect(left()).toEqual([])
    rmSync(temporary, { recursive: true })
  })
})

describe('the committed figures', () => {
  it('name date, commit, machine and Node, cover every area, and agree with their own targets', () => {
    const kept = z
      .object({
        node: z.string().startsWith('v24.'),
        machine: z.string().min(5),
        figures: z
          .array(
            z.object({
              ...figureShape.shape,
              measuredAt: z.iso.datetime(),
              commit: z.string().min(7),
              bound: z.enum(['least', 'most']),
              lowest: z.number(),
              highest: z.number(),
              rounds: z.number().int().min(1),
            }),
          )
          .min(AREA_NAMES.length),
      })
      .parse(JSON.parse(readFileSync(join(ROOT, 'docs/figures/measures.json'), 'utf8')))
    expect(new Set(kept.figures.map(({ area }) => area))).toEqual(new Set(AREA_NAMES))
    for (const { bound, value, target, reached, lowest, highest } of kept.figures) {
      expect(reached).toBe(bound === 'least' ? value >= target : value <= target)
      expect(value).toBeGreaterThanOrEqual(lowest)
      expect(value).toBeLessThanOrEqual(highest)
    }
  })
})
