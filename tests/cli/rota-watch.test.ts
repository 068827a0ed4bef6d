import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { rotaWatch } from '../../src/cli/rota-watch.ts'
import type { Page } from '../../src/pagers/pager.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { hours, instant, seconds } from '../../src/time/instant.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-rota-watch-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

// A Monday, seven in the morning in New York (IANA tz database).
const START = instant(Date.parse('2026-11-30T12:00:00Z'))
const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: START })
const screen = (language: string) => {
  const found = loaded?.screens.get(language)
  if (found === undefined) throw new Error(`no screen words in ${language}`)
  return found
}

/** The demonstration's line, with Tomás away for the night that begins on Tuesday at six. */
function lineWithHole(language: string): Line {
  if (loaded === undefined) throw new Error('the demonstration cannot be read')
  const { line } = loaded
  const day = Date.parse('2026-12-01') / 86_400_000
  const leave = [{ who: 'tomas', from: { day, minute: 720 }, until: { day: day + 1, minute: 720 } }]
  return { ...line, language, clinic: { ...line.clinic, rota: { ...line.clinic.rota, leave } } }
}

function watched(language: string, toldFile: string) {
  const clock = handClock(START)
  const pages: Page[] = []
  const watch = rotaWatch({
    line: () => lineWithHole(language),
    calendars: () => [],
    clock,
    random: { bytes: n => new Uint8Array(n), hex: n => '0'.repeat(n * 2), int: () => 0 },
    pagerOf: id => ({
      id,
      async page(page) {
        pages.push(page)
        return { kind: 'accepted' }
      },
      stop: async () => undefined,
    }),
    wording: (id, values) => screen(language).text(id, values as never),
    link: () => 'https://clinic.example/on-call',
    toldFile,
    log: () => undefined,
    onFault: () => undefined,
  })
  return { watch, pages, clock }
}

describe('the mail about hours with nobody', () => {
  it('says the hours in the clinic’s own language, within the length of a page, and where to look', async () => {
    for (const [language, said] of [
      [
        'en',
        'The rota has hours with nobody. Nobody is on call (first) from tomorrow 6:00 pm until Wednesday 2 December 8:00 am. Look at the rota now',
      ],
      ['es', 'En las guardias hay horas sin nadie. Nadie est'],
    ] as const) {
      const { watch, pages, clock } = watched(language, join(folder, `said-${language}.json`))
      watch.start()
      expect(pages).toEqual([])
      await clock.advance(seconds(10))
      watch.stop()
      const [mail] = pages
      expect(mail?.text.startsWith(said), mail?.text).toBe(true)
      expect(mail?.text.endsWith('https://clinic.example/on-call')).toBe(true)
      expect(mail?.text.length).toBeLessThanOrEqual(306)
      expect(new Set(pages.map(({ to }) => to.id))).toEqual(new Set(['amara', 'ingrid', 'malia']))
      expect(watch.doubts()).toMatchObject([{ what: 'rota-gap', role: 'first' }])
    }
  })

  it('is not sent again after a restart; a damaged note of it sends it once more', async () => {
    const file = join(folder, 'told.json')
    const first = watched('en', file)
    first.watch.start()
    await first.clock.advance(seconds(10))
    first.watch.stop()
    expect(JSON.parse(readFileSync(file, 'utf8'))).toMatchObject({ holes: [{ what: 'rota-gap', role: 'first' }] })
    const again = watched('en', file)
    again.watch.start()
    await again.clock.advance(seconds(10))
    again.watch.stop()
    expect(again.pages).toEqual([])
    writeFileSync(file, '{')
    const damaged = watched('en', file)
    damaged.watch.start()
    await damaged.clock.advance(hours(1))
    damaged.watch.stop()
    expect(damaged.pages.length).toBeGreaterThan(0)
    expect(existsSync(file)).toBe(true)
  })
})
