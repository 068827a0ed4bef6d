import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { clinicWith, eventually, NIGHT, newFolder, pause, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

const fastClock = fileURLToPath(new URL('../support/fast-clock.ts', import.meta.url))
const steppedClock = fileURLToPath(new URL('./stepped-clock.js', import.meta.url))

/** Time in the process passes so many times as fast. */
const SPEED = 15
const MINUTE_MS = 60_000 / SPEED

describe('the wall clock of the running process jumps', { timeout: 90_000 }, () => {
  let folder: ReturnType<typeof newFolder>
  let running: Served | undefined
  beforeEach(() => {
    folder = newFolder()
  })
  afterEach(async () => {
    await running?.kill()
    folder.remove()
  })

  /** Everyone is to be paged three minutes after the first page. */
  async function start(stepMs: number): Promise<Served> {
    const clinic = clinicWith(join(folder.path, 'clinic'), '  ladder-urgent: [PT1M, PT2M, PT3M]\n')
    running = await serve({
      data: join(folder.path, 'data'),
      clinic,
      preload: [fastClock, steppedClock],
      env: {
        CLOCK_SPEED: String(SPEED),
        CLOCK_EPOCH: String(NIGHT),
        CLOCK_EPOCH_REAL: String(Date.now()),
        CLOCK_STEP_MS: String(stepMs),
      },
    })
    return running
  }

  async function untilPaged(family: Visit): Promise<void> {
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
    await family.press('Nothing. It is empty')
    await family.press('None of these')
    await family.press('Long tube, held by a balloon')
    expect(family.page().text).toContain('Amara Osei has been paged')
  }

  const told = (family: Visit, words: string, withinMs: number): Promise<string> =>
    eventually(
      words,
      async () => {
        const { text } = await family.open('/')
        return text.includes(words) && text
      },
      withinMs,
    )

  test('back by an hour: the ladder ends in its minutes, and nobody is told that there is time', async () => {
    const bot = await start(-3_600_000)
    const family = visit(bot.origin)
    await untilPaged(family)
    const begun = performance.now()
    process.kill(bot.pid, 'SIGUSR2')
    await pause(200)
    await family.press('Up to half an hour ago')
    await family.press('Send', { text: '5 minutes' })
    // By the shipped hour and five minutes of travel there is time; by the clock that went back an hour there is none.
    expect(family.page().text).toMatch(/Leave for [^.]+ now\./)
    expect(family.page().text).not.toContain('at the latest')
    await told(family, 'No one from the clinic has answered yet', 3 * MINUTE_MS + 15_000)
    expect(performance.now() - begun).toBeGreaterThan(2 * MINUTE_MS)
    expect(bot.output()).toMatch(/"what":"clock-stepped".*"ms":-3(60|59)\d{4}\b/)
  })

  test('ahead by the length of a sleep: who should have been paged is paged at once, and the family told', async () => {
    const bot = await start(2_700_000)
    const family = visit(bot.origin)
    await untilPaged(family)
    const begun = performance.now()
    process.kill(bot.pid, 'SIGUSR2')
    const text = await told(family, 'No one from the clinic has answered yet', 15_000)
    expect(performance.now() - begun).toBeLessThan(2 * MINUTE_MS)
    expect(text.split('No one from the clinic has answered yet')).toHaveLength(2)
    const board = await visit(bot.origin).open('/board')
    for (const who of ['Amara Osei', 'Dr. Ingrid Solheim', 'Ward 4 desk'])
      expect(board.text).toContain(`to ${who} by board`)
  })
})
