import { join } from 'node:path'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import { browser, shown, startBare, startBot } from './process.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext } from './subject.ts'

/** A question with its buttons: there is one in every first reply. */
const QUESTION = /name="serial"/

/** From starting the program on an empty folder to the first reply on a family's screen. */
export async function startArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const cache = ground.folder()
  const { launcher, clock } = subject

  async function ours(): Promise<number> {
    const folder = ground.folder()
    const started = performance.now()
    const bot = await startBot({ launcher, cache, data: join(folder, 'data') }, ground)
    const visitor = browser(bot.origin)
    await visitor.open()
    await shown(visitor, await visitor.say('her button came out'), QUESTION, clock)
    const took = performance.now() - started
    await bot.stop()
    ground.removeFolder(folder)
    return took
  }

  async function peer(): Promise<number> {
    const started = performance.now()
    const bare = await startBare(cache, ground)
    await (await fetch(`${bare.origin}/`)).text()
    const took = performance.now() - started
    await bare.stop()
    return took
  }

  const took = await interleaved({ ours, peer }, { what: 'start', progress, rounds: 7 })
  const ms = (values: readonly number[]) => median(values).toFixed(0)
  return [
    figureOf(
      {
        area: 'start',
        name: 'time from start to the first reply on a screen, compiled code kept from an earlier start',
        unit: 'times',
        bound: 'most',
        target: 6,
        against: `node:http alone, node ${process.versions.node}, start to first answer: ${ms(took.peer)} milliseconds beside ${ms(took.ours)}`,
      },
      ratios(took.ours, took.peer),
    ),
  ]
}
