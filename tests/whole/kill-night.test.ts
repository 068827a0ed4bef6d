import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { clinicWith, eventually, NIGHT, newFolder, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

const MINUTE = 60_000

describe('the process is killed in the middle of a night', { timeout: 60_000 }, () => {
  let folder: ReturnType<typeof newFolder>
  let running: Served | undefined
  beforeEach(() => {
    folder = newFolder()
  })
  afterEach(async () => {
    await running?.kill()
    folder.remove()
  })

  const start = async (at: number, clinic?: string): Promise<Served> => {
    const data = join(folder.path, 'data')
    running = await serve({ data, at, ...(clinic === undefined ? {} : { clinic }) })
    return running
  }
  /** The same browser after the restart: same cookie, the new port. */
  const again = async (before: Visit, bot: Served): Promise<Visit> => {
    const after = visit(bot.origin, before.cookie())
    await after.open('/')
    return after
  }
  const pages = (text: string): number => text.split(/GO TO HOSPITAL, told/).length - 1

  /** As far as "hospital", with the on-call nurse paged. */
  async function untilPaged(family: Visit): Promise<void> {
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
    await family.press('Nothing. It is empty')
    await family.press('None of these')
    await family.press('Long tube, held by a balloon')
    expect(family.page().text).toContain('Amara Osei has been paged')
  }

  test('right after an answer was taken: everything said is there, the next message is answered', async () => {
    const first = await start(NIGHT)
    const family = visit(first.origin)
    await untilPaged(family)
    const before = family.page().text
    // The post is on its way when the power goes: taken or not, it is never half taken.
    const posted = family.press('Up to half an hour ago').catch(() => undefined)
    await first.kill()
    await posted

    const later = await again(family, await start(NIGHT + 30_000))
    const code = /Your case code: (\w+ \d+)/.exec(before)?.[1] ?? 'none'
    expect(later.page().text).toContain(code)
    for (const said of ['her tube has just come out', 'Nothing. It is empty', 'Long tube, held by a balloon'])
      expect(later.page().text).toContain(said)
    if (later.page().buttons.includes('Up to half an hour ago')) await later.press('Up to half an hour ago')
    expect(later.page().text).toContain("How long does it take to get to Harbour Point Children's Hospital?")
    await later.press('Send', { text: '25 minutes' })
    expect(later.page().text).toContain('What number can a clinician ring you on?')
    expect(later.page().text.split('has been paged').length - 1).toBe(1)
  })

  test('over a rung of the ladder: the page that was due goes out at the start, and once', async () => {
    const family = visit((await start(NIGHT)).origin)
    await untilPaged(family)
    await running?.kill()
    // Shipped ladder-urgent: again at 3 min, the next person at 5 min, everyone at 10 min. The line was down from 2:10 to 2:14.
    const bot = await start(NIGHT + 4 * MINUTE)
    const board = visit(bot.origin)
    const text = await eventually('the repeat of the page', async () => {
      const page = await board.open('/board')
      return page.text.includes('AGAIN. GO TO HOSPITAL') && page.text
    })
    expect(text).toContain('to Amara Osei by board')
    expect(text).not.toContain('to Dr. Ingrid Solheim')
    expect(text.split('to Amara Osei by board').length - 1).toBe(1)
    const told = await again(family, bot)
    expect(told.page().text).not.toContain('No one from the clinic has answered yet')
    await told.press('Up to half an hour ago')
    expect(told.page().text).toContain('How long does it take to get to')
  })

  test('for longer than the ladder: everyone is paged at the start, the family is told, and each start after goes on', async () => {
    const family = visit((await start(NIGHT)).origin)
    await untilPaged(family)
    // The line was down from 2:10 to 2:55; by 2:20 everyone should have been paged.
    const board = async (expected: string): Promise<string> => {
      const visitor = visit(running?.origin ?? '')
      return eventually(expected, async () => {
        const { text } = await visitor.open('/board')
        return text.includes(expected) && text
      })
    }
    await running?.kill()
    const down = await again(family, await start(NIGHT + 45 * MINUTE))
    const all = await board('to Ward 4 desk by board')
    for (const who of ['Amara Osei', 'Dr. Ingrid Solheim']) expect(all).toContain(`to ${who} by board`)
    expect(down.page().text).toContain('The line was down for a while. It works again. Worse? Ring 911')
    const told = await eventually('told that nobody has answered', async () => {
      await down.open('/')
      return down.page().text.includes('No one from the clinic has answered yet') && down.page().text
    })
    expect(told.split('No one from the clinic has answered yet').length - 1).toBe(1)
    await running?.kill()
    const later = await again(family, await start(NIGHT + 66 * MINUTE))
    const still = await eventually('told again', async () => {
      await later.open('/')
      return later.page().text.includes('Still no answer from the clinic') && later.page().text
    })
    expect(still.split('No one from the clinic has answered yet').length - 1).toBe(1)
    expect(await board('to Ward 4 desk by board')).toContain('AGAIN. GO TO HOSPITAL')
  })

  test.skipIf(process.env.LONG !== '1')(
    'with the shortest ladder a clinic may set, in real time: the family hears of it by its end',
    {
      timeout: 150_000,
    },
    async () => {
      const clinic = clinicWith(join(folder.path, 'clinic'), '  ladder-urgent: [PT1M, PT62S, PT64S]\n')
      const family = visit((await start(NIGHT, clinic)).origin)
      const begun = performance.now()
      await untilPaged(family)
      await running?.kill()
      const downMs = performance.now() - begun
      const bot = await start(NIGHT + downMs, clinic)
      const later = await again(family, bot)
      await later.press('Up to half an hour ago')
      const told = await eventually(
        'told that nobody has answered',
        async () => {
          await later.open('/')
          return later.page().text.includes('No one from the clinic has answered yet') && later.page().text
        },
        75_000,
      )
      const tookMs = performance.now() - begun
      console.log(
        `nobody answered: told ${(tookMs / 1000).toFixed(1)} s after the first page, the process killed in between`,
      )
      expect(tookMs).toBeGreaterThan(MINUTE)
      expect(tookMs).toBeLessThan(MINUTE + 15_000)
      expect(told).toMatch(/ring \+1 ?212 ?555 ?0120/)
      const board = await visit(bot.origin).open('/board')
      for (const who of ['Amara Osei', 'Dr. Ingrid Solheim', 'Ward 4 desk'])
        expect(board.text).toContain(`to ${who} by board`)
      expect(pages(board.text)).toBeGreaterThanOrEqual(3)
    },
  )
})
